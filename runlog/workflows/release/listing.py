"""Adding, closing and listing open items."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from runlog.errors import NotFound, UsageError
from runlog.store import crew, reached
from runlog.workflows.intake.crew import say
from runlog.workflows.release.items import OpenItem, all_items
from runlog.workflows.release.page import stands
from runlog.workflows.release.signing import Who, head

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import Car, RunKey
    from runlog.store.connection import Logbook


def add_item(
    book: Logbook, name: str, due: str, run: RunKey | None, who: Who, settings: Sequence[str] | None
) -> OpenItem:
    """Keep an open item of a car, found at a run or at its newest.

    ``settings``: adjustables whose setting caused it, none, or None where those changed since the last clean run are
    meant. ``UsageError`` for an adjustable that the car doesn't have.
    """
    found = stands(book, name)
    if not who.text:
        raise UsageError("say what was found")
    common = head(found, who)
    if run is not None:
        common |= {"date": run.date.isoformat(), "run": run.number}
    entry = {"what": "item", **common, "text": who.text, "due": due, "settings": _named(found.car, settings)}
    (fact,) = say(book, f"item {name}", entry)
    return OpenItem(fact)


def named(book: Logbook, name: str, settings: Sequence[str] | None) -> list[str] | None:
    """Return adjustables of a car as its file has them; ``UsageError`` for one that it doesn't have."""
    return _named(stands(book, name).car, settings)


def _named(car: Car, settings: Sequence[str] | None) -> list[str] | None:
    if settings is None:
        return None
    found = [car.adjustable(" ".join(text.lower().split())) for text in settings]
    for text, item in zip(settings, found, strict=True):
        if item is None:
            known = ", ".join(item.name for item in car.adjustables) or "none"
            raise UsageError(f"{text!r} is no adjustable of {car.name}; there are: {known}")
    return [item.name for item in found if item is not None]


def would_bar(book: Logbook, key: RunKey) -> list[str]:
    """Return the adjustables that differ at a run from the last clean run before it: a stop item there bars them."""
    found = reached.setups(book, key.car, [key]).get(key)
    if found is None or found[1] is None:
        return []
    now, before = found[0], found[1]
    moved = [item for item in now if item in before and now[item].value != before[item].value]
    return [item for item in moved if now[item].value is not None]


def close_item(book: Logbook, name: str | None, which: str, who: Who) -> OpenItem:
    """Close an item, named by its number in the list or by the beginning of its identity.

    ``NotFound`` when there is none, ``UsageError`` when several begin so.
    """
    items = [item for item in listed(book, name) if item.closed is None]
    found = find_item(items, which)
    common = head(stands(book, found.fact.car), who)
    entry = {"what": "item_closed", **common, "item": found.fact.id, "text": who.text}
    (fact,) = say(book, f"item closed {found.fact.car}", entry)
    return OpenItem(found.fact, fact)


def find_item(items: Sequence[OpenItem], which: str) -> OpenItem:
    """Return the open item that is meant."""
    word = which.strip().lower()
    if re.fullmatch("[0-9]{1,4}", word) and 1 <= int(word) <= len(items):
        return items[int(word) - 1]
    found = [item for item in items if len(word) >= 4 and item.fact.id.startswith(word)]
    if len(found) > 1:
        raise UsageError(f"{which!r} fits several items: {', '.join(item.fact.id for item in found)}")
    if not found:
        raise NotFound(f"no open item {which!r}: 'runlog item list' numbers them" if items else "no item is open")
    return found[0]


def listed(book: Logbook, name: str | None) -> tuple[OpenItem, ...]:
    """Return every item of a car, or of all, open ones first."""
    return all_items(crew.said(book, name, "item", "item_closed"))


def list_page(book: Logbook, name: str | None, *, closed: bool) -> list[dict[str, Any]]:
    """Return the items in the shape of ``item list --json``: open ones numbered, closed ones if asked for."""
    numbered = enumerate(listed(book, name), 1)
    return [
        {"number": n if item.closed is None else None, "car": item.fact.car, **item.part()}
        for n, item in numbered
        if closed or item.closed is None
    ]
