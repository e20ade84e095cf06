"""Units on the page: US customary by default, metric where the shop has set so."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from runlog.constants import FOOT
from runlog.reports.amounts import metric as metric
from runlog.reports.console import NOTHING, number


def temperature(celsius: float | None) -> str:
    """Return a temperature with its unit."""
    return _either(celsius, _Way("°C", digits=1), _Way("°F", 1.8, 32.0))


def pressure(hectopascal: float | None) -> str:
    """Return an air pressure with its unit."""
    return _either(hectopascal, _Way("hPa", digits=1), _Way("inHg", 1 / 33.8638866667, digits=2))


def altitude(feet: float | None) -> str:
    """Return an altitude with its unit."""
    return _either(feet, _Way("m", FOOT), _Way("ft"), ",")


def length(metres: float | None, digits: int = 2) -> str:
    """Return a length of the car with its unit; ``digits`` of inches."""
    return _either(metres, _Way("mm", 1000.0), _Way("in", 1 / 0.0254, digits=digits))


def mass(kilograms: float | None) -> str:
    """Return a weight with its unit."""
    return _either(kilograms, _Way("kg", digits=1), _Way("lb", 1 / 0.45359237))


def force(newton: float | None, *, sign: bool = False) -> str:
    """Return a load on a tyre or a force with its unit."""
    return _either(newton, _Way("N"), _Way("lb", 1 / 4.4482216152605), "+" if sign else "")


def torque(newton_metres: float | None) -> str:
    """Return a torque with its unit."""
    return _either(newton_metres, _Way("N·m"), _Way("lb·ft", 1 / 1.3558179483314))


def speed(mph: float | None) -> str:
    """Return a trap speed with its unit."""
    return _either(mph, _Way("km/h", 1.609344, digits=2), _Way("mph", digits=2))


@dataclass(frozen=True)
class _Way:
    """One way to say a quantity: its unit, and what a value is multiplied by and then added to."""

    unit: str
    factor: float = 1.0
    shift: float = 0.0
    digits: int = 0


def _either(value: float | None, in_metric: _Way, customary: _Way, form: str = "") -> str:
    """Return a quantity with its unit; ``form`` is "+" for a sign, "," for thousands."""
    if value is None:
        return NOTHING
    way = in_metric if metric() else customary
    return f"{value * way.factor + way.shift:{form}.{way.digits}f} {way.unit}"


def wind(metres_per_second: float | None) -> str:
    """Return a wind along the track, and whether it pushes."""
    if metres_per_second is None:
        return "wind not known"
    size = abs(metres_per_second)
    text = f"{size:.1f} m/s" if metric() else f"{size / 0.44704:.0f} mph"
    return f"{text} {'tailwind' if metres_per_second >= 0 else 'headwind'}"


def readings_line(air: dict[str, Any]) -> str:
    """Return what was read of the air, in one line."""
    parts = [
        temperature(air["temperature_c"]),
        f"{air['relative_humidity_pct']:.0f} % humidity",
        pressure(air["station_pressure_hpa"]),
        wind(air["wind_along_track_m_s"]),
    ]
    if air["track_temperature_c"] is not None:
        parts.append(f"track {temperature(air['track_temperature_c'])}")
    return " · ".join(parts)


def density_line(air: dict[str, Any]) -> str:
    """Return what follows from the readings, in one line."""
    height = altitude(air["density_altitude_ft"])
    return f"density altitude {height} · density ratio {number(air['density_ratio'], 3)}"
