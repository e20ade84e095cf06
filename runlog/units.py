"""Units: read where data enters, written where it leaves; plain SI numbers in between.

The table is small on purpose (building a general registry costs most of a second of start-up); the tests check every
entry against an independent units library.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeVar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Number = TypeVar("Number", float, NDArray[np.float64])
else:
    Number = TypeVar("Number")

_G = 9.80665
_INCH = 0.0254
_POUND = 0.45359237
_POUND_FORCE = _POUND * _G
_PSI = _POUND_FORCE / _INCH**2
_RPM = 3.141592653589793 / 30.0
_HORSEPOWER = 550.0 * 0.3048 * _POUND_FORCE


@dataclass(frozen=True)
class Unit:
    """A unit of measurement: ``SI value = value * factor + offset``."""

    symbol: str
    dimension: str
    factor: float
    offset: float = 0.0

    @property
    def spoken(self) -> str:
        """The symbol in sentences: standard gravity is a g to the crew."""
        return self.symbol.removesuffix("n") if self.symbol in ("gn", "mgn") else self.symbol

    def to_si(self, value: Number) -> Number:
        """Convert a number or an array given in this unit to SI."""
        return value * self.factor + self.offset

    def from_si(self, value: Number) -> Number:
        """Convert an SI number or array to this unit."""
        return (value - self.offset) / self.factor


# symbol, dimension, factor, offset, further spellings (compared in lower case, see _normal)
_TABLE: Final[tuple[tuple[str, str, float, float, str], ...]] = (
    ("m", "length", 1.0, 0.0, "metre metres meter meters"),
    ("mm", "length", 1e-3, 0.0, "millimetre millimetres millimeter millimeters"),
    ("cm", "length", 1e-2, 0.0, "centimetre centimetres centimeter centimeters"),
    ("km", "length", 1e3, 0.0, "kilometre kilometres kilometer kilometers"),
    ("in", "length", _INCH, 0.0, 'inch inches "'),
    ("ft", "length", 0.3048, 0.0, "foot feet '"),
    ("mi", "length", 1609.344, 0.0, "mile miles"),
    ("s", "time", 1.0, 0.0, "sec secs second seconds"),
    ("ms", "time", 1e-3, 0.0, "msec msecs millisecond milliseconds"),
    ("us", "time", 1e-6, 0.0, "µs μs usec microsecond microseconds"),
    ("min", "time", 60.0, 0.0, "minute minutes"),
    ("h", "time", 3600.0, 0.0, "hr hour hours"),
    ("kg", "mass", 1.0, 0.0, "kilogram kilograms kgs"),
    ("g", "mass", 1e-3, 0.0, "gram grams"),
    ("lb", "mass", _POUND, 0.0, "lbs lbm pound pounds"),
    ("N", "force", 1.0, 0.0, "newton newtons"),
    ("kN", "force", 1e3, 0.0, ""),
    ("lbf", "force", _POUND_FORCE, 0.0, "lb lbs pound pounds"),
    ("N·m", "torque", 1.0, 0.0, "nm n-m n*m newton-metre"),
    (
        "lbf·ft",
        "torque",
        _POUND_FORCE * 0.3048,
        0.0,
        "lb-ft lbft ft-lb ftlb ft-lbs lb·ft lbf-ft ft-lbf lb*ft",
    ),
    ("W", "power", 1.0, 0.0, "watt watts"),
    ("kW", "power", 1e3, 0.0, "kilowatt kilowatts"),
    ("hp", "power", _HORSEPOWER, 0.0, "bhp horsepower"),
    ("PS", "power", 75.0 * _G, 0.0, ""),
    ("m/s", "speed", 1.0, 0.0, "mps m/sec m·s-1 m*s^-1"),
    ("km/h", "speed", 1 / 3.6, 0.0, "kph kmh km/hr kmph"),
    ("mph", "speed", 0.44704, 0.0, "mi/h miles/h"),
    ("ft/s", "speed", 0.3048, 0.0, "fps ft/sec"),
    ("kn", "speed", 1852 / 3600, 0.0, "kt kts knot knots"),
    ("m/s²", "acceleration", 1.0, 0.0, "m/s2 m/s^2 m/s/s m/sec2 m/sec^2 mps2"),
    ("ft/s²", "acceleration", 0.3048, 0.0, "ft/s2 ft/s^2 ft/sec2"),
    ("gn", "acceleration", _G, 0.0, "g gee gees g's gs"),
    ("mgn", "acceleration", _G * 1e-3, 0.0, "mg milli-g millig"),
    ("Pa", "pressure", 1.0, 0.0, "pascal pascals"),
    ("hPa", "pressure", 100.0, 0.0, "mbar millibar millibars mb"),
    ("kPa", "pressure", 1e3, 0.0, "kilopascal kilopascals"),
    ("MPa", "pressure", 1e6, 0.0, ""),
    ("bar", "pressure", 1e5, 0.0, "bars"),
    ("psi", "pressure", _PSI, 0.0, "psig psia lb/in2 lb/in² lbf/in2"),
    ("inHg", "pressure", 3386.38866667, 0.0, "in.hg in-hg inchesofmercury"),
    ("mmHg", "pressure", 133.322387415, 0.0, ""),
    ("K", "temperature", 1.0, 0.0, "kelvin degk °k"),
    ("°C", "temperature", 1.0, 273.15, "c degc deg_c celsius ºc deg.c"),
    ("°F", "temperature", 5 / 9, 459.67 * 5 / 9, "f degf deg_f fahrenheit ºf deg.f"),
    ("rad/s", "angular_speed", 1.0, 0.0, "rad/sec"),
    ("rpm", "angular_speed", _RPM, 0.0, "1/min r/min rev/min min-1 u/min"),
    ("Hz", "frequency", 1.0, 0.0, "hertz"),
    ("kHz", "frequency", 1e3, 0.0, ""),
    ("rad", "angle", 1.0, 0.0, "radian radians"),
    ("deg", "angle", 3.141592653589793 / 180, 0.0, "° degree degrees º"),
    ("deg/s", "angular_rate", 3.141592653589793 / 180, 0.0, "°/s deg/sec dps"),
    ("1", "ratio", 1.0, 0.0, "ratio fraction -"),
    ("%", "ratio", 0.01, 0.0, "pct percent per_cent %rh"),
    ("V", "voltage", 1.0, 0.0, "volt volts vdc"),
    ("mV", "voltage", 1e-3, 0.0, "millivolt millivolts"),
    ("A", "current", 1.0, 0.0, "amp amps ampere amperes"),
    ("kg/m³", "density", 1.0, 0.0, "kg/m3 kg/m^3"),
    ("g/s", "mass_flow", 1e-3, 0.0, ""),
    ("N/m", "stiffness", 1.0, 0.0, ""),
    ("N/mm", "stiffness", 1e3, 0.0, ""),
    ("lb/in", "stiffness", _POUND_FORCE / _INCH, 0.0, "lbf/in lbs/in"),
    ("m²", "area", 1.0, 0.0, "m2 m^2"),
    ("ft²", "area", 0.3048**2, 0.0, "ft2 ft^2 sqft"),
    # counted things of the trade: one of them is one of them
    ("click", "clicks", 1.0, 0.0, "clicks"),
    ("hole", "holes", 1.0, 0.0, "holes"),
    ("flat", "flats", 1.0, 0.0, "flats"),
    ("turn", "turns", 1.0, 0.0, "turns"),
    ("set", "sets", 1.0, 0.0, "sets"),
    ("run", "runs", 1.0, 0.0, "runs"),
)

SI_UNITS: Final[dict[str, str]] = {
    "length": "m",
    "time": "s",
    "mass": "kg",
    "force": "N",
    "torque": "N·m",
    "power": "W",
    "speed": "m/s",
    "acceleration": "m/s²",
    "pressure": "Pa",
    "temperature": "K",
    "angular_speed": "rad/s",
    "frequency": "Hz",
    "angle": "rad",
    "angular_rate": "rad/s",
    "ratio": "1",
    "voltage": "V",
    "current": "A",
    "density": "kg/m³",
    "mass_flow": "kg/s",
    "stiffness": "N/m",
    "area": "m²",
    "clicks": "click",
    "holes": "hole",
    "flats": "flat",
    "turns": "turn",
    "sets": "set",
    "runs": "run",
}
"""The unit in which a number of each dimension is held inside the program."""


def _normal(spelling: str) -> str:
    """Bring a spelling to the form it is looked up in: no blanks, lower case."""
    return re.sub(r"\s+", "", spelling).lower()


def _build() -> tuple[dict[str, Unit], dict[str, tuple[Unit, ...]]]:
    exact: dict[str, Unit] = {}
    folded: dict[str, tuple[Unit, ...]] = {}
    for symbol, dimension, factor, offset, spellings in _TABLE:
        unit = Unit(symbol, dimension, factor, offset)
        exact[symbol] = unit
        for spelling in dict.fromkeys(map(_normal, (symbol, *spellings.split()))):
            folded[spelling] = (*folded.get(spelling, ()), unit)
    # mega and milli differ only in case: MPa is written exactly or not understood
    folded.pop("mpa")
    return exact, folded


_EXACT, _FOLDED = _build()


def find_unit(spelling: str, dimension: str | None = None) -> Unit | None:
    """Return the unit that ``spelling`` names, or None when it names none, or none of ``dimension``.

    A spelling that names several is settled by the dimension: ``g`` is grams, and standard gravity only as an
    acceleration; ``lb`` is a mass, and a force only as one. Without a dimension the first of the table is meant.
    """
    spelling = spelling.strip()
    candidates = (*([_EXACT[spelling]] if spelling in _EXACT else []), *_FOLDED.get(_normal(spelling), ()))
    return next((unit for unit in candidates if dimension in (None, unit.dimension)), None)


def unit_of(symbol: str) -> Unit:
    """Return the unit with exactly this symbol; KeyError when the table has none."""
    return _EXACT[symbol]


def units_for(dimension: str) -> tuple[str, ...]:
    """Return the symbols of all units of a dimension, for messages that say what is accepted."""
    return tuple(symbol for symbol, unit in _EXACT.items() if unit.dimension == dimension)


SPOKEN: Final = {
    "pressure": "psi", "temperature": "°F", "angular_speed": "rpm", "speed": "mph", "acceleration": "gn",
    "ratio": "%", "length": "in", "voltage": "V",
}  # fmt: skip
"""the unit in which the crew speaks of a channel, by its dimension"""


_QUANTITY = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")


def split_quantity(text: str) -> tuple[float, str]:
    """Split ``"2650 lb"`` into ``(2650.0, "lb")``; ValueError when it doesn't start with a number."""
    match = _QUANTITY.match(text)
    if match is None:
        raise ValueError(f"{text!r} does not start with a number")
    value = float(match[1])
    if not math.isfinite(value):
        raise ValueError(f"{text!r} is beyond any number")
    return value, match[2]


def parse_quantity(text: str, dimension: str) -> float:
    """Read a number with its unit and return SI.

    >>> round(parse_quantity("2650 lb", "mass"), 3)
    1202.02

    Raises ValueError that says what was found and which units are accepted.
    """
    value, spelling = split_quantity(text)
    unit = find_unit(spelling, dimension)
    if unit is None:
        what = f"the unit {spelling!r}" if spelling else "no unit"
        raise ValueError(f"{text!r} has {what}; accepted units of {dimension}: {', '.join(units_for(dimension))}")
    return unit.to_si(value)
