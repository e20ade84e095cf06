"""The air on the terminal."""

from __future__ import annotations

from typing import Any

from runlog.reports.console import add_row, bullets, console, line, number, table
from runlog.reports.shown import altitude, pressure, temperature, wind


def print_air(page: dict[str, Any]) -> None:
    """Print the air worked out from readings."""
    out = console()
    made = table("air", "")
    rows = [
        ("temperature", temperature(page["temperature_c"])),
        ("relative humidity", f"{page['relative_humidity_pct']:.0f} %"),
        ("station pressure", pressure(page["station_pressure_hpa"])),
        ("dry-air pressure", pressure(page["dry_air_pressure_hpa"])),
        ("water content", f"{page['water_content_g_kg']:.1f} g/kg of dry air"),
        ("density", f"{number(page['density_kg_m3'], 4)} kg/m³"),
        ("density ratio", number(page["density_ratio"], 4)),
        ("density altitude", altitude(page["density_altitude_ft"])),
        ("pressure altitude", altitude(page["pressure_altitude_ft"])),
    ]
    if page["wind_along_track_m_s"] is not None:
        rows.append(("along the track", wind(page["wind_along_track_m_s"])))
    if page["track_temperature_c"] is not None:
        rows.append(("track surface", temperature(page["track_temperature_c"])))
    for row in rows:
        add_row(made, row)
    out.print(made)
    out.print(line((f"from {page['source']}; ratio to {page['reference']}", "dim")))
    bullets(out, page["warnings"], "?")
