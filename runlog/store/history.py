"""What entries speak of, which earlier ones they knew, and which were withdrawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from runlog.store.connection import Logbook

_BATCH = 2000


def note(book: Logbook, rows: Iterable[tuple[int, str, str]]) -> None:
    """Note what entries speak of: (entry, thing, what is said of it as JSON)."""
    _insert(book, "about", list(rows))


def note_replaced(book: Logbook, entry: int) -> None:
    """Note which earlier entries about the same things are in the logbook as this one comes."""
    book.rows(
        "insert into book.main.replaces select distinct ?::bigint, entry.identity from book.main.about as new "
        "join book.main.about as old on old.thing = new.thing and old.entry <> new.entry "
        "join book.main.entry on entry.entry = old.entry where new.entry = ?",
        [entry, entry],
    )


def replaced(book: Logbook) -> dict[int, set[str]]:
    """Return the identities of the entries that each entry knew about its own things."""
    found: dict[int, set[str]] = {}
    for entry, identity in book.rows("select entry, identity from book.main.replaces"):
        found.setdefault(entry, set()).add(identity)
    return found


def note_withdrawal(book: Logbook, entry: int, identity: str, *, withdrawn: bool) -> None:
    """Write that an entry was withdrawn, or brought back."""
    book.insert("undo_fact", [(entry, identity, withdrawn)])


def withdrawals(book: Logbook) -> dict[str, int]:
    """Return the identities of what is withdrawn, each with the entry that withdrew it."""
    rows = book.rows(
        "select identity, entry from book.main.undo_fact "
        "qualify withdrawn and row_number() over (partition by identity order by entry desc) = 1"
    )
    return {identity: int(entry) for identity, entry in rows}


def withdrawn_by(book: Logbook, entry: int) -> int | None:
    """Return the entry that withdrew this one, or None where it stands."""
    found = book.row(
        "select undo_fact.entry, withdrawn from book.main.undo_fact join book.main.entry using (identity) "
        "where entry.entry = ? order by undo_fact.entry desc limit 1",
        [entry],
    )
    return int(found[0]) if found and found[1] else None


def is_indexed(book: Logbook) -> bool:
    """Tell whether it is noted what entries say; after an upgrade from before that was noted, it isn't."""
    return book.row("select 1 from book.main.about where says = '' limit 1") is None


def about(book: Logbook) -> list[tuple[int, str, str]]:
    """Return what every entry speaks of, in the order of the entries: (entry, thing, what is said)."""
    return [tuple(row) for row in book.rows("select entry, thing, says from book.main.about order by entry, thing")]


def standing(book: Logbook) -> list[tuple[int, str, str]]:
    """Return the same of the entries that are neither withdrawn nor unread."""
    rows = book.rows(
        "with gone as (select identity from book.main.undo_fact "
        "qualify withdrawn and row_number() over (partition by identity order by entry desc) = 1) "
        "select about.entry, thing, says from book.main.about join book.main.entry on entry.entry = about.entry "
        "where entry.identity not in (select identity from gone) "
        "and entry.entry not in (select entry from book.main.unread) order by about.entry, thing"
    )
    return [tuple(row) for row in rows]


def unread(book: Logbook) -> dict[int, str]:
    """Return the entries that can't be read with what stands before them, and why."""
    return {int(entry): why for entry, why in book.rows("select entry, why from book.main.unread order by entry")}


def restate(
    book: Logbook,
    spoken: Collection[tuple[int, str, str]],
    withdrawn: Collection[tuple[int, str, bool]],
    refused: Collection[tuple[int, str]],
) -> None:
    """Replace what is noted of all entries: what they speak of, withdrawals in order, and what can't be read."""
    for table in ("about", "undo_fact", "unread"):
        book.rows(f"delete from book.main.{table}")
    _insert(book, "about", list(spoken))
    _insert(book, "undo_fact", list(withdrawn))
    _insert(book, "unread", list(refused))


def restate_replaced(book: Logbook, known: Iterable[tuple[int, str]]) -> None:
    """Replace what is noted of what entries knew: (entry, identity)."""
    book.rows("delete from book.main.replaces")
    _insert(book, "replaces", list(known))


def _insert(book: Logbook, table: str, rows: Sequence[Sequence[object]]) -> None:
    for start in range(0, len(rows), _BATCH):
        book.insert(table, rows[start : start + _BATCH])
