"""Air readings: a table of time, temperature, humidity and pressure, and wind where it was read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from runlog import units
from runlog.physics.atmosphere import station_pressure
from runlog.physics.humidity import humidity_from_dew_point, humidity_from_wet_bulb
from runlog.problems import Problems
from runlog.readers.keys import parse_datetime
from runlog.readers.table import Cells, normal, read_table
from runlog.records import AirReading, Given

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable

_QUANTITIES = {
    # column without its unit: dimension, lowest and highest accepted in SI
    "temperature": ("temperature", 223.15, 333.15),
    "relative_humidity": ("ratio", 0.0, 1.0),
    "dew_point": ("temperature", 223.15, 333.15),
    "wet_bulb": ("temperature", 273.15, 333.15),
    "station_pressure": ("pressure", 50_000.0, 110_000.0),
    "altimeter": ("pressure", 90_000.0, 110_000.0),
    "elevation": ("length", -500.0, 5000.0),
    "wind_speed": ("speed", 0.0, 60.0),
    "track_temperature": ("temperature", 223.15, 373.15),
}
_BY_TEMPERATURE = {"dew_point": humidity_from_dew_point, "wet_bulb": humidity_from_wet_bulb}
"""how a temperature tells the humidity, by its column"""
_PLAIN = {"time", "wind_from_deg", "track"}
_HUMIDITIES = ("relative_humidity", "dew_point", "wet_bulb")
"""of which a table has one"""
_PRESSURES = ("station_pressure", "altimeter")


@dataclass(frozen=True)
class _Column:
    name: str
    unit: units.Unit


def is_air_header(header: tuple[str, ...]) -> bool:
    """Tell whether normalised column names are those of an air table: a logger may log humidity or pressure too."""
    humidities, pressures = (tuple(f"{start}_" for start in group) for group in (_HUMIDITIES, _PRESSURES))
    needed = (("temperature_",), humidities, pressures)
    found = [any(name.startswith(starts) for name in header) for starts in needed]
    own = sum(name in _PLAIN or name.startswith(tuple(f"{start}_" for start in _QUANTITIES)) for name in header)
    return "time" in header and any(found[1:]) and (all(found) or 2 * own > len(header))


def read_air(content: bytes, file: str, given: Given | None = None) -> tuple[tuple[str | None, AirReading], ...]:
    """Read an air table; return (track or None, reading) for each row.

    Humidity is one of ``relative_humidity_<unit>``, ``dew_point_<unit>`` and ``wet_bulb_<unit>``. Pressure is either
    ``station_pressure_<unit>`` or ``altimeter_<unit>`` with an elevation (a column ``elevation_<unit>`` or
    ``given.elevation``): two different things, so the header says which.
    """
    given = given or Given()
    table = read_table(content, file)
    problems = Problems(file)
    quantities = _columns(table.columns, problems)
    plain = {normal(column): column for column in table.columns if normal(column) in _PLAIN}
    if "time" not in plain:
        problems.add("header", "no column time", "a column time")
    # a column in a unit that isn't known has been noted already
    if not any(normal(column).startswith("temperature_") for column in table.columns):
        problems.add("header", "no column temperature_<unit>", "a column temperature_<unit>")
    _one_of(table.columns, _HUMIDITIES, "no column relative_humidity_<unit>", problems)
    pressures = _one_of(table.columns, _PRESSURES, "no pressure column", problems)
    if pressures == ["altimeter"] and "elevation" not in quantities and given.elevation is None:
        problems.add(
            "header",
            "an altimeter setting and no elevation",
            "a column elevation_<unit>",
            "Or give --elevation, or --track with a track that is in the logbook.",
        )
    problems.raise_if_any()
    readings: dict[tuple[str | None, dt.datetime], AirReading] = {}
    for row in table.rows:
        cells = Cells(row, problems, decimal_comma=table.decimal_comma)
        reading = _reading(cells, plain, quantities, given)
        if reading is None:
            continue
        track = cells.text(plain.get("track", "")) or given.track
        key = (track.lower() if track else None, reading.time)
        if readings.setdefault(key, reading) != reading:
            problems.add(f"line {row.line}", f"other air at {reading.time:%Y-%m-%dT%H:%M:%S}", "one reading a time")
    if "relative_humidity" in quantities:
        _check_percent(quantities["relative_humidity"], readings.values(), problems)
    problems.raise_if_any()
    return tuple((track, reading) for (track, _), reading in readings.items())


def _one_of(columns: tuple[str, ...], names: tuple[str, ...], none: str, problems: Problems) -> list[str]:
    """Return which of these quantities the table has; a problem when that isn't exactly one."""
    # a column in a unit that isn't known counts too: it has been noted already
    found = [name for name in names if any(normal(column).startswith(f"{name}_") for column in columns)]
    if len(found) != 1:
        *most, last = (f"{name}_<unit>" for name in names)
        problems.add("header", " and ".join(found) or none, f"either {', '.join(most)} or {last}")
    return found


