"""Every entry about a thing, what it says otherwise than the one before it, and what became of it."""

from __future__ import annotations

import datetime as dt
import re
from typing import TYPE_CHECKING, Any

from runlog.errors import NotFound
from runlog.readers.acts import read_withdrawal
from runlog.readers.keys import parse_date, parse_run_key
from runlog.store import history, originals
from runlog.workflows.find import find_run
from runlog.workflows.intake.spoken import parse_thing
from runlog.workflows.keeping.differing import differences

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from runlog.store.connection import Logbook
    from runlog.store.originals import Entry

NEWEST = 20
"""entries that are listed where nothing is asked for"""


def history_page(book: Logbook, text: str | None = None) -> dict[str, Any]:
    """Return the entries about a run, day, car or track, or the newest of all, in the shape of ``history --json``."""
    entries = originals.entries(book)
    about = history.about(book)
    wanted = _wanted(book, text, {thing for _, thing, _ in about})
    spoken: dict[int, list[tuple[str, str]]] = {}
    for number, thing, says in about:
        spoken.setdefault(number, []).append((thing, says))
    acts = {entry.number: _act(book, entry) for entry in entries if entry.kind == "undo"}
    if text is None:
        chosen = entries[-NEWEST:]
    else:
        chosen = [entry for entry in entries if any(wanted(thing) for thing, _ in spoken.get(entry.number, ()))]
        if not chosen:
            raise NotFound(f"no entry about {text!r}; accepted: car/date/number, car/date, a date, a car or a track")
        identities = {entry.identity for entry in chosen}
        chosen = [entry for entry in entries if entry in chosen or acts.get(entry.number) in identities]
    return {
        "about": text,
        "entries": [_row(entry, spoken, wanted, acts, _Standing(book, entries, about)) for entry in chosen],
        "earlier": len(entries) - len(chosen) if text is None else 0,
    }


class _Standing:
    """Which entry holds of each thing, and what each entry was preceded by."""

    def __init__(self, book: Logbook, entries: list[Entry], about: list[tuple[int, str, str]]) -> None:
        self.withdrawn_by = history.withdrawals(book)
        self.unread = history.unread(book)
        self.numbers = {entry.identity: entry.number for entry in entries}
        self.names = {entry.number: entry.name for entry in entries}
        out = {self.numbers[identity] for identity in self.withdrawn_by if identity in self.numbers}
        self.chain: dict[str, list[tuple[int, str]]] = {}
        for number, thing, says in about:
            if number not in out and number not in self.unread:
                self.chain.setdefault(thing, []).append((number, says))

    def saying(self, number: int, thing: str, says: str) -> dict[str, Any]:
        chain = self.chain.get(thing, [])
        before = [said for other, said in chain if other < number]
        after = [other for other, _ in chain if other > number]
        return {
            "thing": thing,
            "replaced_by": after[0] if after else None,
            "differs": differences(before[-1] if before else None, says),
            "first": not before,
        }


def _row(
    entry: Entry,
    spoken: Mapping[int, list[tuple[str, str]]],
    wanted: Callable[[str], bool],
    acts: Mapping[int, str],
    standing: _Standing,
) -> dict[str, Any]:
    said = [standing.saying(entry.number, thing, says) for thing, says in spoken.get(entry.number, []) if wanted(thing)]
    by = standing.withdrawn_by.get(entry.identity)
    if by is not None:
        state = "withdrawn"
    elif entry.number in standing.unread:
        state = "unread"
    elif said and all(item["replaced_by"] for item in said):
        state = "replaced"
    else:
        state = "holds"
    target = standing.numbers.get(acts[entry.number]) if entry.number in acts else None
    stored_at = entry.stored_at
    return {
        "entry": entry.number,
        "kind": entry.kind,
        "name": entry.name,
        "stored_at": None if stored_at is None else stored_at.replace(tzinfo=dt.UTC).isoformat(timespec="seconds"),
        "told_by": entry.told_by or None,
        "identity": entry.identity,
        "state": state,
        "withdrawn_by": by,
        "unread": standing.unread.get(entry.number),
        "target": target,
        "says": said,
    }


def _act(book: Logbook, entry: Entry) -> str:
    return read_withdrawal(originals.fetch(book, entry.sha256), entry.name).identity


def _wanted(book: Logbook, text: str | None, things: set[str]) -> Callable[[str], bool]:
    """Return what tells whether a thing is meant."""
    if text is None:
        return lambda _: True
    run = parse_run_key(text)
    if run is None and (re.fullmatch("[0-9]+", text) or text.lower().endswith("/latest")):
        run = find_run(book, text)
    if run is not None:
        return lambda thing: parse_thing(thing)[3] == run
    car, _, day = text.lower().rpartition("/")
    date = parse_date(day)
    if date is not None:
        return lambda thing: parse_thing(thing)[2] == date and car in ("", parse_thing(thing)[1])
    if any(parse_thing(thing)[1] == text.lower() for thing in things):
        return lambda thing: parse_thing(thing)[1] == text.lower()
    return lambda thing: thing == f"track {text.lower()}"
