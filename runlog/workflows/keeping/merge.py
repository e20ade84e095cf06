"""Taking in what another logbook holds: the same once, different things side by side.

What a logbook says is a function of its entries. Merging unites the entries of both, each known by its content; one
that both have counts from when it was first stored. They stand in the order in which they were stored, equal times in
the order of identities, and all facts follow from that. So it doesn't matter who merges whom, how often, or in which
order three come together.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, Final

from runlog.errors import UsageError
from runlog.readers import detect
from runlog.readers.keys import parse_run_key
from runlog.records import Given
from runlog.records.run import DATE_ORDERS
from runlog.store import history, originals
from runlog.store.foreign import Foreign, plain_number
from runlog.workflows.intake.remake import look
from runlog.workflows.keeping.conflicts import Conflict, conflicts
from runlog.workflows.keeping.union import fill, known_entries, unite
from runlog.workflows.results import derive

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from runlog.store.connection import Logbook
    from runlog.store.originals import Entry

KINDS: Final = {*detect.KINDS, "crew", "forecast", "plan", "undo", "settle"}
_TEXTS: Final = {"car", "track", "missing"}
_LONGEST: Final = 200
_HEX: Final = re.compile("[0-9a-f]{64}")


@dataclass(frozen=True)
class Merged:
    """What a merge did: entries taken, entries that both had, what can't be read, what differs."""

    taken: tuple[Entry, ...]
    same: int
    unread: dict[str, str]
    """name → why, of the entries that can't be read with what stands before them"""
    conflicts: tuple[Conflict, ...]
    fresh: int
    """conflicts that there weren't before"""


def merge(book: Logbook, path: Path, progress: Callable[[str], None] | None = None) -> Merged:
    """Take in what another logbook, or a bundle, holds that this one doesn't.

    All or nothing: ``LogbookError`` where anything in the other file can't be believed; then nothing has changed.
    """
    if path.exists() and path.samefile(book.path):
        raise UsageError(f"{path} is this logbook itself")
    open_before = {item.thing for item in conflicts(book)}
    with Foreign(path, wrong_in) as other:
        ours = known_entries(book)
        theirs = {item.entry.identity: (item.entry, set(item.replaces)) for item in other.entries}
        united = unite(ours, theirs)
        taken = [entry for identity, (entry, _) in united.items() if identity not in ours]
        if united != ours:
            before = look(book)
            with book.transaction():
                fill(book, united, other.content, before, progress)
    derive.refresh(book, progress)
    names = {entry.number: entry.name for entry in originals.entries(book)}
    found = conflicts(book)
    return Merged(
        tuple(taken),
        len(theirs) - len(taken),
        {names[number]: why for number, why in history.unread(book).items()},
        tuple(found),
        sum(item.thing not in open_before for item in found),
    )


def wrong_in(kind: str, given: Mapping[str, Any], run: str | None) -> str:
    """Return what is wrong with an entry's kind, what was said of it, and its run; empty when nothing is."""
    if kind not in KINDS:
        return f"it is of a kind that isn't known here, {kind[:40]!r}"
    if (run is not None and parse_run_key(run) is None) or (kind == "logger" and run is None):
        return f"its run can't be right: {str(run)[:60]!r}"
    names = {field.name for field in fields(Given)} | {"map", originals.AGAIN}
    for name, value in given.items():
        if name not in names or not _may_be(name, value):
            return f"what was said of it can't be right: {name[:40]!r}"
    return ""


def _may_be(name: str, value: object) -> bool:
    if name in ("part", originals.AGAIN):
        return isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 1_000_000
    if name == "full":
        return isinstance(value, bool)
    if name in ("elevation", "rate_hz"):
        return plain_number(value, 0.0 if name == "rate_hz" else -1000.0)
    if not isinstance(value, str) or len(value) > _LONGEST:
        return False
    if name == "dates":
        return value in DATE_ORDERS
    if name == "kind":
        return value in KINDS
    if name == "map":
        return _HEX.fullmatch(value) is not None
    return name in _TEXTS or parse_run_key(value) is not None
