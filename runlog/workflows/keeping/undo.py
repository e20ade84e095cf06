"""Withdrawing an entry, and bringing it back: itself an entry, so that nothing is ever deleted."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runlog.errors import NotFound, RunlogError, UsageError
from runlog.readers.acts import read_withdrawal, write_withdrawal
from runlog.store import history, originals
from runlog.workflows.intake.remake import look, remake
from runlog.workflows.intake.reread import is_reread
from runlog.workflows.results import derive

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from runlog.store.connection import Logbook
    from runlog.store.originals import Entry

ABOUT_ENTRIES = ("undo", "settle")
_ALONE = ("undo", "forecast")
"""what undo without a number passes over: it goes back step by step, and forecasts are kept without being asked for"""

_SHOWN = 2
"""faults of others that are named where an entry can't be withdrawn"""


@dataclass(frozen=True)
class Undone:
    """What was withdrawn or brought back, and the entry that did it."""

    entry: Entry
    withdrawn: bool
    by: int


def undo(book: Logbook, number: int | None = None, progress: Callable[[str], None] | None = None) -> Undone:
    """Withdraw the last change, or an entry by its number; one that withdrew another brings that back.

    Raises ``NotFound`` where there is no such entry, ``UsageError`` where it is withdrawn already, ``RunlogError``
    where something stored later couldn't be read without it; then nothing has changed.
    """
    entries = originals.entries(book)
    out = history.withdrawals(book)
    entry, withdrawn = _target(book, entries, out, number)
    now = dt.datetime.now(dt.UTC).replace(tzinfo=None)
    content = write_withdrawal(entry.identity, entry.name, now, withdrawn=withdrawn)
    act = act_entry("undo", content, f"{'withdraw' if withdrawn else 'bring back'} {entry.name}")
    by = change(book, act, content, progress, f"{entry.name} can't be {'withdrawn' if withdrawn else 'brought back'}")
    return Undone(entry, withdrawn, by)


def act_entry(kind: str, content: bytes, name: str) -> Entry:
    """Return the entry of a withdrawal or choice before it is kept."""
    return originals.Entry(0, kind, originals.digest(content), name, {}, None)


def change(book: Logbook, act: Entry, content: bytes, progress: Callable[[str], None] | None, otherwise: str) -> int:
    """Keep an entry about entries and let all facts and results follow; return its number.

    ``RunlogError`` that begins with ``otherwise`` where another entry can no longer be read then.
    """
    before = look(book)
    could_not = history.unread(book)
    with book.transaction():
        kept = originals.keep(book, content, act)
        refused = {number: error for number, error in remake(book, before, progress).items() if number not in could_not}
        if refused:
            raise RunlogError(f"{otherwise}, since others rest on it: {_first_faults(refused)}")
        history.note_replaced(book, kept.number)
    derive.refresh(book, progress)
    return kept.number


def _first_faults(refused: Mapping[int, RunlogError]) -> str:
    shown = [str(error).splitlines()[0] for error in refused.values()]
    return "; ".join(shown[:_SHOWN]) + (f"; and {len(shown) - _SHOWN} more" if len(shown) > _SHOWN else "")


def _target(book: Logbook, entries: Sequence[Entry], out: Mapping[str, int], number: int | None) -> tuple[Entry, bool]:
    """Return the entry that is meant, and whether it is to be withdrawn or brought back."""
    if number is None:
        for entry in reversed(entries):
            if entry.kind in _ALONE or entry.identity in out:
                continue
            if not is_reread(entry, entries):
                return entry, True
            # it came with its map and goes with it: without the map it is read as the entry before it
            maps = [item for item in entries if item.kind == "map" and item.sha256 == entry.given["map"]]
            standing = [item for item in maps if item.identity not in out]
            if standing:
                return standing[-1], True
        raise NotFound("nothing in the logbook to withdraw")
    by_number = {entry.number: entry for entry in entries}
    if number not in by_number:
        last = f"entries are numbered up to {entries[-1].number}" if entries else "the logbook is empty"
        raise NotFound(f"no entry {number}: {last}; 'runlog history' lists them")
    entry = by_number[number]
    if entry.kind == "undo":
        act = read_withdrawal(originals.fetch(book, entry.sha256), entry.name)
        meant = next((item for item in entries if item.identity == act.identity), None)
        if meant is None:
            raise NotFound(f"what entry {number} withdrew isn't in this logbook")
        if (meant.identity in out) != act.withdrawn:
            is_now = "withdrawn again" if meant.identity in out else "brought back"
            raise UsageError(f"{meant.name} (entry {meant.number}) has been {is_now} since")
        return meant, not act.withdrawn
    if entry.identity in out:
        by = out[entry.identity]
        raise UsageError(f"entry {number} is withdrawn already, by entry {by}: 'runlog undo {by}' brings it back")
    return entry, True
