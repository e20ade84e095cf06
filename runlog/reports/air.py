"""The air on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.text import Text

from runlog.reports.console import NOTHING, add_row, bullets, console, heading, line, number, table
from runlog.reports.day_plot import day_plot
from runlog.reports.shown import altitude, metric, pressure, temperature, wind

if TYPE_CHECKING:
    from rich.console import Console

WORTH_NOTE = "an estimate by the model, not a promise; speed and launch stay inside rules and makers' limits"


def print_air(page: dict[str, Any]) -> None:
    """Print the air worked out from readings, and where asked the day's series and the car's last run beside it."""
    out = console()
    if page["series"]:
        _series(out, page)
    _figures(out, page)
    if page["against"]:
        _against(out, page["against"])
    bullets(out, page["warnings"], "?")


def _water(page: dict[str, Any]) -> str:
    grains = "" if metric() else f", {page['water_content_gr_lb']:.0f} gr/lb"
    return f"{page['water_content_g_kg']:.1f} g/kg{grains}"


def _figures(out: Console, page: dict[str, Any]) -> None:
    made = table("air", "")
    rows = [
        ("temperature", temperature(page["temperature_c"])),
        ("relative humidity", f"{page['relative_humidity_pct']:.0f} %"),
        ("dew point", temperature(page["dew_point_c"])),
        ("wet bulb", temperature(page["wet_bulb_c"])),
        ("station pressure", pressure(page["station_pressure_hpa"])),
        ("dry-air pressure", pressure(page["dry_air_pressure_hpa"])),
        ("vapour pressure", pressure(page["vapour_pressure_hpa"])),
        ("water in dry air", _water(page)),
        ("virtual temperature", temperature(page["virtual_temperature_c"])),
        ("density", f"{number(page['density_kg_m3'], 4)} kg/m³"),
        ("density ratio", number(page["density_ratio"], 4)),
        ("density altitude", altitude(page["density_altitude_ft"])),
        ("pressure altitude", altitude(page["pressure_altitude_ft"])),
    ]
    if page["altimeter_setting_hpa"] is not None:
        rows.append(("altimeter setting", pressure(page["altimeter_setting_hpa"])))
    if page["wind_along_track_m_s"] is not None:
        rows.append(("along the track", wind(page["wind_along_track_m_s"])))
    if page["track_temperature_c"] is not None:
        rows.append(("track surface", temperature(page["track_temperature_c"])))
    for row in rows:
        add_row(made, row)
    out.print(made)
    read = f", read {page['time'].replace('T', ' ')[:16]}" if page["time"] else ""
    at = f"{', taken to be' if page['track_assumed'] else ''} at {page['track']}" if page["track"] else ""
    out.print(line((f"from {page['source']}{read}{at}; ratio to {page['reference']}", "dim")))


def _series(out: Console, page: dict[str, Any]) -> None:
    at = f" at {page['track']}" if page["track"] else ""
    count = len(page["series"])
    out.print(line((f"{page['day']}{at}", "bold"), f"   {count} reading{'s' if count > 1 else ''}"))
    for row in day_plot(page["series"], page["runs"]):
        out.print(Text(row, no_wrap=True, overflow="crop"))
    out.print()


def _against(out: Console, against: dict[str, Any]) -> None:
    out.print()
    when = f", {against['run_time'][:5]}" if against["run_time"] else ""
    out.print(heading(f"Against the air of {against['run']}{when}"))
    out.print(line(_difference(against["difference"])))
    if against["runs_fitted"] is not None:
        _worth(out, against)
    bullets(out, [*(f"corrected figures: {text}" for text in against["caveats"]), *against["notes"]], "?")
    out.print()


def _difference(found: dict[str, Any]) -> str:
    warmer, water = found["temperature_c"], found["water_content_g_kg"]
    parts = [
        f"{_by(warmer, 1)} °C" if metric() else f"{_by(warmer * 1.8)} °F",
        f"{_by(found['relative_humidity_pct'])} % humidity",
        f"{_by(water, 1)} g/kg water" if metric() else f"{_by(water * 7)} gr/lb water",
        f"{_by(found['station_pressure_hpa'], 1)} hPa"
        if metric()
        else f"{_by(found['station_pressure_hpa'] / 33.86389, 2)} inHg",
    ]
    if found["wind_along_track_m_s"] is not None:
        blown = found["wind_along_track_m_s"]
        parts.append(f"tailwind {_by(blown, 1)} m/s" if metric() else f"tailwind {_by(blown / 0.44704)} mph")
    height = found["density_altitude_ft"]
    parts.append(f"density {_by(found['density_pct'], 1)} %")
    parts.append(f"density altitude {height * 0.3048:+,.0f} m" if metric() else f"density altitude {height:+,.0f} ft")
    if found["power_pct"] is not None:
        parts.append(f"power {_by(found['power_pct'], 1)} %")
    return " · ".join(parts)


def _by(value: float, digits: int = 0) -> str:
    return number(value, digits, sign=True)


COLUMNS = ("difference", "per_density_1_pct", "per_temperature_10_f", "per_pressure_0_10_inhg", "per_tailwind_5_mph")


def _worth(out: Console, against: dict[str, Any]) -> None:
    runs, finish = against["runs_fitted"], against["finish_ft"]
    model = f"fitted to {runs} clean run{'s' if runs > 1 else ''}" if runs else "from its file alone, no clean run yet"
    out.print(line((f"worth to {against['car']} by its own model, {model}", "dim")))
    warm, press, blow = ("5.6 °C", "3.4 hPa", "2.2 m/s") if metric() else ("10 °F", "0.10 inHg", "5 mph")
    made = table("", "this air", "1 % denser", f"{warm} warmer", f"+{press}", f"{blow} tailwind")
    for row in against["increments"]:
        if row["to_ft"] <= finish:
            add_row(made, [f"{row['from_ft']}–{row['to_ft']} ft, s", *_cells(row, "s", 3)])
    for row in against["splits"]:
        if row["distance_ft"] == finish:
            add_row(made, [f"0–{finish} ft, s", *_cells(row, "s", 3)])
    factor, unit = (1.609344, "km/h") if metric() else (1.0, "mph")
    for row in against["speeds"]:
        if row["distance_ft"] <= finish:
            add_row(made, [f"{unit} at {row['distance_ft']} ft", *_cells(row, "mph", 2, factor)])
    out.print(made)
    out.print(line((f"seconds added (+) or taken off; {against['aspiration']}: {against['assumption']}", "dim")))
    out.print(line((WORTH_NOTE, "dim")))


def _cells(row: dict[str, Any], unit: str, digits: int, factor: float = 1.0) -> list[str]:
    values = [row[f"{name}_{unit}"] for name in COLUMNS]
    return [NOTHING if value is None else number(value * factor, digits, sign=True) for value in values]
