"""The shared store: Parquet files by car and season, that one machine or many read without opening a logbook.

    LAKE/car/car=heron/part.parquet                             car file, sheets and fitted model
    LAKE/run/car=heron/season=2031/part.parquet                 the rows of run_result
    LAKE/sample/car=heron/season=2031/2031-04-12_3.parquet      the samples of one run's trace

Each file is written beside its place and moved there whole, and carries a digest of what it holds, so that a file whose
content hasn't changed isn't written again. Files are replaced one by one: a reader may see some cars as they were
before an export and some as they are after it. One logbook feeds a lake; merge logbooks first.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from runlog.errors import LogbookError, NotFound, RunlogError
from runlog.store import facts, results, traces
from runlog.store.connection import open_lake
from runlog.store.query import ask

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Iterator, Mapping, Sequence

    import polars as pl

    from runlog.records import Car, Sheet
    from runlog.results import RunResult
    from runlog.store.connection import Logbook
    from runlog.store.query import Answer

FORMAT: Final = "1"
"""of the files; part of every digest, so that a change of it writes them anew"""
_DIGEST: Final = "runlog.content"
_LEFT_S: Final = 3600.0
"""age [s] from which a file beside its place is what a killed export left"""
_VIEWS: Final = {
    "car_fact": "car/car=*/part.parquet",
    "run_result": "run/car=*/season=*/part.parquet",
    "sample": "sample/car=*/season=*/*.parquet",
}
"""what of a logbook's tables and views the lake's files stand for; the other views rest on these"""


@dataclass(frozen=True)
class Exported:
    """How many files were written, left since nothing in them had changed, and removed since they hold nothing now."""

    written: int
    unchanged: int
    removed: int


@dataclass(frozen=True)
class LakeCar:
    """One car as the lake holds it."""

    car: Car
    sheets: Sequence[Sheet]
    vehicle: Mapping[str, Any]
    """the fitted longitudinal model, as kept in car_result"""
    finish_ft: int
    runs: Sequence[RunResult]


def export_lake(book: Logbook, folder: Path, progress: Callable[[str], None] | None = None) -> Exported:
    """Bring the lake in a folder up to date with a logbook; the folder is made where it isn't there.

    ``RunlogError`` when the folder can't be written.
    """
    counts = {True: 0, False: 0}
    kept: set[Path] = set()
    try:
        for file in _files(book, progress):
            target = folder / file.place
            _refuse_links(folder, file.place)
            kept.add(target)
            counts[_bring(target, f"{FORMAT} {file.digest}", file.frame)] += 1
        removed = _sweep(folder, kept)
    except OSError as error:
        raise RunlogError(f"{error.filename or folder}: {error.strerror or error}: the lake isn't up to date") from None
    return Exported(counts[True], counts[False], removed)


def ask_lake(folder: Path, sql: str) -> Answer:
    """Run one query on a lake: car, run, split, increment, setup and sample, as in a logbook; others are empty."""
    lake_cars(folder)
    with open_lake(folder, _VIEWS) as book:
        return ask(book, sql)


def lake_cars(folder: Path) -> list[str]:
    """Return the names of the cars in a lake; ``NotFound`` when there is none."""
    places = sorted((folder / "car").glob("car=*/part.parquet"))
    if not places:
        raise NotFound(f"{folder}: no lake here; make one with 'runlog export --lake {folder}'")
    return sorted(place.parent.name.removeprefix("car=") for place in places)


def read_lake_car(folder: Path, name: str) -> LakeCar:
    """Return one car of a lake, reading no other's files."""
    row = _read(folder / "car" / _part("car", name) / "part.parquet").row(0, named=True)
    runs: list[RunResult] = []
    for place in sorted((folder / "run" / _part("car", name)).glob("season=*/part.parquet")):
        runs += [results.result_from(values) for values in _read(place).rows()]
    sheets = facts.sheets_from(name, [_dated(line) for line in json.loads(row["sheets"])])
    return LakeCar(
        facts.car_from(json.loads(row["content"])),
        sheets,
        json.loads(row["vehicle"]),
        row["finish_ft"],
        sorted(runs, key=lambda run: run.key),
    )


def _read(place: Path) -> pl.DataFrame:
    import polars as pl

    return pl.read_parquet(place, hive_partitioning=False, glob=False)


def _dated(line: list[Any]) -> tuple[Any, ...]:
    import datetime as dt

    return (None if line[0] is None else dt.date.fromisoformat(line[0]), *line[1:])


@dataclass(frozen=True)
class _File:
    """A file that the lake is to hold: its place in it, the digest of its content, and how to get that."""

    place: Path
    digest: str
    frame: Callable[[], pl.DataFrame]


