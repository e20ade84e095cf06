"""Units on the page: US customary by default, metric where the shop has set so."""

from __future__ import annotations

from typing import Any

from runlog.reports.amounts import metric as metric
from runlog.reports.console import NOTHING, number


def temperature(celsius: float | None) -> str:
    """Return a temperature with its unit."""
    if celsius is None:
        return NOTHING
    return f"{celsius:.1f} °C" if metric() else f"{celsius * 1.8 + 32:.0f} °F"


def pressure(hectopascal: float | None) -> str:
    """Return an air pressure with its unit."""
    if hectopascal is None:
        return NOTHING
    return f"{hectopascal:.1f} hPa" if metric() else f"{hectopascal / 33.8638866667:.2f} inHg"


def altitude(feet: float | None) -> str:
    """Return an altitude with its unit."""
    if feet is None:
        return NOTHING
    return f"{feet * 0.3048:,.0f} m" if metric() else f"{feet:,.0f} ft"


def length(metres: float | None, digits: int = 2) -> str:
    """Return a length of the car with its unit."""
    if metres is None:
        return NOTHING
    return f"{metres * 1000:.0f} mm" if metric() else f"{metres / 0.0254:.{digits}f} in"


def force(newton: float | None, *, sign: bool = False) -> str:
    """Return a load on a tyre or a force with its unit."""
    if newton is None:
        return NOTHING
    return f"{number(newton, 0, sign=sign)} N" if metric() else f"{number(newton / 4.4482216152605, 0, sign=sign)} lb"


def torque(newton_metres: float | None) -> str:
    """Return a torque with its unit."""
    if newton_metres is None:
        return NOTHING
    return f"{newton_metres:.0f} N·m" if metric() else f"{newton_metres / 1.3558179483314:.0f} lb·ft"


def speed(mph: float | None) -> str:
    """Return a trap speed with its unit."""
    if mph is None:
        return NOTHING
    return f"{mph * 1.609344:.2f} km/h" if metric() else f"{mph:.2f} mph"


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
