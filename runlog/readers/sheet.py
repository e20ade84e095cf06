"""Setup sheets: CSV (``item,value,unit``) or TOML, full or only what changed."""

from __future__ import annotations

import datetime as dt
import difflib
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, WithJsonSchema

from runlog import catalogue, units
from runlog.problems import Problems
from runlog.readers.fields import Day
from runlog.readers.keys import parse_date, parse_number
from runlog.readers.table import match_columns, normal, number, read_table
from runlog.readers.toml import read_toml
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

KIT = "last"
"""The column by which a filled-in form of a kit is told: blanks are left out, and who it is for is said once."""


_WHO = ("car", "date", "run", "sheet")


@dataclass(frozen=True)
class _Line:
    """One line of a sheet before its meaning is settled with the car's adjustables."""

    place: str
    car: str
    date: dt.date | None
    number: int
    full: bool
    item: str
    text: str
    """the value with a decimal point, perhaps followed by its unit"""
    unit: str
    """as stated apart from the value; empty if it wasn't"""

    def parts(self) -> tuple[str, str]:
        """Return (value, unit), taking ``"6.5 psi"`` apart; words stay whole."""
        if self.unit:
            return self.text, self.unit
        try:
            value, unit = units.split_quantity(self.text)
        except ValueError:
            return self.text, ""
        known = not unit or units.find_unit(unit) is not None
        return (repr(value), unit) if known or " " in self.text.strip() else (self.text, "")


def _value(found: object) -> str | float:
    if isinstance(found, bool) or not isinstance(found, str | int | float) or found == "" or not _finite(found):
        raise ValueError('a number, or a quantity such as "6.5 psi"')
    return found


def _finite(found: str | float) -> bool:
    return isinstance(found, str) or math.isfinite(found)


Value = Annotated[str | float, PlainValidator(_value), WithJsonSchema({"type": ["number", "string"], "minLength": 1})]


