"""Forecasts and accepted plans: kept as they were said, and told apart from what was known only later."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from runlog.records import RunKey

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from runlog.store.connection import Logbook

FORECAST: Final = "forecast"
PLAN: Final = "plan"
_TABLES: Final = {FORECAST: "forecast_fact", PLAN: "plan_fact"}


@dataclass(frozen=True)
class Proposal:
    """A forecast, with the run that it is for, or a plan, with its first run."""

    entry: int
    key: RunKey
    content: dict[str, Any]


def save(book: Logbook, kind: str, entry: int, key: RunKey, text: str) -> None:
    """Write a forecast or a plan. To be called inside the transaction that keeps its original."""
    book.insert(_TABLES[kind], [(entry, key.car, key.date, key.number, text)])


def forecasts(book: Logbook, car: str | None = None) -> list[Proposal]:
    """Return the forecasts of a car, or of all, in the order in which they were made."""
    rows = book.rows(
        "select entry, car, date, number, content from book.main.forecast_fact where ? is null or car = ? "
        "order by entry",
        [car, car],
    )
    return _proposals(rows)


def plan(book: Logbook, car: str, date: dt.date) -> Proposal | None:
    """Return the plan that was accepted last for a car's day, or None."""
    rows = book.rows(
        "select entry, car, date, number, content from book.main.plan where car = ? and date = ?", [car, date]
    )
    return next(iter(_proposals(rows)), None)


def newest_text(book: Logbook, kind: str, key: RunKey) -> str | None:
    """Return the text of the forecast of a run, or of the plan of its day, that was kept last."""
    number = key.number if kind == FORECAST else None
    found = book.row(
        f"select content from book.main.{_TABLES[kind]} where car = ? and date = ? and (? is null or number = ?) "
        "order by entry desc limit 1",
        [key.car, key.date, number, number],
    )
    return None if found is None else str(found[0])


def first_told(book: Logbook) -> dict[RunKey, int]:
    """Return, for each run, the entry that first told anything of how it went: its slip or its trace."""
    rows = book.rows(
        "select car, date, number, system.main.min(entry) from "
        "(select entry, car, date, number from book.main.slip_fact "
        "union all select entry, car, date, number from book.main.trace_fact) group by car, date, number"
    )
    return {RunKey(car, date, number): entry for car, date, number, entry in rows}


def drop_all(book: Logbook) -> None:
    """Drop every forecast and plan; only for a rebuild, which writes them again from the originals."""
    for table in _TABLES.values():
        book.rows(f"delete from book.main.{table}")


def _proposals(rows: Iterable[Sequence[Any]]) -> list[Proposal]:
    return [Proposal(row[0], RunKey(*row[1:4]), json.loads(row[4])) for row in rows]
