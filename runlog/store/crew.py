"""What the crew said of cars: append-only, one fact for the same content however often it was said."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from runlog.records import CrewFact

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import RunKey
    from runlog.store.connection import Logbook


def save(book: Logbook, entry: int, facts: Sequence[CrewFact]) -> None:
    """Write what the crew said. To be called inside the transaction that keeps its original."""
    book.insert(
        "crew_fact",
        [
            (
                entry, fact.id, fact.what, fact.car, fact.date, fact.number, fact.at, fact.by,
                json.dumps(fact.content, ensure_ascii=False),
            )
            for fact in facts
        ],
    )  # fmt: skip


def said(book: Logbook, car: str | None = None, *what: str) -> list[CrewFact]:
    """Return what was said of a car, or of all, of these kinds or of any, in order of day, time and content."""
    rows = book.rows(
        "select id, what, car, date, number, said_at, said_by, content from book.main.crew "
        "where (? is null or car = ?) and (system.main.len(?::varchar[]) = 0 or "
        "system.main.list_contains(?::varchar[], what)) order by date, said_at, id",
        [car, car, list(what), list(what)],
    )
    return [CrewFact(*[*row[:-1], json.loads(row[-1])]) for row in rows]


def about_run(book: Logbook, key: RunKey, *what: str) -> list[CrewFact]:
    """Return what was said of a run, of these kinds, in order of time and content."""
    rows = book.rows(
        "select id, what, car, date, number, said_at, said_by, content from book.main.crew "
        "where car = ? and date = ? and number = ? and system.main.list_contains(?::varchar[], what) "
        "order by said_at, id",
        [key.car, key.date, key.number, list(what)],
    )
    return [CrewFact(*[*row[:-1], json.loads(row[-1])]) for row in rows]


def drop_all(book: Logbook) -> None:
    """Drop everything said; only for a rebuild, which writes it again from the originals."""
    book.rows("delete from book.main.crew_fact")