class SheetFileModel(BaseModel):
    """A setup sheet: which car and run it is for, and its items with their values."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    car: Annotated[str, Field(min_length=1, examples=["heron"])] | None = None
    date: Day | None = None
    run: Annotated[int, Field(ge=1, le=9999)] | None = None
    full: bool = False
    note: str = ""
    items: dict[str, Value] = Field(
        min_length=1, examples=[{"rear tyre pressure": "6.5 psi", "upper link front hole": 2}]
    )


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
    if "car" not in columns and not (given.car or given.run):
        problems.add("header", "no car", "a column car, or --car NAME")
    if problems.found:
        return []
    is_form = any(normal(column) == KIT for column in table.columns)
    lines = []
    above: dict[str, str] = {}
    for row in table.rows:
        cells = {name: row.cells.get(column, "") for name, column in columns.items()}
        if is_form:
            above |= {name: cells[name] for name in _WHO if cells.get(name)}
            cells |= above
            if not cells["value"]:
                continue
        place = f"line {row.line}"
        who = _who(place, cells, given, problems)
        if not cells["item"]:
            problems.add(f"{place}, column {columns['item']}", "nothing", "the name of an adjustable or a reading")
        elif not cells["value"]:
            problems.add(f"{place}, column {columns['value']}", "nothing", f"a value for {cells['item']!r}")
        elif who is not None:
            text = cells["value"]
            plain = number(text, decimal_comma=table.decimal_comma)
            if plain is not None and "," in text:
                text = repr(plain)
            lines.append(_Line(place, *who, cells["item"], text, cells.get("unit", "")))
    if is_form and not lines and not problems.found:
        problems.add(f"column {columns['value']}", "nothing filled in", "a value for at least one item")
    return lines


def _toml_lines(content: bytes, file: str, given: Given, problems: Problems) -> list[_Line]:
    model = read_toml(content, problems, SheetFileModel)
    if model is None:
        return []
    cells = {
        "car": model.car or "",
        "date": model.date.isoformat() if model.date else "",
        "run": str(model.run) if model.run else "",
        "sheet": "full" if model.full else "",
    }
    who = _who("top level", cells, given, problems)
    if who is None:
        return []
    return [_Line(f"key items.{item}", *who, item, _plain(value), "") for item, value in model.items.items()]


def _plain(value: str | float) -> str:
    return value if isinstance(value, str) else f"{value:.10g}"


def _who(
    place: str, cells: Mapping[str, str], given: Given, problems: Problems
) -> tuple[str, dt.date | None, int, bool] | None:
    """Return (car, date, run, full) that a line is for; None when a problem was noted."""
    before = len(problems.found)
    stated = given.run
    car = cells.get("car") or given.car or (stated.car if stated else "")
    day, run, kind = cells.get("date", ""), cells.get("run", ""), cells.get("sheet", "").lower()
    date = parse_date(day) if day else (stated.date if stated else None)
    number_ = parse_number(run) if run else (stated.number if stated else 1)
    full = given.full if given.full is not None else kind == "full"
    if not car:
        problems.add(place, "no car", "the car's name in the file, or --car NAME")
    if day and date is None:
        problems.add(f"{place}, date", repr(day), "a date such as 2031-04-12")
    if number_ is None:
        problems.add(f"{place}, run", repr(run), "a run number from 1 on")
    if kind not in ("", "full", "changes"):
        problems.add(f"{place}, column sheet", repr(kind), "full or changes")
    if not day and date is None and not full:
        problems.add(place, "changes without a date", "the date and run they are valid from, or a full sheet", _REMEDY)
    if len(problems.found) > before or number_ is None:
        return None
    return car.lower(), date, number_, full


_REMEDY = "Give --run CAR/DATE/NUMBER, or --full for a baseline."


def _entry(line: _Line, car: Car, problems: Problems) -> SheetEntry | None:
    item = line.item.strip().lower()
    known = catalogue.BY_NAME.get(item)
    adjustable = car.adjustable(known.name if known else item)
    if adjustable is not None:
        return _setting(line, adjustable, problems)
    close = _misspelt(item, car) if known is None else None
    if close is not None:
        problems.add(line.place, f"the item {line.item!r}", f"an adjustable of {car.name}, such as {close!r}")
        return None
    return _reading(line, known.name if known else item, problems)


def _misspelt(item: str, car: Car) -> str | None:
    """Return the adjustable that ``item`` looks like; one with a further word, such as ``hot``, is another thing."""
    close = difflib.get_close_matches(item, [adjustable.name for adjustable in car.adjustables], n=1, cutoff=0.85)
    return close[0] if close and not set(close[0].split()) < set(item.split()) else None


def _setting(line: _Line, adjustable: Adjustable, problems: Problems) -> SheetEntry | None:
    if adjustable.holes:
        return _hole(line, adjustable, problems)
    text, spelling = line.parts()
    value = number(text)
    if value is None:
        problems.add(line.place, repr(text), f"a number for {adjustable.name} in {adjustable.unit}")
        return None
    own = units.unit_of(adjustable.unit)
    if spelling:
        unit = units.find_unit(spelling, own.dimension)
        if unit is None:
            accepted = ", ".join(units.units_for(own.dimension))
            problems.add(line.place, f"the unit {spelling!r} for {adjustable.name}", accepted)
            return None
        value = round(own.from_si(unit.to_si(value)), 9)
    return SheetEntry(adjustable.name, value, adjustable.unit, f"{value:g}")


def _hole(line: _Line, adjustable: Adjustable, problems: Problems) -> SheetEntry | None:
    labels = [hole.label for hole in adjustable.holes]
    found, unit = _position(line.text, labels), line.unit
    if found is None:
        # a label may look like a quantity ("1A"), so it is looked for first; "2 hole" and 2.0 mean the hole 2
        text, unit = line.parts()
        plain = number(text)
        found = _position(text if plain is None else f"{plain:g}", labels)
    if found is None:
        problems.add(line.place, f"the hole {line.text!r} for {adjustable.name}", f"one of {', '.join(labels)}")
        return None
    if unit and unit.lower() not in ("hole", "holes"):
        problems.add(line.place, f"the unit {unit!r} for {adjustable.name}", "hole, or nothing")
        return None
    return SheetEntry(adjustable.name, float(found), "hole", labels[found])


def _position(text: str, labels: list[str]) -> int | None:
    """Return which label is meant; case doesn't matter where that leaves one."""
    text = text.strip()
    if text in labels:
        return labels.index(text)
    alike = [position for position, label in enumerate(labels) if label.lower() == text.lower()]
    return alike[0] if len(alike) == 1 else None


def _reading(line: _Line, item: str, problems: Problems) -> SheetEntry | None:
    text, spelling = line.parts()
    value = number(text)
    unit = units.find_unit(spelling) if spelling else None
    if line.unit and unit is None:
        problems.add(line.place, f"the unit {line.unit!r}", "a unit that runlog knows, such as lb, in, psi, rpm, deg")
        return None
    if value is None or (spelling and unit is None):
        return SheetEntry(item, None, unit.symbol if unit else "", line.text)
    return SheetEntry(item, value, unit.symbol if unit else "", f"{value:.10g}")
