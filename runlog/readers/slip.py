"""Timing slips: CSV with one line a run, or one slip typed in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runlog.constants import FOOT, MILE_PER_HOUR, SPLIT_DISTANCES_FT
from runlog.problems import Problems
from runlog.readers.keys import parse_date, parse_time
from runlog.readers.table import Cells, match_columns, read_table
from runlog.records import Given, RunKey, Slip

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.readers.table import Row

COLUMNS: Mapping[str, tuple[str, ...]] = {
    "car": ("car_name", "vehicle"),
    "date": ("day",),
    "time": ("time_of_day", "clock"),
    "track": ("venue", "strip"),
    "run": ("number", "run_number", "run_no", "pass"),
    "lane": (),
    "purpose": ("plan", "planned"),
    "reaction_s": ("reaction", "rt", "r_t", "reaction_time"),
    "t60_s": ("60", "60ft", "60_ft", "60_foot", "t60", "60ft_s", "sixty"),
    "t330_s": ("330", "330ft", "330_ft", "t330", "330ft_s"),
    "t660_s": ("660", "660ft", "660_ft", "t660", "1_8", "1_8_et", "eighth", "eighth_et", "660ft_s"),
    "v660_mph": ("v660", "mph660", "660_mph", "1_8_mph", "eighth_mph"),
    "t1000_s": ("1000", "1000ft", "1000_ft", "t1000", "1000ft_s"),
    "t1320_s": ("1320", "1320ft", "1320_ft", "t1320", "1_4", "1_4_et", "quarter", "quarter_et", "et", "1320ft_s"),
    "v1320_mph": ("v1320", "mph1320", "1320_mph", "1_4_mph", "quarter_mph", "mph"),
    "true_to_ft": ("true_to", "counts_to_ft"),
    "spoiled": ("spoilt", "spoiled_reason"),
    "note": ("notes", "comment", "remarks"),
}
"""Canonical column → trade spellings that are accepted for it (compared in lower case, words joined by ``_``)."""

_SLOWEST, _FASTEST = 2.0, 180.0
"""[m/s] bounds of a plausible average speed between two beams. Common practice, no source."""

_REACTION = (-2.0, 30.0)


def is_slip_header(header: tuple[str, ...]) -> bool:
    """Tell whether normalised column names are those of a slips table."""
    found = match_columns(header, COLUMNS)
    return "run" in found and any(f"t{feet}_s" in found for feet in SPLIT_DISTANCES_FT)


def read_slips(content: bytes, file: str, given: Given | None = None) -> tuple[Slip, ...]:
    """Read a slips table; car, date and track may come from ``given`` where a column is missing."""
    table = read_table(content, file)
    given = given or Given()
    problems = Problems(file)
    columns = match_columns(table.columns, COLUMNS)
    for column in table.columns:
        if column and column not in columns.values():
            problems.add(f"column {column!r}", "an unknown column", ", ".join(COLUMNS))
    for name, stated in (("car", given.car or given.run), ("date", given.run), ("run", given.run)):
        if name not in columns and not stated:
            problems.add("header", f"no column {name}", f"a column {name}, or the option that states it")
    problems.raise_if_any()
    slips = []
    for row in table.rows:
        named = {name: row.cells[column] for name, column in columns.items() if column in row.cells}
        slip = _slip(_renamed(row, named), problems, given, decimal_comma=table.decimal_comma)
        if slip is not None:
            if any(slip.key == other.key for other in slips):
                problems.add(f"line {row.line}", f"run {slip.key} again", "each run once in a file")
            slips.append(slip)
    problems.raise_if_any()
    return tuple(slips)


def _renamed(row: Row, cells: Mapping[str, str]) -> Row:
    return type(row)(row.line, cells)


def _slip(row: Row, problems: Problems, given: Given, *, decimal_comma: bool) -> Slip | None:
    cells = Cells(row, problems, decimal_comma=decimal_comma)
    key = _key(cells, given)
    clock = cells.text("time")
    time = parse_time(clock) if clock else None
    if clock and time is None:
        cells.fault("time", repr(clock), "a clock time such as 10:05 or 10:05:30")
    times = {feet: cells.number(f"t{feet}_s", "seconds", 0.3, 99.0) for feet in SPLIT_DISTANCES_FT}
    speeds = {feet: cells.number(f"v{feet}_mph", "miles per hour", 5.0, 400.0) for feet in (660, 1320)}
    true_to = cells.number("true_to_ft", "feet", 0, 1320)
    slip_times = {feet: value for feet, value in times.items() if value is not None}
    slip_speeds = {feet: value * MILE_PER_HOUR for feet, value in speeds.items() if value is not None}
    _check_order(cells, slip_times)
    _check_speeds(cells, slip_times, slip_speeds)
    if key is None:
        return None
    return Slip(
        key=key,
        time=time,
        track=cells.text("track") or given.track,
        lane=_lower(cells.text("lane")),
        purpose=cells.text("purpose"),
        reaction=cells.number("reaction_s", "seconds", *_REACTION),
        times=slip_times,
        speeds=slip_speeds,
        true_to_ft=None if true_to is None else int(true_to),
        spoiled=cells.text("spoiled"),
        note=cells.text("note"),
    )


def _lower(text: str | None) -> str | None:
    return None if text is None else text.lower()


def _key(cells: Cells, given: Given) -> RunKey | None:
    stated = given.run
    car = cells.text("car") or given.car or (stated.car if stated else None)
    day = cells.text("date")
    date = parse_date(day) if day else (stated.date if stated else None)
    number = cells.number("run", "a run number", 1, 9999) if cells.text("run") else None
    if number is None and stated and not cells.text("run"):
        number = stated.number
    if car is None:
        cells.fault("car", "nothing", "a car's name, here or as an option")
    if date is None:
        cells.fault("date", repr(day) if day else "nothing", "a date such as 2031-04-12")
    if number is None and not cells.text("run"):
        cells.fault("run", "nothing", "a run number from 1 on")
    if car is None or date is None or number is None:
        return None
    return RunKey(car.lower(), date, int(number))


def _check_order(cells: Cells, times: Mapping[int, float]) -> None:
    reached = sorted(times)
    for before, after in zip(reached, reached[1:], strict=False):
        if times[after] <= times[before]:
            cells.fault(
                f"t{after}_s",
                f"{times[after]:.3f} s at {after} ft, not above {times[before]:.3f} s at {before} ft",
                "times that grow with the distance",
            )


def _check_speeds(cells: Cells, times: Mapping[int, float], speeds: Mapping[int, float]) -> None:
    marks = [(0, 0.0), *sorted(times.items())]
    for (from_ft, start), (to_ft, end) in zip(marks, marks[1:], strict=False):
        if end <= start:
            continue
        speed = (to_ft - from_ft) * FOOT / (end - start)
        if not _SLOWEST <= speed <= _FASTEST:
            cells.fault(
                f"t{to_ft}_s",
                f"{speed / MILE_PER_HOUR:.0f} mph on average from {from_ft} to {to_ft} ft",
                f"{_SLOWEST / MILE_PER_HOUR:.0f} to {_FASTEST / MILE_PER_HOUR:.0f} mph",
            )
    for feet, speed in speeds.items():
        time = times.get(feet)
        if time is not None and speed < 0.35 * feet * FOOT / time:
            cells.fault(
                f"v{feet}_mph",
                f"{speed / MILE_PER_HOUR:.1f} mph at {feet} ft after {time:.3f} s",
                "a trap speed that goes with the times",
            )
