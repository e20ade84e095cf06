"""Timing slips: CSV with one line a run, or one slip typed in."""

from __future__ import annotations

import itertools
import re
from typing import TYPE_CHECKING

from runlog.constants import FOOT, MILE_PER_HOUR, SPEED_DISTANCES_FT, SPLIT_DISTANCES_FT
from runlog.problems import Problems
from runlog.readers.keys import CAR, parse_date, parse_time
from runlog.readers.table import Cells, Row, match_columns, read_table
from runlog.records import Given, RunKey, Slip

if TYPE_CHECKING:
    from collections.abc import Mapping

COLUMNS: Mapping[str, tuple[str, ...]] = {
    "car": ("car_name", "vehicle"),
    "date": ("day",),
    "time": ("time_of_day", "clock"),
    "track": ("venue", "strip"),
    "run": ("number", "run_number", "run_no", "pass"),
    "lane": (),
    "purpose": ("plan", "planned"),
    "reaction_s": ("reaction", "rt", "r_t", "reaction_time"),
    "t60_s": ("60", "60ft", "60_ft", "60_foot", "t60", "60ft_s", "60_ft_s", "sixty"),
    "t330_s": ("330", "330ft", "330_ft", "t330", "330ft_s", "330_ft_s"),
    "t660_s": ("660", "660ft", "660_ft", "t660", "1_8", "1_8_et", "eighth", "eighth_et", "660ft_s", "660_ft_s"),
    "v660_mph": ("v660", "mph660", "660_mph", "1_8_mph", "eighth_mph"),
    "t1000_s": ("1000", "1000ft", "1000_ft", "t1000", "1000ft_s", "1000_ft_s"),
    "t1320_s": (
        "1320",
        "1320ft",
        "1320_ft",
        "t1320",
        "1_4",
        "1_4_et",
        "quarter",
        "quarter_et",
        "et",
        "1320ft_s",
        "1320_ft_s",
    ),
    "v1320_mph": ("v1320", "mph1320", "1320_mph", "1_4_mph", "quarter_mph", "mph"),
    "v660_kmh": ("kmh660", "660_kmh", "660_km_h", "1_8_kmh", "eighth_kmh"),
    "v1320_kmh": ("kmh1320", "1320_kmh", "1320_km_h", "1_4_kmh", "quarter_kmh", "kmh", "km_h"),
    "true_to_ft": ("true_to", "counts_to_ft"),
    "spoiled": ("spoilt", "spoiled_reason"),
    "note": ("notes", "comment", "remarks"),
}
"""Canonical column → trade spellings that are accepted for it (compared in lower case, words joined by ``_``)."""

_GIVEN_AHEAD = {"car", "track"}
"""what a blank form says before anything is filled in"""

_LANES = {"l": "left", "left": "left", "r": "right", "right": "right"}
_NOT_SPOILED = {"no", "none", "n", "-", "false", "0", "clean"}

_SLOWEST, _FASTEST = 2.0, 180.0
"""[m/s] bounds of a plausible average speed between two beams. Common practice, no source."""

_TRAP_TO_AVERAGE = (0.35, 2.5)
"""bounds of a trap speed as a multiple of the average speed up to it: steady acceleration from rest gives 2, coasting
less than 1. Common practice, no source."""

SPEED_UNITS: Mapping[str, tuple[str, float, float, float]] = {
    "mph": ("miles per hour", MILE_PER_HOUR, 5.0, 400.0),
    "kmh": ("kilometres per hour", 1000.0 / 3600.0, 8.0, 640.0),
}
"""how a column of trap speeds may end: the unit in words, its size [m/s], and the bounds in it"""

_REACTION = (-2.0, 30.0)


def is_slip_header(header: tuple[str, ...]) -> bool:
    """Tell whether normalised column names are those of a slips table; a run's number may come as an option."""
    found = match_columns(header, COLUMNS)
    splits = sum(f"t{feet}_s" in found for feet in SPLIT_DISTANCES_FT)
    known = len(found) == sum(bool(name) for name in header)
    return splits > 0 and ("run" in found or (known and len(found) > 1))


def read_slips(content: bytes, file: str, given: Given | None = None) -> tuple[Slip, ...]:
    """Read a slips table; car, date and track may come from ``given`` where a column is missing."""
    table = read_table(content, file)
    given = given or Given()
    problems = Problems(file)
    columns = match_columns(table.columns, COLUMNS)
    _check_columns(table.columns, columns, given, problems)
    problems.raise_if_any()
    lines: dict[RunKey, int] = {}
    slips: list[Slip] = []
    for row in table.rows:
        named = Row(row.line, {name: row.cells[column] for name, column in columns.items() if column in row.cells})
        if named.cells and set(named.cells) <= _GIVEN_AHEAD:
            continue  # a line of a form that wasn't filled in
        cells = Cells(named, problems, decimal_comma=table.decimal_comma, written=columns)
        slip = _slip(cells, given)
        if slip is None:
            continue
        if slip.key in lines:
            problems.add(
                f"line {row.line}", f"run {slip.key} again, as in line {lines[slip.key]}", "each run once a file"
            )
        lines.setdefault(slip.key, row.line)
        slips.append(slip)
    if not slips and not problems.found:
        problems.add("", "no line filled in", "at least one run with its times")
    problems.raise_if_any()
    return tuple(slips)