def _files(book: Logbook, progress: Callable[[str], None] | None) -> Iterator[_File]:
    """Yield every file of the lake."""
    finishes = {name: member["finish_ft"] for name, member in results.fleet_statistics(book).items()}
    contents = dict(book.rows("select car, content from book.main.car"))
    seasons = book.rows("select distinct car, year(date) from book.main.run_result order by all")
    for name in sorted(finishes):
        yield _car_file(book, name, contents[name], finishes[name])
    for name, season in seasons:
        if progress:
            progress(f"{name} {season}")
        yield _query_file(book, Path("run", _part("car", name), f"season={season}", "part.parquet"), (name, season))
    yield from _trace_files(book, progress)


def _car_file(book: Logbook, name: str, content: str, finish_ft: int) -> _File:
    stored = results.car_result(book, name)
    row = {
        "entry": 0,
        "name": name,
        "content": content,
        "sheets": json.dumps(facts.sheet_rows(book, name), default=str, ensure_ascii=False),
        "vehicle": json.dumps(stored[0] if stored else {}),
        "finish_ft": finish_ft,
    }
    return _File(Path("car", _part("car", name), "part.parquet"), _digest(row), lambda: _frame([row]))


def _query_file(book: Logbook, place: Path, season: tuple[str, int]) -> _File:
    sql = "select * from book.main.run_result where car = ? and year(date) = ? order by date, number"
    return _File(place, _digest(book.rows(sql, season)), lambda: book.frame(sql, season))


def _trace_files(book: Logbook, progress: Callable[[str], None] | None) -> Iterator[_File]:
    stored = book.rows(
        "select trace.car, trace.date, trace.number, trace.body, sha256, given from book.main.trace "
        "join book.main.entry on entry.entry = trace.entry order by all"
    )
    for car, date, number, body, sha256, given in stored:
        if progress:
            progress(f"{car}/{date}/{number}")
        # the samples follow from the original and from how its channels were matched: no need to read them to compare
        matched = book.rows(
            "select name, canonical, unit from book.main.channel_fact where body = ? order by channel", [body]
        )
        place = Path("sample", _part("car", car), f"season={date.year}", f"{date}_{number}.parquet")
        yield _samples_file(book, place, (car, date, number), _digest([sha256, given, matched]))


def _samples_file(book: Logbook, place: Path, run: tuple[str, dt.date, int], digest: str) -> _File:
    return _File(place, digest, lambda: book.frame(traces.SAMPLES_OF_RUN, run))


def _frame(rows: Sequence[Mapping[str, Any]]) -> pl.DataFrame:
    import polars as pl

    return pl.DataFrame(rows)


def _part(name: str, value: str) -> str:
    """Return the name of a partition's folder; ``LogbookError`` for a value that could lead out of the lake."""
    if not re.fullmatch(r"[a-z0-9][a-z0-9_-]*", value):
        raise LogbookError(f"{value!r} is not the name of a car: lower-case letters, digits, - and _ are")
    return f"{name}={value}"


def _digest(content: Any) -> str:
    return hashlib.sha256(json.dumps(content, default=str, sort_keys=True).encode()).hexdigest()


def _bring(target: Path, digest: str, frame: Callable[[], pl.DataFrame]) -> bool:
    """Write a file unless it holds this content already; return whether it was written."""
    import polars as pl

    if target.exists():
        try:
            if pl.read_parquet_metadata(target).get(_DIGEST) == digest:
                return False
        except pl.exceptions.PolarsError:
            pass  # not a Parquet file, or half of one from elsewhere: it is replaced
    target.parent.mkdir(parents=True, exist_ok=True)
    beside = target.with_name(f".{target.name}.{os.getpid()}")
    try:
        # made anew: what a killed export left there, or a link that somebody put there, must not be written into
        beside.unlink(missing_ok=True)
        with beside.open("xb") as file:
            frame().write_parquet(file, metadata={_DIGEST: digest})
            file.flush()
            os.fsync(file.fileno())
        beside.replace(target)
    finally:
        beside.unlink(missing_ok=True)
    return True


def _refuse_links(folder: Path, place: Path) -> None:
    """Refuse to write where a folder of the lake is a link: what it leads to is somebody else's."""
    link = _link_in(folder, place)
    if link is not None:
        raise LogbookError(f"{link} is a link that leads out of the lake: nothing is written there")


def _link_in(folder: Path, place: Path) -> Path | None:
    """Return the folder of a lake above a place in it that is a link, or None."""
    above = [folder / inside for inside in list(place.parents)[:-1]]
    return next((part for part in above if part.is_symlink()), None)


def _sweep(folder: Path, kept: set[Path]) -> int:
    """Remove what the lake holds of runs and cars that the logbook no longer has: only files of a lake's own names.

    What a killed export left beside them goes too; what is still being written is younger than that.
    """
    found = {place for pattern in _VIEWS.values() for place in folder.glob(pattern)} - kept
    for pattern in _VIEWS.values():
        parent, _, name = pattern.rpartition("/")
        found |= {
            place
            for place in folder.glob(f"{parent}/.{name}.*")
            if place.suffix[1:].isdecimal() and time.time() - place.lstat().st_mtime > _LEFT_S
        }
    inside = [place for place in found if _link_in(folder, place.relative_to(folder)) is None]
    for place in inside:
        place.unlink()
    return len(inside)
