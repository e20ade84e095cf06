"""Finding the run, the day or the car that a word on the command line means."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from runlog import configuration
from runlog.errors import NotFound, UsageError
from runlog.readers.keys import parse_date, parse_run_key
from runlog.store import results

if TYPE_CHECKING:
    import datetime as dt

    from runlog.records import RunKey
    from runlog.store.connection import Logbook

ACCEPTED = "car/date/number, car/latest, or a number for the newest test day"


def find_run(book: Logbook, text: str | None) -> RunKey:
    """Return the run that ``text`` means; the newest when nothing is said.

    ``NotFound`` when there is none, ``UsageError`` that lists the candidates when several fit.
    """
    keys = results.run_keys(book)
    if not keys:
        raise NotFound("the logbook has no runs yet: import slips, or type one in with 'runlog add run'")
    if text is None:
        return results.newest_run(book)
    exact = parse_run_key(text)
    if exact is not None:
        if exact not in keys:
            raise NotFound(f"no run {text} in the logbook{_near(keys, exact)}")
        return exact
    car, _, rest = text.lower().partition("/")
    if rest == "latest":
        own = [key for key in keys if key.car == car]
        if not own:
            raise NotFound(f"no run of {car!r}; cars with runs: {', '.join(sorted({key.car for key in keys}))}")
        return max(own, key=lambda key: (key.date, key.number))
    if re.fullmatch("[0-9]+", text):
        newest = max(key.date for key in keys)
        return _only([key for key in keys if key.date == newest and key.number == int(text)], text)
    raise UsageError(f"{text!r} is not a run; accepted: {ACCEPTED}")


def _only(found: list[RunKey], text: str) -> RunKey:
    if not found:
        raise NotFound(f"no run {text} on the newest test day; accepted: {ACCEPTED}")
    if len(found) > 1:
        raise UsageError(f"{text!r} fits several runs: {', '.join(map(str, sorted(found)))}; give one of them in full")
    return found[0]


def _near(keys: list[RunKey], wanted: RunKey) -> str:
    same = [key for key in keys if key.car == wanted.car]
    days = sorted({key.date.isoformat() for key in same})
    numbers = [str(key.number) for key in same if key.date == wanted.date]
    if numbers:
        return f"; runs of that day: {', '.join(numbers)}"
    if days:
        return f"; {wanted.car} ran on {', '.join(days[-6:])}"
    return f"; cars with runs: {', '.join(sorted({key.car for key in keys}))}"


def find_day(book: Logbook, text: str) -> tuple[str | None, dt.date]:
    """Return (car or None, date) that ``car/date`` or ``date`` means."""
    car, _, day = text.lower().rpartition("/")
    date = parse_date(day)
    if date is None:
        raise UsageError(f"{text!r} is not a day; accepted: a date such as 2031-04-12, or car/date")
    keys = [key for key in results.run_keys(book) if key.date == date and car in ("", key.car)]
    if not keys:
        raise NotFound(f"no run on {text} in the logbook")
    return car or None, date


def find_car(book: Logbook, text: str | None) -> str:
    """Return the car that is meant; without a word the one that is set, the only one, or that of the newest run."""
    cars = sorted({key.car for key in results.run_keys(book)} | set(results.cars_with_file(book)))
    if text is not None:
        if text.lower() not in cars:
            raise NotFound(f"no car {text!r} in the logbook; there are: {', '.join(cars) or 'none yet'}")
        return text.lower()
    usual = configuration.find("car")
    if usual.value is not None:
        if usual.value not in cars:
            there = ", ".join(cars) or "none yet"
            raise NotFound(f"no car {usual.value!r} in the logbook, as set by {usual.source}; there are: {there}")
        return str(usual.value)
    if len(cars) == 1:
        return cars[0]
    if not cars:
        raise NotFound("the logbook has no car yet: import a car file")
    if not results.run_keys(book):
        raise UsageError(f"the logbook has several cars and no runs yet; give one of: {', '.join(cars)}")
    return results.newest_run(book).car
