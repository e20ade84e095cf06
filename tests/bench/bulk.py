"""Many imports, one after the other: does the thousandth cost what the first did?

Growth is told from ratios to something constant that is done right after each, and from processor time beside wall
time, so that other work on the machine doesn't pass for growth.
"""

from __future__ import annotations

import statistics
from functools import partial
from typing import TYPE_CHECKING

from making import keys, log, shop
from timing import RUNLOG, Line, bare, fifths, process, runlog, seconds

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    import numpy as np

NUMBER: int | None = None
"""How many imports; by default as each bench says."""
CARS = 20
FAR = 10_000
"""logs that the figures are extrapolated to"""


def _flat(name: str, figures: Sequence[float], unit: str, measured: str) -> Iterator[Line]:
    """Give the figures, and the last fifth over the first, which may grow by a fifth."""
    first, last = fifths(figures)
    yield Line(name, tuple(figures), unit, None, measured)
    yield Line(
        f"{name}, growth", (last / first,), "×", 1.2, f"last fifth / first fifth ({last:.3g} / {first:.3g} {unit})"
    )


def imports(folder: Path, quick: bool) -> Iterator[Line]:
    """Logs of 12 channels × 1,500 samples for 20 cars whose slips are present: one process each, then one for all."""
    count = NUMBER or (100 if quick else 1000)
    runs_of = {f"car{n:02d}": -(-count // CARS) for n in range(CARS)}
    files = shop(folder / "shop", runs_of)
    book = folder / "each.duckdb"
    runlog("new", book)
    runlog("import", files, "--logbook", book)
    logs = folder / "logs"
    logs.mkdir()
    ours, beside, sizes = [], [], [_bytes(book)]
    for car, date, number in _in_turn(runs_of)[:count]:
        file = logs / f"{car}_{date}_{number}.csv"
        file.write_text(log(file.stem))
        ours.append(process(RUNLOG, "import", file, "--logbook", book))
        beside.append(bare("duckdb, polars"))
        sizes.append(_bytes(book))
    what = f"{count} logs of 12 × 1,500, 20 cars, a process each"
    wall, cpu, peaks = ([getattr(ended, name) for ended in ours] for name in ("seconds", "cpu", "peak_mb"))
    yield Line("bulk: wall time", tuple(wall), "s", None, what)
    yield Line("bulk: CPU time", tuple(cpu), "s", None, what)
    plain = "each / a bare Python importing duckdb and polars right after it"
    yield from _flat("bulk: wall over bare", [a / b.seconds for a, b in zip(wall, beside, strict=True)], "×", plain)
    yield from _flat("bulk: CPU over bare", [a / b.cpu for a, b in zip(cpu, beside, strict=True)], "×", plain)
    yield from _flat("bulk: peak memory", peaks, "MB", what)
    fifth = max(1, count // 5)
    grown = [(sizes[n + fifth] - sizes[n]) / fifth / 1024 for n in range(0, count - fifth + 1, fifth)]
    yield from _flat("bulk: file per log", grown, "KiB", "growth of the logbook and its .wal, by fifths")
    yield from _extrapolated(cpu, peaks, sizes)
    yield from _by_one(folder, files, sorted(logs.iterdir()))


def _extrapolated(cpu: Sequence[float], peaks: Sequence[float], sizes: Sequence[int]) -> Iterator[Line]:
    """Continue the straight lines through what was measured to ``FAR`` logs: no measurement, but what it would be."""
    how = f"straight line through {len(cpu)}, continued to {FAR:,} logs"
    level, slope = _straight(cpu)
    yield Line("bulk: the last's CPU time", (level + slope * FAR,), "s", None, how)
    yield Line("bulk: all their CPU time", ((level * FAR + slope * FAR**2 / 2) / 3600,), "h", None, how)
    level, slope = _straight(peaks)
    yield Line("bulk: the last's memory", (level + slope * FAR,), "MB", None, how)
    level, slope = _straight(sizes)
    yield Line("bulk: the logbook", ((level + slope * FAR) / 2**30,), "GiB", None, how)


def _straight(figures: Sequence[float]) -> tuple[float, float]:
    """Return level and slope of the least-squares line through figures counted from 0."""
    slope, level = statistics.linear_regression(range(len(figures)), figures)
    return level, slope


def _by_one(folder: Path, files: Path, logs: list[Path]) -> Iterator[Line]:
    """The first fifth of the logs by one process, then all of them by another, each into a new logbook."""
    found = []
    for count in (max(1, len(logs) // 5), len(logs)):
        book = folder / f"one_{count}.duckdb"
        runlog("new", book)
        runlog("import", files, "--logbook", book)
        before = _bytes(book)
        ended = process(RUNLOG, "import", *logs[:count], "--logbook", book)
        found.append((ended.cpu / count, ended.peak_mb, (_bytes(book) - before) / count / 1024))
        text = f"one process for {count} logs"
        yield Line(f"bulk: one process, {count}", (ended.seconds / count,), "s", None, f"{text}: wall time per log")
        yield Line(f"bulk: one process, {count}", (found[-1][0],), "s", None, f"{text}: CPU time per log")
        yield Line(f"bulk: one process, {count}", (found[-1][1],), "MB", None, f"{text}: peak memory")
        yield Line(f"bulk: one process, {count}", (found[-1][2],), "KiB", None, f"{text}: file per log")
    for name, few, all_ in zip(("CPU time", "memory", "file"), *found, strict=True):
        yield Line(f"bulk: one process, {name}", (all_ / few,), "×", 1.2, "all logs by one process / a fifth of them")


def _in_turn(runs_of: dict[str, int]) -> list[tuple[str, object, int]]:
    """Return the keys with the cars taking turns, as on a day at the track."""
    return [key for turn in zip(*(keys(car, runs) for car, runs in runs_of.items()), strict=True) for key in turn]


def _bytes(book: Path) -> int:
    wal = book.with_name(book.name + ".wal")
    return book.stat().st_size + (wal.stat().st_size if wal.exists() else 0)


def layouts(folder: Path, quick: bool) -> Iterator[Line]:
    """What an import of 100 × 2,000 costs by the way samples are laid out, each opening and closing the file."""
    import numpy as np

    count = NUMBER or (50 if quick else 200)
    values = np.random.default_rng(1).normal(size=(100, 2000)).astype(np.float32).round(2)
    kinds = {
        "rows": ("", _ROWS),
        "rows in 2048s": (", row_group_size 2048", _ROWS),
        "lists": ("", "create table if not exists book.sample (entry bigint, channel smallint, samples float[])"),
    }
    stores = {
        name: partial(_store, options=options, table=table, values=values) for name, (options, table) in kinds.items()
    }
    taken: dict[str, list[float]] = {name: [] for name in kinds}
    beside: dict[str, list[float]] = {name: [] for name in kinds}
    for entry in range(count):
        for name, store in stores.items():
            full = seconds(partial(store, folder / f"{name}.duckdb", entry=entry))
            new = seconds(partial(store, folder / "new.duckdb", entry=entry))
            (folder / "new.duckdb").unlink()
            taken[name].append(full)
            beside[name].append(full / new)
    for name in kinds:
        text = f"{count} × (open, store 100 × 2,000, commit, close)"
        yield Line(f"layout: {name}", tuple(taken[name]), "s", None, text)
        yield from _flat(f"layout: {name}", beside[name], "×", "each / the same into a new file right after it")
        yield Line(f"layout: {name}", (_bytes(folder / f"{name}.duckdb") / count / 1024,), "KiB", None, "file per log")


_ROWS = "create table if not exists book.sample (entry bigint, channel smallint, n integer, value float)"


def _stacked(entry: int, values: np.ndarray) -> dict[str, np.ndarray]:
    import numpy as np

    channels, samples = values.shape
    return {
        "entry": np.full(values.size, entry),
        "channel": np.repeat(np.arange(channels, dtype=np.int16), samples),
        "n": np.tile(np.arange(samples, dtype=np.int32), channels),
        "value": values.ravel(),
    }


def _store(path: Path, *, entry: int, options: str, table: str, values: np.ndarray) -> None:
    import duckdb

    columns = _stacked(entry, values)

    with duckdb.connect(":memory:") as connection:
        connection.execute(f"attach '{path}' as book (type duckdb{options})")
        connection.execute(table)
        connection.register("incoming", columns)
        source = "from incoming"
        if "[]" in table:
            source = "from (select entry, channel, list(value order by n) from incoming group by entry, channel)"
        connection.execute("begin")
        connection.execute(f"insert into book.sample select * {source}")
        connection.execute("commit")
