"""One import inside a process, against the least that any program would do: read the file and store its samples."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING
from unittest import mock

from making import keys, log, shop
from timing import Line, interleaved, seconds

if TYPE_CHECKING:
    from collections.abc import Iterator

CHANNELS, SAMPLES = 100, 2000


def one_log(folder: Path, quick: bool) -> Iterator[Line]:
    """A log of 100 channels × 2,000 samples into a logbook with 1,000 runs of 20 cars; imports of modules excluded."""
    from runlog.store.connection import create_logbook
    from runlog.workflows.intake.ingest import import_files
    from runlog.workflows.results import derive

    path = folder / "book.duckdb"
    runs_of = {f"car{n:02d}": 50 for n in range(20)}
    with create_logbook(path) as book:
        import_files(book, [shop(folder / "shop", runs_of)])
    waiting = [key for run in zip(*(keys(car, 50) for car in runs_of), strict=True) for key in run]
    least = _Least(folder / "least.duckdb")
    analysing: list[float] = []
    refresh = derive.refresh

    def measured_refresh(*arguments: object) -> None:
        analysing.append(seconds(lambda: refresh(*arguments)))  # type: ignore[arg-type]

    def ours() -> float:
        car, date, number = waiting.pop(0)
        file = folder / f"{car}_{date}_{number}.csv"
        file.write_text(log(file.stem, CHANNELS, SAMPLES))
        least.file = file
        return seconds(lambda: _import(path, file))

    with mock.patch.object(derive, "refresh", measured_refresh):
        pairs = interleaved(ours, lambda: seconds(least.read_and_store), 7 if quick else 25)
    rest = [whole - part for (whole, _), part in zip(pairs, analysing[1:], strict=True)]
    plain = [bare for _, bare in pairs]
    what = f"{CHANNELS} × {SAMPLES}, 1,000 runs present / polars read_csv + the same rows into DuckDB"
    yield Line("import: read and stored", _over(rest, plain), "×", 3.0, what)
    yield Line("import: and analysed", _over([whole for whole, _ in pairs], plain), "×", 5.0, what)
    yield Line("import: ours, whole", tuple(whole for whole, _ in pairs), "s", None, "open, import_files, close")
    yield Line("import: its analysis", tuple(analysing[1:]), "s", None, "what of it computes results")
    yield Line("import: bare", tuple(plain), "s", None, "open, read_csv, insert, commit, close")


def _over(above: list[float], below: list[float]) -> tuple[float, ...]:
    return tuple(a / b for a, b in zip(above, below, strict=True))


def _import(path: Path, file: Path) -> None:
    from runlog.store.connection import open_logbook
    from runlog.workflows.intake.ingest import import_files

    with open_logbook(path) as book:
        report = import_files(book, [file])
    if report.stored != 1 or report.files[0].warnings:
        raise SystemExit(f"not measured: {report.files[0]}")


class _Least:
    """The same samples, one row each, into a file that keeps all that came before."""

    def __init__(self, path: Path) -> None:
        import duckdb

        self.path, self.file, self.entry = path, Path(), 0
        with duckdb.connect(str(path)) as connection:
            connection.execute("create table tick (entry bigint, time_base smallint, n integer, time double)")
            connection.execute("create table sample (entry bigint, channel smallint, n integer, value float)")

    def read_and_store(self) -> None:
        import duckdb
        import numpy as np
        import polars as pl

        self.entry += 1
        frame = pl.read_csv(self.file)
        columns = [frame[name].to_numpy() for name in frame.columns]
        rows = frame.height
        ticks = {"e": np.full(rows, self.entry), "b": np.zeros(rows, np.int16), "n": np.arange(rows, dtype=np.int32)}
        ticks["t"] = columns[0]
        count = len(columns) - 1
        samples = {
            "e": np.full(rows * count, self.entry),
            "c": np.repeat(np.arange(count, dtype=np.int16), rows),
            "n": np.tile(np.arange(rows, dtype=np.int32), count),
            "v": np.concatenate(columns[1:]).astype(np.float32),
        }
        with duckdb.connect(str(self.path)) as connection:
            connection.execute("begin")
            for table, arrays in (("tick", ticks), ("sample", samples)):
                connection.register("incoming", arrays)
                connection.execute(f"insert into {table} select * from incoming")
                connection.unregister("incoming")
            connection.execute("commit")
