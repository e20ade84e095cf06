"""How far a car's runs have gone, which it lost, and with which setup: quick to read, however many there are."""

from __future__ import annotations

import datetime as dt
import json
from typing import TYPE_CHECKING

from runlog.records import RunKey, SheetEntry

if TYPE_CHECKING:
    from collections.abc import Collection

    from runlog.store.connection import Logbook

_PLACE = "(date - date '1970-01-01') * 10000 + number"
"""a run's place in a car's history, one number"""
_TIMED = "(t60 is not null or t330 is not null or t660 is not null or t1000 is not null or t1320 is not null)"


def _key(car: str, place: int) -> RunKey:
    return RunKey(car, dt.date(1970, 1, 1) + dt.timedelta(days=place // 10000), place % 10000)


def count_runs(book: Logbook, car: str, before: RunKey) -> int:
    """Return how many runs a car had made before a run."""
    found = book.row(
        "select system.main.count(*) from book.main.run_result where car = ? and (date, number) < (?, ?)",
        [car, before.date, before.number],
    )
    return int(found[0]) if found else 0


def furthest(book: Logbook, car: str, before: RunKey) -> dict[int, RunKey]:
    """Return by distance [ft] the newest clean run before a run whose figures count exactly so far."""
    rows = book.rows(
        f"select valid_to_ft, system.main.max({_PLACE}) from book.main.run_result "
        "where car = ? and clean and valid_to_ft > 0 and (date, number) < (?, ?) group by valid_to_ft",
        [car, before.date, before.number],
    )
    return {feet: _key(car, last) for feet, last in rows}


def first_clean(book: Logbook, car: str, feet: int, most: int, before: RunKey) -> list[RunKey]:
    """Return a car's first clean runs before a run that went so far [ft], in order, at most so many."""
    rows = book.rows(
        "select date, number from book.main.run_result where car = ? and clean and valid_to_ft >= ? "
        "and (date, number) < (?, ?) order by date, number limit ?",
        [car, feet, before.date, before.number, most],
    )
    return [RunKey(car, date, number) for date, number in rows]


def clean_runs_since(book: Logbook, car: str, date: dt.date, number: int, feet: int) -> int:
    """Return how many clean runs from this one on went so far [ft]."""
    found = book.row(
        "select system.main.count(*) from book.main.run_result "
        "where car = ? and clean and valid_to_ft >= ? and (date, number) >= (?, ?)",
        [car, feet, date, number],
    )
    return int(found[0]) if found else 0


def spoiled(book: Logbook, car: str) -> list[tuple[RunKey, str]]:
    """Return a car's spoiled runs with the reason that the crew wrote, in order."""
    rows = book.rows(
        "select date, number, spoiled from book.main.run_result where car = ? and spoiled is not null "
        "order by date, number",
        [car],
    )
    return [(RunKey(car, date, number), reason) for date, number, reason in rows]


def asked(book: Logbook, car: str, question: str) -> list[RunKey]:
    """Return the runs of a car at which the question of this identity still waits for an answer."""
    rows = book.rows(
        "select date, number from book.main.run_result where car = ? and system.main.contains(questions, ?)",
        [car, f'"{question}"'],
    )
    return [RunKey(car, date, number) for date, number in rows]


def setups(
    book: Logbook, car: str, keys: Collection[RunKey]
) -> dict[RunKey, tuple[dict[str, SheetEntry], dict[str, SheetEntry] | None]]:
    """Return the setup of these runs and that of the last clean run before each that isn't one of them, or None."""
    if not keys:
        return {}
    places = [(key.date - dt.date(1970, 1, 1)).days * 10000 + key.number for key in keys]
    rows = book.rows(
        f"with run as (select {_PLACE} as place, clean and {_TIMED} as good, setup from book.main.run_result "
        "where car = ?) "
        "select troubled.place, troubled.setup, calm.setup from "
        "(select * from run where system.main.list_contains(?::bigint[], place)) as troubled asof left join "
        "(select * from run where good and not system.main.list_contains(?::bigint[], place)) as calm "
        "on troubled.place > calm.place",
        [car, places, places],
    )
    return {
        _key(car, place): (_entries(setup), None if before is None else _entries(before))
        for place, setup, before in rows
    }


def _entries(text: str) -> dict[str, SheetEntry]:
    return {line["item"]: SheetEntry(**line) for line in json.loads(text)}


def newest(book: Logbook, car: str) -> tuple[RunKey, str | None] | None:
    """Return a car's newest run and its track; None: it has made none."""
    found = book.row(
        "select date, number, track from book.main.run_result where car = ? order by date desc, number desc limit 1",
        [car],
    )
    return None if found is None else (RunKey(car, found[0], found[1]), found[2])


def is_newest(book: Logbook, key: RunKey) -> bool:
    """Tell whether a car has made no run after this one."""
    found = book.row(
        "select 1 from book.main.run_result where car = ? and (date, number) > (?, ?) limit 1",
        [key.car, key.date, key.number],
    )
    return found is None
