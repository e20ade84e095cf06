"""Where laptops said different things of the same thing, neither knowing of the other; and settling it.

An entry notes which earlier ones about the same things were in the logbook when it came: those it replaces. Where two
that nobody replaced differ, it is for a person to say which holds. Until then the one stored last is shown.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from runlog.errors import NotFound, UsageError
from runlog.readers.acts import write_choice
from runlog.store import history, originals
from runlog.workflows.keeping.differing import differences
from runlog.workflows.keeping.undo import act_entry, change

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from runlog.store.connection import Logbook
    from runlog.store.originals import Entry

_EACH: Final = ("crew", "forecast")
"""of these each saying stands for itself"""


@dataclass(frozen=True)
class Conflict:
    """A thing, and the entries that differ on it with what each says (JSON), in order; the last one is shown."""

    thing: str
    sayings: tuple[tuple[Entry, str], ...]


def conflicts(book: Logbook) -> list[Conflict]:
    """Return what is to be settled, in order of things."""
    entries = {entry.number: entry for entry in originals.entries(book)}
    replaced = history.replaced(book)
    said: dict[str, dict[int, str]] = {}
    for number, thing, says in history.standing(book):
        said.setdefault(thing, {})[number] = says
    found = []
    for thing, by_entry in said.items():
        if len(by_entry) < 2 or thing.partition(" ")[0] in _EACH:
            continue
        known = set().union(*(replaced.get(number, set()) for number in by_entry))
        heads = {number: says for number, says in by_entry.items() if entries[number].identity not in known}
        if len(set(heads.values())) > 1:
            found.append(Conflict(thing, tuple((entries[number], says) for number, says in sorted(heads.items()))))
    return sorted(found, key=lambda item: item.thing)


def settle(
    book: Logbook, number: int, thing: str | None = None, progress: Callable[[str], None] | None = None
) -> tuple[Conflict, ...]:
    """Let hold what an entry says, of one thing or of all on which it differs from others; return what that settles.

    ``NotFound`` where there is nothing to settle, ``UsageError`` where the entry isn't among those that differ.
    """
    open_ones = conflicts(book)
    if not open_ones:
        raise NotFound("nothing to settle: no entries differ without one replacing the other")
    chosen = [
        item
        for item in open_ones
        if thing in (None, item.thing) and any(entry.number == number for entry, _ in item.sayings)
    ]
    if not chosen:
        raise UsageError(f"entry {number} is not among those that differ{_among(open_ones, thing)}")
    entry = next(entry for entry, _ in chosen[0].sayings if entry.number == number)
    things = [item.thing for item in chosen]
    content = write_choice(entry.identity, entry.name, dt.datetime.now(dt.UTC).replace(tzinfo=None), things)
    change(book, act_entry("settle", content, f"settle by {entry.name}"), content, progress, "This can't be settled so")
    return tuple(chosen)


def conflicts_page(found: Sequence[Conflict]) -> list[dict[str, Any]]:
    """Return conflicts in the shape of ``conflicts --json``."""
    return [
        {
            "thing": item.thing,
            "shown": item.sayings[-1][0].number,
            "sayings": [
                {
                    "entry": entry.number,
                    "name": entry.name,
                    "told_by": entry.told_by or None,
                    "stored_at": None
                    if entry.stored_at is None
                    else entry.stored_at.replace(tzinfo=dt.UTC).isoformat(timespec="seconds"),
                    "differs": differences(item.sayings[0][1], says) if n else [],
                }
                for n, (entry, says) in enumerate(item.sayings)
            ],
        }
        for item in found
    ]


def _among(open_ones: Sequence[Conflict], thing: str | None) -> str:
    if thing is not None and all(item.thing != thing for item in open_ones):
        return f" on {thing!r}; open are: {', '.join(item.thing for item in open_ones[:5])}"
    numbers = sorted({entry.number for item in open_ones for entry, _ in item.sayings if thing in (None, item.thing)})
    return f"; those are: {', '.join(map(str, numbers[:20]))}"
