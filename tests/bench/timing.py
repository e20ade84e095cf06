"""Timing in pairs, whole processes with their memory, and the table of what was found."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

RUNLOG = str(Path(sys.executable).parent / "runlog")


@dataclass(frozen=True)
class Line:
    """One line of the table: figures of the repeats, their unit (× for a ratio), the budget, what was measured."""

    name: str
    figures: tuple[float, ...]
    unit: str
    budget: float | None
    measured: str

    def __str__(self) -> str:
        middle, low, high = statistics.median(self.figures), min(self.figures), max(self.figures)
        budget = "" if self.budget is None else f"≤ {self.budget:g}"
        verdict = "" if self.budget is None else ("ok" if middle <= self.budget else "OVER")
        return (
            f"{self.name:<28}{middle:>9.3g} {self.unit:<5}{low:>9.3g} – {high:<9.3g}{len(self.figures):>3}  "
            f"{budget:<7}{verdict:<5}{self.measured}"
        )


HEADER = f"{'':<28}{'median':>9} {'':<5}{'least':>9} – {'most':<9}{'n':>3}  {'budget':<12}what was measured"


def interleaved(first: Callable[[], float], second: Callable[[], float], repeats: int) -> list[tuple[float, float]]:
    """Return (first, second) of so many pairs, taken A B A B after one of each that isn't counted."""
    first(), second()
    return [(first(), second()) for _ in range(repeats)]


def ratios(pairs: Sequence[tuple[float, float]]) -> tuple[float, ...]:
    """Return first over second of each pair."""
    return tuple(first / second for first, second in pairs)


def seconds(work: Callable[[], object]) -> float:
    """Return how long a call takes [s]."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


@dataclass(frozen=True)
class Ended:
    """A process that ended well: how long it took, its processor time (which other work hardly moves), its peak."""

    seconds: float
    cpu: float
    peak_mb: float


def process(*command: str | Path) -> Ended:
    """Run a process to its end, output discarded; its errors end the bench.

    The peak is the resident size, which the kernel counts from before the program starts: it is never told smaller
    than that of this process.
    """
    start = time.perf_counter()
    child = subprocess.Popen(list(map(str, command)), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    assert child.stderr is not None
    complaint = child.stderr.read()
    _, status, usage = os.wait4(child.pid, 0)
    taken = time.perf_counter() - start
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        sys.exit(f"{' '.join(map(str, command))} failed:\n{complaint.decode(errors='replace')}")
    return Ended(taken, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


def runlog(*arguments: str | Path) -> float:
    """Return how long a whole ``runlog`` command takes [s]."""
    return process(RUNLOG, *arguments).seconds


def bare(imports: str) -> Ended:
    """Run a whole Python that does nothing but import these."""
    return process(sys.executable, "-c", f"import {imports}")


def fifths(figures: Sequence[float]) -> tuple[float, float]:
    """Return the median of the first and of the last fifth."""
    count = max(1, len(figures) // 5)
    return statistics.median(figures[:count]), statistics.median(figures[-count:])
