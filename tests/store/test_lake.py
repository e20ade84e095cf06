"""The lake holds what the logbook holds, whole and once."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from runlog.errors import LogbookError, NotFound, RunlogError
from runlog.store.connection import Logbook, open_logbook
from runlog.store.lake import ask_lake, export_lake, lake_cars, read_lake_car
from runlog.store.query import ask


@pytest.fixture
def book(season: Any) -> Iterator[Logbook]:
    with open_logbook(season.logbook, read_only=True) as opened:
        yield opened


@pytest.mark.slow
@pytest.mark.parametrize(
    "query",
    [
        "select * from run order by key",
        "select * from split order by key, distance_ft",
        "select * from increment order by key, from_ft",
        "select * from setup order by car, date, number, item",
        "select * from car order by car",
        "select car, date, number, name, count(*), max(time), min(value), max(value) from sample "
        "group by all order by all",
    ],
)
def test_the_same_views_answer_the_same(book: Logbook, tmp_path: Path, query: str) -> None:
    export_lake(book, tmp_path)
    assert ask_lake(tmp_path, query) == ask(book, query)
    assert ask(book, query).rows


@pytest.mark.parametrize("name", ["day [1]", "o'lake {x}"])
def test_a_folder_may_be_called_like_a_pattern(book: Logbook, tmp_path: Path, name: str) -> None:
    lake, query = tmp_path / name, "select key, t60 from run order by key"
    export_lake(book, lake)
    assert ask_lake(lake, query) == ask(book, query)
    assert all(read_lake_car(lake, car).runs for car in lake_cars(lake))


def test_files_are_partitioned_by_car_and_season_and_any_reader_reads_them(book: Logbook, tmp_path: Path) -> None:
    export_lake(book, tmp_path)
    runs = pl.read_parquet(tmp_path / "run" / "car=heron" / "season=2031" / "part.parquet", hive_partitioning=False)
    (count,) = book.row("select count(*) from book.main.run where car = 'heron'") or (0,)
    assert runs.height == count


def test_a_second_export_writes_nothing(book: Logbook, tmp_path: Path) -> None:
    first = export_lake(book, tmp_path)
    stamps = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*.parquet")}
    second = export_lake(book, tmp_path)
    assert (second.written, second.unchanged) == (0, first.written)
    assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*.parquet")} == stamps


def test_damaged_and_left_over_files_are_mended(book: Logbook, tmp_path: Path) -> None:
    export_lake(book, tmp_path)
    damaged = tmp_path / "car" / "car=heron" / "part.parquet"
    whole = damaged.read_bytes()
    damaged.write_bytes(whole[:100])
    left_over = tmp_path / "run" / "car=gone" / "season=2030" / "part.parquet"
    left_over.parent.mkdir(parents=True)
    left_over.write_bytes(whole)
    (tmp_path / "README.txt").write_text("kept")
    done = export_lake(book, tmp_path)
    assert (done.written, done.removed) == (1, 1)
    assert pl.read_parquet(damaged, hive_partitioning=False).item(0, "name") == "heron"
    assert (tmp_path / "README.txt").exists()
    assert not left_over.exists()


def test_what_a_killed_export_left_goes_and_what_is_being_written_stays(book: Logbook, tmp_path: Path) -> None:
    export_lake(book, tmp_path)
    folder = tmp_path / "car" / "car=heron"
    for name in (".part.parquet.123", ".part.parquet.124"):
        (folder / name).write_bytes(b"half")
    os.utime(folder / ".part.parquet.123", (0, 0))
    assert export_lake(book, tmp_path).removed == 1
    assert {item.name for item in folder.iterdir()} == {"part.parquet", ".part.parquet.124"}


@pytest.mark.skipif(os.name == "nt", reason="links need a right of their own there")
def test_links_in_a_lake_are_not_followed(book: Logbook, tmp_path: Path) -> None:
    lake, other = tmp_path / "lake", tmp_path / "other"
    export_lake(book, lake)
    (other / "season=2030").mkdir(parents=True)
    (other / "season=2030" / "part.parquet").write_text("somebody's")
    # a link in place of a folder, and where the next file would be written beside its place
    (lake / "run" / "car=gone").symlink_to(other, target_is_directory=True)
    (other / "target").write_text("somebody's")
    beside = lake / "car" / "car=heron" / f".part.parquet.{os.getpid()}"
    beside.symlink_to(other / "target")
    (lake / "car" / "car=heron" / "part.parquet").unlink()
    export_lake(book, lake)
    assert (other / "target").read_text() == "somebody's"
    assert (other / "season=2030" / "part.parquet").read_text() == "somebody's"
    # nor is anything written through one
    (lake / "car" / "car=heron" / "part.parquet").unlink()
    (lake / "car" / "car=heron").rmdir()
    (lake / "car" / "car=heron").symlink_to(other, target_is_directory=True)
    with pytest.raises(RunlogError, match="is a link that leads out of the lake"):
        export_lake(book, lake)
    assert not (other / "part.parquet").exists()


def test_a_folder_that_cant_be_written_is_named(book: Logbook, tmp_path: Path) -> None:
    blocked = tmp_path / "lake"
    blocked.write_text("a file")
    with pytest.raises(RunlogError, match="lake"):
        export_lake(book, blocked)


def test_a_query_reads_the_lake_and_nothing_beside_it(book: Logbook, tmp_path: Path) -> None:
    lake, secret = tmp_path / "lake", tmp_path / "secret.csv"
    export_lake(book, lake)
    secret.write_text("word\nopen sesame\n")
    for query in (f"from read_csv('{secret}')", f"from read_text('{lake}{os.sep}..{os.sep}secret.csv')"):
        with pytest.raises(RunlogError, match="can't be answered"):
            ask_lake(lake, query)
    planted = f"copy (select 1) to '{lake / 'run' / 'planted.parquet'}'"
    for query in (planted, f"explain analyze {planted}", f"explain (analyze) {planted}"):
        with pytest.raises(RunlogError, match="one query that reads"):
            ask_lake(lake, query)
    assert not (lake / "run" / "planted.parquet").exists()


def test_no_lake_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="export --lake"):
        lake_cars(tmp_path)


def test_no_name_of_a_car_leads_out_of_the_lake(tmp_path: Path) -> None:
    from runlog.store.connection import create_logbook

    with create_logbook(tmp_path / "bad.duckdb") as book:
        book.rows("insert into book.main.run_result (car, date, number, clean, caveats, setup, changes, questions) "
                  "values ('../../up', date '2031-05-01', 1, true, '[]', '[]', '[]', '[]')")  # fmt: skip
        with pytest.raises(LogbookError, match="not the name of a car"):
            export_lake(book, tmp_path / "lake")
