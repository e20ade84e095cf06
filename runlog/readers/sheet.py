"""Setup sheets: CSV (``item,value,unit``) or TOML, full or only what changed."""

from __future__ import annotations

import datetime as dt
import difflib
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from runlog import catalogue, units
from runlog.problems import Problems
from runlog.readers.keys import parse_date
from runlog.readers.table import match_columns, number, read_table
from runlog.records import Given, Sheet, SheetEntry

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.records import Adjustable, Car

_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "item": ("adjustable", "setting", "name"),
    "value": (),
    "unit": ("units",),
    "car": (),
    "date": (),
    "run": ("from_run",),
    "sheet": ("kind",),
    "note": ("notes", "comment"),
}


@dataclass(frozen=True)
class _Line:
    """One line of a sheet before its meaning is settled with the car's adjustables."""

    place: str
    car: str
    date: dt.date | None
    number: int
    full: bool
    item: str
    value: str
    unit: str


def is_sheet_header(header: tuple[str, ...]) -> bool:
    """Tell whether normalised column names are those of a setup sheet."""
    found = match_columns(header, _COLUMNS)
    return "item" in found and "value" in found


def read_sheets(content: bytes, file: str, cars: Mapping[str, Car], given: Given | None = None) -> tuple[Sheet, ...]:
    """Read one or more setup sheets; items are understood with the adjustables of the car.

    A file may hold sheets for several runs. Raises ``FileFaults`` with every fault: unknown car, hole or unit,
    a value that is no number, an item that looks like a misspelt adjustable.
    """
    given = given or Given()
    problems = Problems(file)
    reader = _toml_lines if file.lower().endswith(".toml") else _table_lines
    lines = reader(content, file, given, problems)
    problems.raise_if_any()
    sheets: dict[tuple[str, dt.date | None, int, bool], list[SheetEntry]] = {}
    for line in lines:
        car = cars.get(line.car)
        if car is None:
            known = ", ".join(sorted(cars)) or "none yet: import the car file first"
            problems.add(line.place, f"the car {line.car!r}", f"a car in the logbook ({known})")
            continue
        entry = _entry(line, car, problems)
        key = (line.car, line.date, line.number, line.full)
        if entry is not None:
            if any(entry.item == other.item for other in sheets.get(key, [])):
                problems.add(line.place, f"{entry.item!r} again", "each item once a sheet")
            sheets.setdefault(key, []).append(entry)
    problems.raise_if_any()
    return tuple(Sheet(*key, tuple(entries)) for key, entries in sheets.items())


def _table_lines(content: bytes, file: str, given: Given, problems: Problems) -> list[_Line]:
    table = read_table(content, file)
    columns = match_columns(table.columns, _COLUMNS)
    for name in ("item", "value"):
        if name not in columns:
            problems.add("header", f"no column {name}", "the columns item, value, unit")
    lines = []
    for row in table.rows:
        cells = {name: row.cells.get(column, "") for name, column in columns.items()}
        place = f"line {row.line}"
        who = _who(place, cells, given, problems)
        if not cells.get("item"):
            problems.add(f"{place}, column item", "nothing", "the name of an adjustable or a reading")
        elif not cells.get("value"):
            problems.add(f"{place}, column value", "nothing", f"a value for {cells['item']!r}")
        elif who is not None:
            value = cells["value"]
            plain = number(value, decimal_comma=table.decimal_comma)
            lines.append(
                _Line(place, *who, cells["item"], value if plain is None else repr(plain), cells.get("unit", ""))
            )
    return lines


