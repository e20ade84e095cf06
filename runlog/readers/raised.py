"""Weighings with one axle raised: a small table of lifts and the loads that stay on the other axle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from runlog import units
from runlog.problems import Problems
from runlog.readers.table import Cells, Row, Table, normal, read_table

AXLE: Final = "raised_axle"
AXLES: Final = ("front", "rear")
_QUANTITIES: Final = {
    # column without its unit: dimension, lowest and highest accepted in SI
    "lift": ("length", 0.0, 2.0),
    "load": ("mass", 1.0, 5000.0),
    "resolution": ("mass", 0.0, 50.0),
    "lift_uncertainty": ("length", 0.0, 0.1),
    "radius_uncertainty": ("length", 0.0, 0.1),
}
_EACH_ROW: Final = ("lift", "load")
_ONCE: Final = tuple(name for name in _QUANTITIES if name not in _EACH_ROW)
"""quantities that hold for the whole table"""


@dataclass(frozen=True)
class RaisedTable:
    """The weighings of a table, and what it says about how well they were read."""

    weighings: Mapping[str, tuple[tuple[float, float], ...]]
    """(lift [m], load on the other axle [kg]) by the axle that was raised, in the order of the file"""
    resolution: float | None
    """[kg] step of the display of each pad; None where the table doesn't say"""
    lift_sd: float | None
    """[m] standard uncertainty of each lift but 0"""
    radius_sd: float | None
    """[m] standard uncertainty of the tyre radii"""


@dataclass(frozen=True)
class _Column:
    written: str
    unit: units.Unit


def read_raised(content: bytes, file: str) -> RaisedTable:
    """Read a table with the columns ``raised_axle`` (front or rear), ``lift_<unit>`` and ``load_<unit>``.

    ``resolution_<unit>``, ``lift_uncertainty_<unit>`` and ``radius_uncertainty_<unit>`` may stand beside them, one
    value for the whole table. ``FileFaults`` names everything that can't be read.
    """
    table = read_table(content, file)
    problems = Problems(file)
    axle, quantities = _columns(table, problems)
    problems.raise_if_any()
    found: dict[str, list[tuple[float, float]]] = {}
    said: dict[str, set[float]] = {name: set() for name in _ONCE}
    for row in table.rows:
        cells = Cells(row, problems, decimal_comma=table.decimal_comma)
        raised = (cells.text(axle) or "").lower()
        if raised not in AXLES:
            cells.fault(axle, repr(raised), "front or rear: the axle that was raised")
        values = {name: _value(cells, row, name, column) for name, column in quantities.items()}
        for name, value in values.items():
            if value is not None and name in said:
                said[name].add(value)
        lift, load = values["lift"], values["load"]
        if raised in AXLES and lift is not None and load is not None:
            found.setdefault(raised, []).append((lift, load))
    for name in _ONCE:
        if len(said[name]) > 1:
            problems.add(f"column {quantities[name].written!r}", "different values", "one value for the whole table")
    problems.raise_if_any()
    once = {name: next(iter(said[name]), None) for name in _ONCE}
    return RaisedTable(
        weighings={axle: tuple(found[axle]) for axle in AXLES if axle in found},
        resolution=once["resolution"],
        lift_sd=once["lift_uncertainty"],
        radius_sd=once["radius_uncertainty"],
    )


def _columns(table: Table, problems: Problems) -> tuple[str, dict[str, _Column]]:
    """Return the column of the raised axle and those of the quantities, noting every one that is wrong or missing."""
    axle = ""
    found: dict[str, _Column] = {}
    named = set()
    for column in filter(None, table.columns):
        if normal(column) == AXLE:
            axle = column
            continue
        name = max((name for name in _QUANTITIES if normal(column).startswith(f"{name}_")), key=len, default=None)
        if name is None:
            accepted = ", ".join([AXLE, *(f"{name}_<unit>" for name in _QUANTITIES)])
            problems.add(f"column {column!r}", "an unknown column", accepted)
            continue
        dimension = _QUANTITIES[name][0]
        spelling = column.strip()[len(name) + 1 :].strip(" _[]()")
        unit = units.find_unit(spelling, dimension)
        if unit is None:
            accepted = f"{name}_ and one of {', '.join(units.units_for(dimension))}"
            problems.add(f"column {column!r}", f"the unit {spelling!r}", accepted)
        elif name in named:
            problems.add(f"column {column!r}", f"a second column for {name}", "one of the two")
        else:
            found[name] = _Column(column, unit)
        named.add(name)
    for name in _EACH_ROW:
        if name not in named:
            problems.add("header", f"no column {name}_<unit>", f"a column {name}_<unit>")
    if not axle:
        problems.add("header", f"no column {AXLE}", f"a column {AXLE} with front or rear")
    return axle, found


def _value(cells: Cells, row: Row, name: str, column: _Column) -> float | None:
    """Return the cell in SI; a blank is a fault only where every row needs the value."""
    _, low, high = _QUANTITIES[name]
    bounds = (round(column.unit.from_si(bound), 6) for bound in (low, high))
    value = cells.number(column.written, column.unit.symbol, *bounds)
    if name in _EACH_ROW and column.written not in row.cells:
        cells.fault(column.written, "nothing", "a value in every row")
    return None if value is None else column.unit.to_si(value)
