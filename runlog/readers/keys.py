"""Dates, times and run keys as people write them."""

from __future__ import annotations

import datetime as dt
import re

from runlog.records import RunKey

CAR = r"[a-z0-9][a-z0-9_-]*"
"""A car's name, as car files accept it."""

_IN_NAME = re.compile(
    rf"(?:(?<![a-z0-9_-])(?P<car>{CAR})[_ -])?(?<!\d)(?P<date>\d{{4}}-\d{{2}}-\d{{2}})[_ -](?:run[_ -]?)?"
    # a clock time may follow the date in a logger's file names: 2031-04-12_10-30-00 is not run 10
    r"(?P<number>\d{1,3})(?!\d)(?!(?<=\d\d)[-_.:h]\d\d(?!\d))",
    re.I,
)
_TIME = re.compile(r"\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?")
_DATE_TIME = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{1,2}:\d{2}.*")


def parse_date(text: str) -> dt.date | None:
    """Return an ISO date, or None."""
    try:
        return dt.date.fromisoformat(text.strip())
    except ValueError:
        return None


def parse_time(text: str) -> dt.time | None:
    """Return a clock time such as 10:05 or 10:05:30, or None."""
    text = text.strip()
    if not _TIME.fullmatch(text):
        return None
    try:
        return dt.time.fromisoformat(text if text[1] != ":" else f"0{text}")
    except ValueError:
        return None


def parse_datetime(text: str) -> dt.datetime | None:
    """Return a local ISO date and clock time, or None.

    A zone is refused: whether the figures before it are local time or the zone's can't be told from the file.
    """
    text = text.strip()
    if not _DATE_TIME.fullmatch(text):
        return None
    date, time = parse_date(text[:10]), parse_time(text[11:])
    return None if date is None or time is None else dt.datetime.combine(date, time)


def parse_number(text: str) -> int | None:
    """Return a run's number, from 1 on, or None."""
    return int(text) or None if re.fullmatch(r"[0-9]{1,4}", text.strip()) else None


def parse_run_key(text: str) -> RunKey | None:
    """Return the key written ``car/date/number``, or None."""
    parts = text.strip().lower().split("/")
    if len(parts) != 3 or not re.fullmatch(CAR, parts[0]):
        return None
    date, number = parse_date(parts[1]), parse_number(parts[2])
    return None if date is None or number is None else RunKey(parts[0], date, number)


def key_in_name(name: str) -> tuple[str | None, dt.date, int] | None:
    """Return (car, date, number) found in a file's name such as ``heron_2031-04-12_3.csv``; car may be None.

    ``car`` is everything before the date that could be a car's name; other words may stand in front of it.
    """
    match = _IN_NAME.search(name)
    date = parse_date(match["date"]) if match else None
    if match is None or date is None or int(match["number"]) < 1:
        return None
    return (match["car"].lower() if match["car"] else None, date, int(match["number"]))
