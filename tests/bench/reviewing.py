"""The review of a test day as a document: a day of twelve runs, each with a trace of a hundred channels."""

from __future__ import annotations

from typing import TYPE_CHECKING

import making
from making import keys, log, shop
from timing import RUNLOG, Line, process, runlog

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

RUNS = 12


def review(folder: Path, quick: bool) -> Iterator[Line]:
    """The whole process, from the logbook to the written file; its size; and printing it."""
    making.RUNS_A_DAY = RUNS
    book, car = folder / "review.duckdb", "heddle"
    pits = shop(folder / "pits", {car: RUNS})
    for _, date, number in keys(car, RUNS):
        (pits / f"{car}_{date}_{number}.csv").write_text(log(f"{car} {number}", channels=100, samples=2000))
    runlog("new", book)
    runlog("import", pits, "--logbook", book)
    day = f"{car}/{keys(car, 1)[0][1]}"
    full, short = folder / "full.html", folder / "short.html"
    repeats = 3 if quick else 7
    took = [process(RUNLOG, "review", day, "--html", full, "--logbook", book) for _ in range(repeats)]
    brief = [process(RUNLOG, "review", day, "--short", "--html", short, "--logbook", book) for _ in range(repeats)]
    yield Line(
        "review: full", tuple(one.seconds for one in took), "s", 6.0, "runlog review --html, 12 runs with traces"
    )
    yield Line("review: full, processor", tuple(one.cpu for one in took), "s", 6.0, "the same, processor time")
    yield Line("review: full, size", (full.stat().st_size / 1e6,), "MB", 3.0, "the file")
    yield Line("review: short, processor", tuple(one.cpu for one in brief), "s", None, "the customer's version")
    yield Line("review: short, size", (short.stat().st_size / 1e6,), "MB", 3.0, "the file")
