"""Whole commands that the crew waits for: help, show, effects."""

from __future__ import annotations

from typing import TYPE_CHECKING

from making import shop, slips
from timing import Line, bare, interleaved, ratios, runlog

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


def help_page(_: Path, quick: bool) -> Iterator[Line]:
    pairs = interleaved(lambda: runlog("--help"), lambda: bare("typer, rich").seconds, 5 if quick else 20)
    yield Line("help", ratios(pairs), "×", 1.3, "runlog --help / a bare Python importing typer and rich")


def _book(folder: Path, name: str, runs_of: dict[str, int]) -> tuple[Path, float]:
    book = folder / f"{name}.duckdb"
    runlog("new", book)
    return book, runlog("import", shop(folder / name, runs_of), "--logbook", book)


def _show(book: Path, car: str) -> float:
    return runlog("show", f"{car}/latest", "--logbook", book)


def show(folder: Path, quick: bool) -> Iterator[Line]:
    """Two logbooks: 5 cars with 20 runs each; the same 5, 5 more and 49 cars with 200 runs each."""
    repeats = 5 if quick else 15
    few = {f"few{n:02d}": 20 for n in range(10)}
    many = {f"many{n:02d}": 200 for n in range(49)}
    small, built_small = _book(folder, "small", dict(list(few.items())[:5]))
    large, built_large = _book(folder, "large", {**few, **many})
    yield Line("show: build 100 runs", (built_small,), "s", None, "runlog import of cars, slips, sheets, air")
    yield Line("show: build 10,000 runs", (built_large,), "s", None, "the same")
    cases = (("100", small, "few00"), ("10,000", large, "few00"), ("10,000, car with 200", large, "many00"))
    for text, book, car in cases:
        pairs = interleaved(lambda book=book, car=car: _show(book, car), lambda: bare("duckdb, rich").seconds, repeats)
        yield Line(f"show: {text}", ratios(pairs), "×", 3.5, "runlog show / a bare Python importing duckdb and rich")
    for car, text in (("few00", "car with 20"), ("many00", "car with 200")):
        pairs = interleaved(lambda car=car: _show(large, car), lambda: _show(small, "few00"), repeats)
        yield Line(f"show: growth, {text}", ratios(pairs), "×", 1.2, "show in 10,000 runs / in 100 (car with 20)")


def effects(folder: Path, quick: bool) -> Iterator[Line]:
    """One car with 60 runs and 15 adjustables."""
    repeats = 3 if quick else 10
    book = folder / "effects.duckdb"
    runlog("new", book)
    runlog("import", shop(folder / "effects", {"heddle": 60}, 15), "--logbook", book)
    pairs = interleaved(
        lambda: runlog("effects", "--car", "heddle", "--logbook", book), lambda: bare("duckdb, rich").seconds, repeats
    )
    took = tuple(ours for ours, _ in pairs)
    yield Line("effects: read back", took, "s", 2.0, "runlog effects, 60 runs × 15 adjustables, whole process")
    yield Line("effects: read back", ratios(pairs), "×", None, "the same / a bare Python importing duckdb and rich")
    corrected = folder / "corrected.csv"
    computed = []
    for n in range(repeats):
        corrected.write_text(slips("heddle", 60).rstrip("\n") + f"told again {n}\n")
        computed.append(runlog("import", corrected, "--logbook", book))
    yield Line(
        "effects: computed", tuple(computed), "s", None, "runlog import of its slips: fit, correction and effects"
    )
