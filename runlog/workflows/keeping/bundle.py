"""One test day in a small logbook of its own, to carry or mail; the other laptop merges it."""

from __future__ import annotations

import contextlib
import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runlog.errors import LogbookError, NotFound
from runlog.readers.acts import read_choice, read_withdrawal
from runlog.readers.keys import parse_run_key
from runlog.store import facts, history, originals, results
from runlog.store.connection import create_logbook, wal_of
from runlog.workflows.find import find_day, find_run
from runlog.workflows.intake.remake import Before
from runlog.workflows.intake.spoken import parse_thing
from runlog.workflows.keeping.backup import clear_unfinished
from runlog.workflows.keeping.union import Known, fill, known_entries, unite
from runlog.workflows.results import derive

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Collection
    from pathlib import Path

    from runlog.store.connection import Logbook
    from runlog.store.originals import Entry


@dataclass(frozen=True)
class Bundled:
    """What a bundle holds; ``others``: cars that stand in its files beside those of the day."""

    cars: tuple[str, ...]
    date: dt.date
    entries: tuple[Entry, ...]
    others: tuple[str, ...]


def bundle(book: Logbook, text: str, path: Path, progress: Callable[[str], None] | None = None) -> Bundled:
    """Write the test day that a run, a day or a date means to a new file: whole, or not at all.

    With the day's slips, traces, air, sheets and what the crew said go the car and track files, the car's earlier
    sheets, all channel maps, and withdrawals and choices among these. Files go as they are.
    """
    if path.exists():
        raise LogbookError(f"{path} exists already: choose another name")
    if not path.parent.is_dir():
        raise LogbookError(f"{path}: the folder {path.parent} doesn't exist")
    cars, date = _day(book, text)
    chosen = _chosen(book, cars, date)
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.unfinished")
    try:
        clear_unfinished(path.parent, path.name)
        with create_logbook(unfinished) as made:
            with made.transaction():
                fill(made, chosen, lambda sha256: originals.fetch(book, sha256), Before(), progress)
            derive.refresh(made, progress)
            made.checkpoint()
            others = {slip.car for slip in facts.slips(made)} - set(cars)
        unfinished.replace(path)
    except OSError as error:
        raise LogbookError(f"{path} couldn't be written: {error.strerror or error}") from None
    finally:
        for left in (unfinished, wal_of(unfinished)):
            with contextlib.suppress(OSError):
                left.unlink(missing_ok=True)
    return Bundled(tuple(sorted(cars)), date, tuple(entry for entry, _ in chosen.values()), tuple(sorted(others)))


def _day(book: Logbook, text: str) -> tuple[set[str], dt.date]:
    if parse_run_key(text) is not None or "latest" in text.lower() or text.isdecimal():
        run = find_run(book, text)
        return {run.car}, run.date
    car, date = find_day(book, text)
    if car is not None:
        return {car}, date
    return {key.car for key in results.run_keys(book) if key.date == date}, date


def _chosen(book: Logbook, cars: Collection[str], date: dt.date) -> Known:
    """Return the entries that belong to a day, withdrawn or not."""
    known = known_entries(book)
    tracks = {slip.track for key, slip in facts.slips(book).items() if key.date == date and key.car in cars}
    numbers = {number for number, thing, _ in history.about(book) if _belongs(thing, cars, date, tracks)}
    numbers |= {entry.number for entry, _ in known.values() if entry.kind == "map"}
    identities = {entry.identity for entry, _ in known.values() if entry.number in numbers}
    for entry, _ in known.values():
        if entry.kind in ("undo", "settle"):
            content = originals.fetch(book, entry.sha256)
            act = read_withdrawal(content, entry.name) if entry.kind == "undo" else read_choice(content, entry.name)
            if act.identity in identities:
                numbers.add(entry.number)
                identities.add(entry.identity)
    if not numbers:
        raise NotFound(f"nothing of {date} in the logbook")
    return unite({}, {identity: item for identity, item in known.items() if item[0].number in numbers})


def _belongs(thing: str, cars: Collection[str], date: dt.date, tracks: Collection[str | None]) -> bool:
    kind, car, day, _ = parse_thing(thing)
    if kind == "track":
        return thing.partition(" ")[2] in tracks
    if kind == "air":
        # the air of the evening before may serve a run after midnight, and that of the night one of the evening
        return day is not None and abs((day - date).days) <= 1
    if car not in cars:
        return False
    if kind in ("sheet", "crew"):
        return day is None or day <= date
    return kind == "car" or day == date
