"""A kit for a car: blank setup sheet, slips and air readings, to be printed or filled in, then imported as they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from runlog import catalogue
from runlog.errors import NotFound
from runlog.readers import sheet, slip
from runlog.store import facts, results
from runlog.workflows.chassis.scales import DRIVER, FUEL, HELD, READINGS
from runlog.workflows.setup import baseline

if TYPE_CHECKING:
    from collections.abc import Callable

    from runlog.records import Adjustable, Car, SheetEntry
    from runlog.store.connection import Logbook

ROWS: Final = 12
"""blank rows of slips and of air readings: a day. Common practice, no source"""
ASKED: Final = ("pinion angle", "ride height front", "ride height rear")
"""readings that are asked for beside the scales', of any car"""


@dataclass(frozen=True)
class Row:
    """A row of a blank form, and what may be filled into its blank: choices, or a number between limits."""

    cells: tuple[str, ...]
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Form:
    """A blank form: ``name`` of its file without an ending, its columns, the one to be filled in, and its rows."""

    name: str
    title: str
    columns: tuple[str, ...]
    blank: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Units:
    """The units that a shop writes in: how a setting is turned into them, and the units of an air table's columns."""

    symbol: Callable[[str], str]
    setting: Callable[[float | str | None, str], str]
    temperature: str = "F"
    pressure: str = "inHg"
    speed: str = "mph"
    weight: str = "lb"
    length: str = "in"


def kit(book: Logbook, name: str, units: Units) -> tuple[Form, ...]:
    """Return the forms for a car; ``NotFound`` without its car file, which says what can be changed on it."""
    car = facts.car(book, name)
    if car is None:
        raise NotFound(f"no car file for {name}: import it first, a kit is made of its adjustables")
    return (_sheet(book, car, units), _slips(car, units), _air(units))


def _sheet(book: Logbook, car: Car, units: Units) -> Form:
    runs = results.run_results(book, car.name)
    known = {entry.item: entry for entry in runs[-1].setup} if runs else baseline(facts.sheets(book, car.name))
    rows = [_setting(car.name, item, known[item.name].text if item.name in known else None, units)
            for item in car.adjustables]  # fmt: skip
    readings = [(item, units.weight) for item in READINGS]
    readings += [(item, "deg" if "angle" in item else units.length) for item in ASKED if car.adjustable(item) is None]
    readings += [(item, units.weight) for item in (DRIVER, FUEL)] + [(item, "") for item in HELD]
    for item, unit in readings:
        entry = known.get(item)
        last = "" if entry is None else _last(entry, unit, units)
        choices = ("yes", "no") if not unit else ()
        rows.append(Row((car.name, "", "", "", item, "", unit, last, "", ""), choices))
    return Form(
        f"{car.name}_sheet",
        "setup sheet: write date and run that it holds from into the first line; what is left blank stays as it is",
        ("car", "date", "run", "sheet", "item", "value", "unit", sheet.KIT, "limits", "mind"),
        "value",
        tuple(rows),
    )


def _last(entry: SheetEntry, unit: str, units: Units) -> str:
    """Return a reading as it was last noted: in the form's unit, or with its own where that is another."""
    if units.symbol(entry.unit) == unit:
        return units.setting(entry.text, entry.unit)
    return f"{entry.text} {entry.unit}".strip()


def _setting(car: str, item: Adjustable, last: str | None, units: Units) -> Row:
    unit = units.symbol(item.unit)
    minds = "; ".join(catalogue.CAUTIONS[letter] for letter in item.cautions)
    if item.holes:
        labels = tuple(hole.label for hole in item.holes)
        return Row((car, "", "", "", item.name, "", "hole", last or "", " ".join(labels), minds), labels)
    shown = ["" if bound is None else units.setting(bound, item.unit) for bound in (item.low, item.high)]
    limits = f"{shown[0]} to {shown[1]}" if all(shown) else f"from {shown[0]}" if shown[0] else ""
    limits = limits or (f"to {shown[1]}" if shown[1] else "")
    before = "" if last is None else units.setting(last, item.unit)
    low, high = (float(bound) if bound else None for bound in shown)
    return Row((car, "", "", "", item.name, "", unit, before, limits, minds), (), low, high)


def _slips(car: Car, units: Units) -> Form:
    other = "kmh" if units.speed == "mph" else "mph"
    columns = tuple(name for name in slip.COLUMNS if not name.endswith(f"_{other}"))
    blank = tuple(car.name if name == "car" else "" for name in columns)
    title = "timing slips: a line a run; leave blank what wasn't reached"
    return Form(f"{car.name}_slips", title, columns, "run", (Row(blank),) * ROWS)


def _air(units: Units) -> Form:
    columns = (
        "time", f"temperature_{units.temperature}", "relative_humidity_pct", f"station_pressure_{units.pressure}",
        f"wind_speed_{units.speed}", "wind_from_deg", f"track_temperature_{units.temperature}",
    )  # fmt: skip
    title = "air: local date and time such as 2031-04-12 10:05; station pressure, not altimeter setting"
    return Form("air", title, columns, "time", (Row(("",) * len(columns)),) * ROWS)
