"""A 500 MB logger file imported by a process of its own: does it go in, and how much memory does it take?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from making import log, shop
from timing import RUNLOG, Line, process

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

BYTES = 500_000_000
CHANNELS, SAMPLES = 100, 1500


def big_file(folder: Path, quick: bool) -> Iterator[Line]:
    """One recording of 100 channels at 100 Hz, as long as fills 500 MB (50 MB when quick): the run, then coasting."""
    book, key = folder / "big.duckdb", "big/2031-03-01/2"
    process(RUNLOG, "new", book)
    process(RUNLOG, "import", shop(folder / "shop", {"big": 3}), "--logbook", book)
    file = folder / "big.csv"
    size = _write(file, BYTES // 10 if quick else BYTES)
    done = process(RUNLOG, "import", file, "--run", key, "--logbook", book)
    megabytes = size / 2**20
    what = f"{megabytes:.0f} MB, {CHANNELS} channels; process peak (resident) over file size"
    yield Line("big file: memory", (done.peak_mb / megabytes,), "×", 3.0, what)
    yield Line("big file: peak", (done.peak_mb,), "MB", None, "of the whole process")
    yield Line("big file: time", (done.seconds,), "s", None, "runlog import, with the analysis")
    yield Line("big file: logbook", (book.stat().st_size / size,), "×", None, "logbook over file size")


def _write(file: Path, size: int) -> int:
    """Write a log of about so many bytes: a run, and its last second again and again with the time running on."""
    head, *lines = log("big", CHANNELS, SAMPLES).splitlines(keepends=True)
    tail = [line.split(",", 1)[1] for line in lines[-100:]]
    step = 15.0 / SAMPLES
    written = sum(map(len, (head, *lines)))
    with file.open("w") as out:
        out.write(head)
        out.writelines(lines)
        n = SAMPLES
        while written < size:
            block = "".join(f"{(n + place) * step:.2f},{rest}" for place, rest in enumerate(tail))
            written += out.write(block)
            n += len(tail)
    return file.stat().st_size
