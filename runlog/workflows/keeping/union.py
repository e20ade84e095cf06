"""Entries as a set: united with those of another logbook, and a logbook filled with what comes out."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

from runlog.store import history, originals
from runlog.workflows.intake.remake import remake

if TYPE_CHECKING:
    from collections.abc import Callable

    from runlog.store.connection import Logbook
    from runlog.store.originals import Entry
    from runlog.workflows.intake.remake import Before

Known = dict[str, tuple["Entry", set[str]]]
"""entries by identity, each with the identities that it replaced knowingly"""


def known_entries(book: Logbook) -> Known:
    """Return all entries of a logbook."""
    replaced = history.replaced(book)
    return {entry.identity: (entry, replaced.get(entry.number, set())) for entry in originals.entries(book)}


def unite(ours: Known, theirs: Known) -> Known:
    """Return the entries of both, numbered in their order; of one that both have, the first that was stored.

    Union and minimum: commutative, associative and idempotent, and so is everything that follows from the entries.
    """
    made: Known = dict(ours)
    for identity, (entry, replaces) in theirs.items():
        if identity in made:
            mine, known = made[identity]
            made[identity] = min(mine, entry, key=_first), known | replaces
        else:
            made[identity] = entry, replaces
    ordered = sorted(made.items(), key=lambda item: (item[1][0].stored_at, item[0]))
    return {
        identity: (dataclasses.replace(entry, number=number), replaces)
        for number, (identity, (entry, replaces)) in enumerate(ordered, 1)
    }


def _first(entry: Entry) -> tuple[Any, ...]:
    return entry.stored_at, entry.name, entry.told_by


def fill(
    book: Logbook,
    united: Known,
    content: Callable[[str], bytes],
    before: Before,
    progress: Callable[[str], None] | None,
) -> None:
    """Let these be the entries of a logbook, and let all facts follow. To be called inside a transaction.

    ``content`` returns original bytes that aren't in it yet by their SHA-256; ``before`` is what ``look`` returned.
    """
    for entry, _ in united.values():
        for sha256 in [entry.sha256, *([entry.given["map"]] if "map" in entry.given else [])]:
            if not originals.has(book, sha256):
                if progress:
                    progress(entry.name)
                originals.keep_bytes(book, sha256, content(sha256))
    originals.restate(book, [entry for entry, _ in united.values()])
    history.restate_replaced(
        book, ((entry.number, identity) for entry, known in united.values() for identity in sorted(known))
    )
    remake(book, before, progress)
