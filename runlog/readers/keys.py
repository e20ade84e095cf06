"""Dates, times and run keys as people write them."""

from __future__ import annotations

import datetime as dt
import re

from runlog.records import RunKey

_IN_NAME = re.compile(
    r"(?:(?P<car>[a-z0-9][a-z0-9-]*)[_ ])?(?P<date>\d{4}-\d{2}-\d{2})[_ -](?:run[_ -]?)?(?P<number>\d{1,3})(?!\d)", re.I
)


def parse_date(text: str) -> dt.date | None:
    """Return an ISO date, or None."""
    try:
        return dt.date.fromisoformat(text.strip())
    except ValueError:
        return None


def parse_time(text: str) -> dt.time | None:
    """Return a clock time such as 10:05 or 10:05:30, or None."""
    if not re.fullmatch(r"\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?", text.strip()):
        return None
    try:
        return dt.time.fromisoformat(text.strip().zfill(5) if text.count(":") == 1 else text.strip().zfill(8))
    except ValueError:
        return None


def parse_datetime(text: str) -> dt.datetime | None:
    """Return an ISO date and time without zone, or None."""
    try:
        return dt.datetime.fromisoformat(text.strip()).replace(tzinfo=None)
    except ValueError:
        return None


def parse_run_key(text: str) -> RunKey | None:
    """Return the key written ``car/date/number``, or None."""
    parts = text.strip().split("/")
    if len(parts) != 3 or not re.fullmatch(r"[a-z0-9][a-z0-9_-]*", parts[0]) or not parts[2].isdigit():
        return None
    date = parse_date(parts[1])
    return None if date is None else RunKey(parts[0], date, int(parts[2]))


def key_in_name(name: str) -> tuple[str | None, dt.date, int] | None:
    """Return (car, date, number) found in a file's name such as ``heron_2031-04-12_3.csv``; car may be None."""
    match = _IN_NAME.search(name)
    date = parse_date(match["date"]) if match else None
    if match is None or date is None:
        return None
    return (match["car"].lower() if match["car"] else None, date, int(match["number"]))