def _check_percent(column: _Column, readings: Iterable[AirReading], problems: Problems) -> None:
    """Note a problem where percent look like fractions: outdoors no air is drier than a hundredth."""
    highest = max((reading.relative_humidity for reading in readings), default=0.0)
    if column.unit.symbol == "%" and 0.0 < highest <= 0.01:
        problems.add(
            f"column {column.name!r}",
            f"{100 * highest:g} % at most",
            "percent from 0 to 100",
            "For a humidity from 0 to 1 name the column relative_humidity_fraction.",
        )


def _columns(columns: tuple[str, ...], problems: Problems) -> dict[str, _Column]:
    found: dict[str, _Column] = {}
    for column in columns:
        if not column or normal(column) in _PLAIN:
            continue
        name = next((name for name in _QUANTITIES if normal(column).startswith(f"{name}_")), None)
        if name is None:
            accepted = ", ".join([*sorted(_PLAIN), *(f"{name}_<unit>" for name in _QUANTITIES)])
            problems.add(f"column {column!r}", "an unknown column", accepted)
            continue
        dimension = _QUANTITIES[name][0]
        spelling = column.strip()[len(name) + 1 :].strip(" _[]()")
        unit = units.find_unit(spelling.replace("_", "/"), dimension) or units.find_unit(spelling, dimension)
        if unit is None:
            accepted = f"{name}_ and one of {', '.join(units.units_for(dimension))}"
            problems.add(f"column {column!r}", f"the unit {spelling!r}", accepted)
        elif name in found:
            problems.add(
                f"column {column!r}", f"a second column for {name}, beside {found[name].name!r}", "one of the two"
            )
        else:
            found[name] = _Column(column, unit)
    return found


def _reading(cells: Cells, plain: dict[str, str], quantities: dict[str, _Column], given: Given) -> AirReading | None:
    def quantity(name: str) -> float | None:
        column = quantities.get(name)
        if column is None:
            return None
        _, low, high = _QUANTITIES[name]
        bounds = (round(column.unit.from_si(bound), 6) for bound in (low, high))
        value = cells.number(column.name, column.unit.symbol, *bounds)
        return None if value is None else column.unit.to_si(value)

    clock = cells.text(plain["time"])
    time = parse_datetime(clock) if clock else None
    if time is None:
        cells.fault(plain["time"], repr(clock or ""), "a local date and time such as 2031-04-12T10:05, no zone")
    temperature = quantity("temperature")
    pressure, source = quantity("station_pressure"), "station pressure"
    if "altimeter" in quantities:
        setting, elevation = quantity("altimeter"), quantity("elevation")
        elevation = given.elevation if elevation is None else elevation
        source = "altimeter setting and elevation"
        if setting is not None and elevation is not None:
            pressure = float(station_pressure(setting, elevation))
    told = next(name for name in _HUMIDITIES if name in quantities)
    humidity = quantity(told)
    # a blank is only a fault here; a cell that couldn't be read has been noted already
    needed = ["temperature", *(name for name in (*_HUMIDITIES, *_PRESSURES) if name in quantities)]
    if given.elevation is None and "elevation" in quantities:
        needed.append("elevation")
    for name in needed:
        if not cells.text(quantities[name].name):
            cells.fault(quantities[name].name, "nothing", "a value in every row")
    if time is None or temperature is None or humidity is None or pressure is None:
        return None
    if told in _BY_TEMPERATURE:
        source += f", humidity from the {told.replace('_', ' ')}"
        try:
            humidity = float(_BY_TEMPERATURE[told](temperature, pressure, humidity))
        except ValueError as error:
            cells.fault(quantities[told].name, str(error), "a reading that fits the air's temperature")
            return None
    return AirReading(
        time=time,
        temperature=temperature,
        relative_humidity=humidity,
        station_pressure=pressure,
        wind_speed=quantity("wind_speed"),
        wind_from_deg=cells.number(plain.get("wind_from_deg", ""), "degrees", 0.0, 360.0),
        track_temperature=quantity("track_temperature"),
        source=source,
    )
