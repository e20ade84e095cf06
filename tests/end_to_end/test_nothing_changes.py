"""The same files twice change nothing, and computing everything anew gives the same answers."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

import duckdb
import pytest

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Program, Season

PARTS = ("tracks", "cars", "sheets", "pits")
CARS = ("curlew", "dunlin", "heron", "plover", "wigeon")


def contents(logbook: Path) -> dict[str, str]:
    """Return a digest of every table's rows in their stored order."""
    with duckdb.connect(str(logbook), read_only=True) as book:
        names = [name for (name,) in book.execute("select table_name from duckdb_tables()").fetchall()]
        made = {}
        for name in names:
            digest = hashlib.sha256()
            result = book.execute(f"select * from {name}")
            while rows := result.fetchmany(10_000):
                digest.update(repr(rows).encode())
            made[name] = digest.hexdigest()
        return made


def answers(program: Program, keys: list[str]) -> dict[str, Any]:
    """Return what the commands answer."""
    asked = [("runs",), *(("effects", "--car", car) for car in CARS), *(("show", key) for key in keys)]
    asked.append(("compare", "heron/2031-04-12/5", "heron/2031-04-12/7"))
    return {" ".join(words): program(*words, "--json").json() for words in asked}


KEYS = ["heron/2031-04-12/9", "heron/2031-04-12/10", "curlew/2031-06-21/7", "wigeon/2031-07-06/7"]


@pytest.mark.slow
def test_everything_again_is_unchanged(season_copy: Program, demo_folder: Path) -> None:
    before = contents(season_copy.folder / "demo.duckdb")
    done = season_copy("import", *(demo_folder / part for part in PARTS), "--json").json()
    assert (done["stored"], done["unchanged"], done["refused"]) == (0, 86, 0)
    assert all(file["unchanged"] and not file["stored"] and file["error"] is None for file in done["files"])
    assert contents(season_copy.folder / "demo.duckdb") == before
    again = season_copy("demo")
    assert "0 files stored, 86 unchanged, 0 refused" in again.err
    assert contents(season_copy.folder / "demo.duckdb") == before


def test_looking_changes_nothing(season_copy: Program) -> None:
    path = season_copy.folder / "demo.duckdb"
    before = path.read_bytes()
    for words in (("runs",), ("show",), ("effects", "--car", "heron"), ("compare", "wigeon/latest", "heron/latest")):
        assert season_copy(*words).code == 0
    assert path.read_bytes() == before
    assert [item.name for item in season_copy.folder.iterdir()] == ["demo.duckdb"]


def test_dry_run_stores_nothing(runlog: Program, demo_folder: Path) -> None:
    runlog("new", "a.duckdb")
    before = contents(runlog.folder / "a.duckdb")
    done = runlog("import", *(demo_folder / part for part in PARTS), "--dry-run")
    assert done.code == 0
    assert "86 would be stored, 0 unchanged, 0 refused" in done.out
    assert contents(runlog.folder / "a.duckdb") == before


@pytest.mark.slow
def test_order_of_the_files_does_not_matter(runlog: Program, season: Season, demo_folder: Path) -> None:
    """One car after all others, its days backwards, its sheet and the track last; the season at once."""
    runlog("new", "a.duckdb")
    own = [demo_folder / "cars" / "dunlin.toml", *(demo_folder / "pits" / day for day in ("2031-05-11", "2031-04-20"))]
    own += [demo_folder / "sheets" / "dunlin_baseline.csv", demo_folder / "tracks"]
    others = [path for part in ("cars", "sheets", "pits") for path in (demo_folder / part).iterdir() if path not in own]
    for paths in (others, *([path] for path in own)):
        done = runlog("import", *paths)
        assert done.code == 0, done.out + done.err
    assert runlog("runs", "--car", "dunlin", "--json").json() == season.json("runs", "--car", "dunlin")
    effects = ("effects", "--car", "dunlin")
    assert runlog(*effects, "--json").json() == season.json(*effects)
    key = "dunlin/2031-05-11/9"
    assert runlog("show", key, "--json").json() == season.json("show", key)


@pytest.mark.slow
def test_rebuild_gives_the_same_answers(season_copy: Program) -> None:
    before = answers(season_copy, KEYS)
    facts = contents(season_copy.folder / "demo.duckdb")
    done = season_copy("rebuild")
    assert done.code == 0, done.err
    assert "86 originals read again" in done.err
    assert answers(season_copy, KEYS) == before
    after = contents(season_copy.folder / "demo.duckdb")
    originals = ("entry", "original", "original_part", "migration")
    assert {name: after[name] for name in originals} == {name: facts[name] for name in originals}


@pytest.mark.slow
def test_season_made_twice_answers_the_same(season: Season, runlog: Program) -> None:
    """No random numbers in what is shown."""
    assert runlog("demo").out == season.made.out
    assert runlog("effects", "--car", "heron", "--json").json() == season.json("effects", "--car", "heron")