def _check_columns(written: tuple[str, ...], columns: Mapping[str, str], given: Given, problems: Problems) -> None:
    for column in written:
        if not column or column in columns.values():
            continue
        twin = next(iter(match_columns((column,), COLUMNS)), None)
        if twin:
            problems.add(
                f"column {column!r}", f"a second column for {twin}, beside {columns[twin]!r}", "one of the two"
            )
        else:
            problems.add(f"column {column!r}", "an unknown column", ", ".join(COLUMNS))
    for name, stated in (("car", given.car or given.run), ("date", given.run), ("run", given.run)):
        if name not in columns and not stated:
            problems.add("header", f"no column {name}", f"a column {name}, or the option that states it")


def _slip(cells: Cells, given: Given) -> Slip | None:
    key = _key(cells, given)
    clock = cells.text("time")
    time = parse_time(clock) if clock else None
    if clock and time is None:
        cells.fault("time", repr(clock), "a clock time such as 10:05 or 14:05:30")
    times = {feet: cells.number(f"t{feet}_s", "seconds", 0.3, 99.0) for feet in SPLIT_DISTANCES_FT}
    speeds = _speeds(cells)
    true_to = cells.whole("true_to_ft", "feet", 0, SPLIT_DISTANCES_FT[-1])
    reaction = cells.number("reaction_s", "seconds", *_REACTION)
    slip_times = {feet: value for feet, value in times.items() if value is not None}
    _check_order(cells, slip_times)
    _check_speeds(cells, slip_times, speeds)
    lane = cells.text("lane")
    if lane and lane.lower() not in _LANES:
        cells.fault("lane", repr(lane), "left or right")
    if key is None:
        return None
    track = cells.text("track") or given.track
    spoiled = cells.text("spoiled")
    return Slip(
        key=key,
        time=time,
        track=track.lower() if track else None,
        lane=_LANES.get(lane.lower()) if lane else None,
        purpose=cells.text("purpose"),
        reaction=reaction,
        times=slip_times,
        speeds={feet: speed for feet, (speed, _) in speeds.items()},
        true_to_ft=true_to,
        spoiled=None if spoiled is None or spoiled.lower() in _NOT_SPOILED else spoiled,
        note=cells.text("note"),
    )


def _speeds(cells: Cells) -> dict[int, tuple[float, str]]:
    """Return the trap speed [m/s] at each distance [ft], and the unit that it was written in."""
    found: dict[int, tuple[float, str]] = {}
    for feet in SPEED_DISTANCES_FT:
        for unit, (words, size, low, high) in SPEED_UNITS.items():
            value = cells.number(f"v{feet}_{unit}", words, low, high)
            if value is not None and feet in found:
                cells.fault(f"v{feet}_{unit}", f"{value:g}, beside a speed in {found[feet][1]}", "one of the two")
            elif value is not None:
                found[feet] = value * size, unit
    return found


def _key(cells: Cells, given: Given) -> RunKey | None:
    stated = given.run
    car = cells.text("car") or given.car or (stated.car if stated else None)
    day = cells.text("date")
    date = parse_date(day) if day else (stated.date if stated else None)
    number = cells.whole("run", "a run number", 1, 9999)
    if number is None and stated and not cells.text("run"):
        number = stated.number
    if car is None:
        cells.fault("car", "nothing", "a car's name, here or as an option")
    elif not re.fullmatch(CAR, car.lower()):
        cells.fault("car", repr(car), "a car's name: letters, digits, - and _")
        return None
    if date is None:
        cells.fault("date", repr(day) if day else "nothing", "a date such as 2031-04-12")
    if number is None and not cells.text("run"):
        cells.fault("run", "nothing", "a run number from 1 on")
    if car is None or date is None or number is None:
        return None
    return RunKey(car.lower(), date, number)


def _check_order(cells: Cells, times: Mapping[int, float]) -> None:
    reached = sorted(times)
    for before, after in itertools.pairwise(reached):
        if times[after] <= times[before]:
            cells.fault(
                f"t{after}_s",
                f"{times[after]:.3f} s at {after} ft, not above {times[before]:.3f} s at {before} ft",
                "times that grow with the distance",
            )


def _check_speeds(cells: Cells, times: Mapping[int, float], speeds: Mapping[int, tuple[float, str]]) -> None:
    marks = [(0, 0.0), *sorted(times.items())]
    for (from_ft, start), (to_ft, end) in itertools.pairwise(marks):
        if end <= start:
            continue
        speed = (to_ft - from_ft) * FOOT / (end - start)
        if not _SLOWEST <= speed <= _FASTEST:
            cells.fault(
                f"t{to_ft}_s",
                f"{speed / MILE_PER_HOUR:.0f} mph on average from {from_ft} to {to_ft} ft",
                f"{_SLOWEST / MILE_PER_HOUR:.0f} to {_FASTEST / MILE_PER_HOUR:.0f} mph",
            )
    low, high = _TRAP_TO_AVERAGE
    for feet, (speed, unit) in speeds.items():
        time = times.get(feet)
        average = feet * FOOT / time if time is not None else None
        if average is not None and not low * average <= speed <= high * average:
            cells.fault(
                f"v{feet}_{unit}",
                f"{speed / SPEED_UNITS[unit][1]:.1f} {unit} at {feet} ft after {time:.3f} s",
                "a trap speed that goes with the times",
                _otherwise(speed, unit, feet, (low * average, high * average)),
            )


def _otherwise(speed: float, unit: str, feet: int, bounds: tuple[float, float]) -> str:
    """Say so where a trap speed [m/s] would go with the times in the other unit."""
    other = next(name for name in SPEED_UNITS if name != unit)
    meant = speed / SPEED_UNITS[unit][1] * SPEED_UNITS[other][1]
    if not bounds[0] <= meant <= bounds[1]:
        return ""
    return f"In {SPEED_UNITS[other][0]} it would go with them: the column for those is v{feet}_{other}."