def _toml_lines(content: bytes, file: str, given: Given, problems: Problems) -> list[_Line]:
    try:
        text: dict[str, Any] = tomllib.loads(content.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        problems.add("", f"a fault in the TOML: {error}", "TOML 1.0 in UTF-8")
        return []
    items = text.pop("items", None)
    unknown = set(text) - {"car", "date", "run", "full", "note"}
    for key in sorted(unknown):
        problems.add(f"key {key}", "an unknown key", "car, date, run, full, note and the table [items]")
    if not isinstance(items, dict) or not items:
        problems.add("key items", "nothing", "a table [items] with the settings")
        return []
    cells = {name: str(text.get(name, "")) for name in ("car", "date", "run")}
    cells["sheet"] = "full" if text.get("full") else ""
    who = _who("top level", cells, given, problems)
    lines = []
    for item, value in items.items():
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            problems.add(f"key items.{item}", repr(value), 'a number, or a quantity such as "6.5 psi"')
        elif who is not None:
            lines.append(_Line(f"key items.{item}", *who, item, *_split(str(value))))
    return lines


def _split(text: str) -> tuple[str, str]:
    """Take ``"6.5 psi"`` apart; words and labels stay whole."""
    try:
        value, unit = units.split_quantity(text)
    except ValueError:
        return text, ""
    return (text, "") if unit and units.find_unit(unit) is None and " " not in text.strip() else (repr(value), unit)


def _who(
    place: str, cells: Mapping[str, str], given: Given, problems: Problems
) -> tuple[str, dt.date | None, int, bool] | None:
    """Return (car, date, run, full) that a line is for."""
    stated = given.run
    car = cells.get("car") or given.car or (stated.car if stated else "")
    day = cells.get("date", "")
    date = parse_date(day) if day else (stated.date if stated else None)
    run = cells.get("run", "")
    if not car:
        problems.add(place, "no car", "a column car, or --car NAME")
    if day and date is None:
        problems.add(f"{place}, date", repr(day), "a date such as 2031-04-12")
    if run and not (run.isdigit() and int(run) >= 1):
        problems.add(f"{place}, run", repr(run), "a run number from 1 on")
    if not car or (day and date is None) or (run and not run.isdigit()):
        return None
    kind = cells.get("sheet", "").lower()
    if kind not in ("", "full", "changes"):
        problems.add(f"{place}, column sheet", repr(kind), "full or changes")
    number_ = int(run) if run else (stated.number if stated else 1)
    full = given.full if given.full is not None else kind == "full"
    if date is None and not full:
        problems.add(place, "changes without a date", "the date and run they are valid from, or a full sheet", _REMEDY)
        return None
    return car.lower(), date, number_, full


_REMEDY = "Give --run CAR/DATE/NUMBER, or --full for a baseline."


def _entry(line: _Line, car: Car, problems: Problems) -> SheetEntry | None:
    item = line.item.strip().lower()
    known = catalogue.BY_NAME.get(item)
    adjustable = car.adjustable(known.name if known else item)
    if adjustable is not None:
        return _setting(line, adjustable, problems)
    close = difflib.get_close_matches(item, [a.name for a in car.adjustables], n=1, cutoff=0.85)
    if known is None and close:
        problems.add(line.place, f"the item {line.item!r}", f"an adjustable of {car.name}, such as {close[0]!r}")
        return None
    return _reading(line, known.name if known else item, problems)


def _setting(line: _Line, adjustable: Adjustable, problems: Problems) -> SheetEntry | None:
    if adjustable.holes:
        return _hole(line, adjustable, problems)
    value = number(line.value)
    if value is None:
        problems.add(line.place, repr(line.value), f"a number for {adjustable.name} in {adjustable.unit}")
        return None
    own = units.unit_of(adjustable.unit)
    if line.unit:
        unit = units.find_unit(line.unit, own.dimension)
        if unit is None:
            accepted = ", ".join(units.units_for(own.dimension))
            problems.add(line.place, f"the unit {line.unit!r} for {adjustable.name}", accepted)
            return None
        value = round(own.from_si(unit.to_si(value)), 9)
    return SheetEntry(adjustable.name, value, adjustable.unit, f"{value:g}")


def _hole(line: _Line, adjustable: Adjustable, problems: Problems) -> SheetEntry | None:
    labels = [hole.label for hole in adjustable.holes]
    plain = number(line.value)
    wanted = {line.value.strip()} | ({f"{plain:g}"} if plain is not None else set())
    found = next((position for position, label in enumerate(labels) if label in wanted), None)
    if found is None:
        shown = f"{plain:g}" if plain is not None else line.value
        problems.add(line.place, f"the hole {shown!r} for {adjustable.name}", f"one of {', '.join(labels)}")
        return None
    if line.unit and line.unit.lower() not in ("hole", "holes"):
        problems.add(line.place, f"the unit {line.unit!r} for {adjustable.name}", "hole, or nothing")
        return None
    return SheetEntry(adjustable.name, float(found), "hole", labels[found])


def _reading(line: _Line, item: str, problems: Problems) -> SheetEntry | None:
    value = number(line.value)
    if line.unit and units.find_unit(line.unit) is None:
        problems.add(line.place, f"the unit {line.unit!r}", "a unit that runlog knows, such as lb, in, psi, rpm, deg")
        return None
    unit = units.find_unit(line.unit) if line.unit else None
    return SheetEntry(item, value, unit.symbol if unit else "", line.value if value is None else f"{value:g}")
