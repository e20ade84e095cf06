"""A shop past one machine: a lake of many cars, and the fleet learned from it, by cars, by runs and by workers.

The first car is imported from files and exported like any other; the rest are copies with other names and other noise.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import making
from timing import RUNLOG, Line, process

if TYPE_CHECKING:
    from collections.abc import Iterator

RUNS = (50, 200)


def lakes(folder: Path, quick: bool) -> Iterator[Line]:
    """Bytes, time, processor time and memory of learning from 50 to 1,000 cars, with one and two processes."""
    cars = (25, 50) if quick else (125, 250, 500, 1000)
    for runs in RUNS[:1] if quick else RUNS:
        first = _first(folder / f"one_{runs}", runs)
        lake = folder / f"lake_{runs}"
        done = 0
        for count in cars:
            for number in range(done, count):
                _copy(first, lake, number)
            done = count
            for jobs in (1, 2):
                wall, cpu, peak = _fleet(lake, jobs)
                name = f"lake: {count:,} × {runs}, {jobs} proc"
                yield Line(name, (wall,), "s", 60.0 if (count, runs, jobs) == (1000, 200, 2) else None, "wall")
                yield Line("  CPU per run", (1e6 * cpu / (count * runs),), "µs", None, f"{cpu:.1f} s in all")
                yield Line("  peak of a process", (peak,), "MB", None, "resident, the largest of all")
        size = sum(place.stat().st_size for place in lake.rglob("*.parquet"))
        yield Line(f"lake: bytes a run, {runs}", (size / (done * runs),), "B", None, "without traces")
    yield from _traces(folder)


def _first(folder: Path, runs: int) -> Path:
    folder.mkdir()
    files, book, lake = making.shop(folder / "files", {"first": runs}), folder / "shop.duckdb", folder / "lake"
    process(RUNLOG, "new", book)
    process(RUNLOG, "import", files, "--logbook", book)
    process(RUNLOG, "export", "--lake", lake, "--logbook", book)
    return lake


def _copy(first: Path, lake: Path, number: int) -> None:
    """Write a car like the first, with its own name and its times a little off: each column by one normal amount."""
    import numpy as np
    import polars as pl

    name, noise = f"car{number:06d}", np.random.default_rng(number)
    for place in first.rglob("*.parquet"):
        frame = pl.read_parquet(place, hive_partitioning=False)
        target = lake / str(place.relative_to(first)).replace("car=first", f"car={name}")
        target.parent.mkdir(parents=True, exist_ok=True)
        if "content" in frame.columns:
            content = json.loads(frame.item(0, "content")) | {"name": name}
            frame = frame.with_columns(name=pl.lit(name), content=pl.lit(json.dumps(content)))
        else:
            times = [column for column in frame.columns if column in ("t60", "t330", "t660", "t1000", "t1320")]
            off = {column: frame[column] + noise.normal(0, 0.006, frame.height) for column in times}
            frame = frame.with_columns(pl.lit(name).alias("car"), **off)
        frame.write_parquet(target)


_CHILD = """
import json, os, resource, sys, time
from pathlib import Path
from runlog.workflows.lessons.lake import lake_fleet_page
from runlog.workflows.workers import workers
if __name__ == "__main__":
    start = time.perf_counter()
    with workers(int(sys.argv[2])) as executor:
        lake_fleet_page(Path(sys.argv[1]), executor)
    wall = time.perf_counter() - start
    own, kids = resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN)
    print(json.dumps([wall, sum(os.times()[:4]), max(own.ru_maxrss, kids.ru_maxrss) / 1024]))
"""


def _fleet(lake: Path, jobs: int) -> tuple[float, float, float]:
    """Return wall and CPU seconds and the peak [MB] of learning a fleet, in a process of its own."""
    script = lake.parent / "learn.py"
    script.write_text(_CHILD)
    told = subprocess.run([sys.executable, script, lake, str(jobs)], capture_output=True, check=True, text=True)
    wall, cpu, peak = json.loads(told.stdout)
    return wall, cpu, peak


def _traces(folder: Path) -> Iterator[Line]:
    """Bytes and time of one log of 100 channels × 2,000 samples in the lake."""
    place = folder / "traced"
    place.mkdir()
    files, book, lake = making.shop(place / "files", {"first": 2}), place / "shop.duckdb", place / "lake"
    process(RUNLOG, "new", book)
    process(RUNLOG, "import", files, "--logbook", book)
    key = making.keys("first", 2)[0]
    (files / "log.csv").write_text(making.log("lake", 100, 2000))
    run = f"{key[0]}/{key[1]}/{key[2]}"
    process(RUNLOG, "import", files / "log.csv", "--run", run, "--logbook", book)
    process(RUNLOG, "export", "--lake", lake, "--logbook", book)
    size = sum(file.stat().st_size for file in (lake / "sample").rglob("*.parquet"))
    yield Line("lake: bytes a log", (size / 1e6,), "MB", None, "100 channels × 2,000 samples")
