"""Slips, air readings, setup sheets, car and track files of the season as text."""

from __future__ import annotations

import csv
import datetime as dt
import io
from typing import TYPE_CHECKING

from garage import BALLAST_PLACE_M
from noise import Noise
from running import FOOT, MPH, Ran, RanDay, planned_ft, weather_at
from season import TRACKS, DemoTrack

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from garage import Adjustable, DemoCar

SLIP_HEADER = [
    "car", "date", "time", "track", "run", "lane", "purpose", "reaction_s", "t60_s", "t330_s", "t660_s", "v660_mph",
    "t1000_s", "t1320_s", "v1320_mph", "true_to_ft", "spoiled", "note",
]  # fmt: skip


def table(rows: Iterable[Sequence[object]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def slips(day: RanDay) -> str:
    return table([SLIP_HEADER, *(_slip(run) for run in day.runs)])


def _slip(run: Ran) -> list[object]:
    times = {ft: f"{seconds:.3f}" for ft, seconds in run.splits.items()}
    speeds = {ft: f"{speed / MPH:.2f}" for ft, speed in run.speeds.items()}
    ends_early = run.true_to_ft if run.true_to_ft and run.true_to_ft < max(run.splits) else ""
    purpose = "full" if run.plan.purpose == "full" else planned_ft(run.plan, run.track)
    return [
        run.car.name, run.start.date(), run.start.strftime("%H:%M"), run.track.name, run.number, run.lane, purpose,
        f"{run.reaction:.3f}", times.get(60, ""), times.get(330, ""), times.get(660, ""), speeds.get(660, ""),
        times.get(1000, ""), times.get(1320, ""), speeds.get(1320, ""), ends_early, run.spoiled, run.plan.note,
    ]  # fmt: skip


def altimeter_inhg(station_hpa: float, elevation_m: float) -> float:
    """Altimeter setting that belongs to a station pressure, by the standard atmosphere (exact form)."""
    n = 0.190263
    return (station_hpa**n + 1013.25**n * 0.0065 / 288.15 * elevation_m) ** (1 / n) / 33.8638866667


def air(day: RanDay) -> str:
    """A reading about every half hour, from before the first run until after the last, with the station's own noise."""
    plan, track, noise = day.day, TRACKS[day.day.track], Noise(f"air {day.day.car} {day.day.date}")
    last = day.runs[-1].start
    minutes = range(plan.first_minute - 20, last.hour * 60 + last.minute + 45, 30)
    header = {
        "station": "time,temperature_F,relative_humidity_pct,station_pressure_inHg,wind_speed_mph,wind_from_deg,"
        "track_temperature_F",
        "altimeter": "time,temperature_F,relative_humidity_pct,altimeter_inHg,elevation_ft,wind_speed_mph,"
        "wind_from_deg,track_temperature_F",
        "metric": "time,temperature_C,relative_humidity_pct,station_pressure_hPa,wind_speed_kmh,wind_from_deg,"
        "track_temperature_C",
    }[plan.air_layout]
    rows: list[list[object]] = [header.split(",")]
    for minute in minutes:
        fahrenheit, humidity, hpa = weather_at(plan.weather, plan, minute)
        fahrenheit, hpa = fahrenheit + noise.normal(0.3), hpa + noise.normal(0.15)
        surface = fahrenheit + 22 - abs(minute - 14 * 60) / 20 + noise.normal(1.0)
        wind = max(0.0, plan.weather.wind_mph + noise.normal(0.7))
        wind_from = (plan.weather.wind_from + round(noise.normal(8))) % 360
        clock = dt.datetime.combine(plan.date, dt.time(minute // 60, minute % 60)).isoformat(timespec="minutes")
        damp = f"{humidity + noise.normal(0.8):.0f}"
        if plan.air_layout == "metric":
            rows.append([clock, f"{(fahrenheit - 32) / 1.8:.1f}", damp, f"{hpa:.1f}", f"{wind * 1.609344:.1f}",
                         f"{wind_from:.0f}", f"{(surface - 32) / 1.8:.1f}"])  # fmt: skip
            continue
        pressure = [f"{hpa / 33.8638866667:.2f}"]
        if plan.air_layout == "altimeter":
            pressure = [f"{altimeter_inhg(hpa, track.elevation_m):.2f}", f"{track.elevation_m / FOOT:.0f}"]
        rows.append([clock, f"{fahrenheit:.1f}", damp, *pressure, f"{wind:.1f}", f"{wind_from:.0f}", f"{surface:.0f}"])
    return table(rows)


def shown(item: Adjustable, value: float) -> str:
    """Return a setting as the crew writes it: a hole's label or the number."""
    return item.holes[int(value)][0] if item.holes else f"{value:g}"


def baseline(car: DemoCar) -> str:
    """The full sheet the car left the shop with."""
    rows: list[list[object]] = [["car", "date", "run", "sheet", "item", "value", "unit"]]
    lead = [car.name, "", "", "full"]
    for item in car.adjustables:
        rows.append([*lead, item.name, shown(item, item.baseline), item.unit])
    for corner, pounds in zip(("left front", "right front", "left rear", "right rear"), car.corner_lb, strict=True):
        rows.append([*lead, f"weight {corner}", pounds, "lb"])
    rows.append([*lead, "driver weight", 185, "lb"])
    rows.append([*lead, "tyre circumference", f"{car.circumference_in:g}", "in"])
    if car.pinion_deg is not None:
        rows.append([*lead, "pinion angle", f"{car.pinion_deg:g}", "deg"])
    return table(rows)


def changes(day: RanDay, skip: Iterable[int] = ()) -> str | None:
    """Only what changed, with the run it holds from; None when nothing did."""
    rows: list[list[object]] = [["car", "date", "run", "item", "value", "unit"]]
    for run in day.runs:
        for name, value in run.plan.changes.items():
            item = next(item for item in run.car.adjustables if item.name == name)
            if run.number not in skip:
                rows.append([run.car.name, day.day.date, run.number, name, shown(item, value), item.unit])
    return table(rows) if len(rows) > 1 else None


def toml_changes(run: Ran) -> str:
    """The same for one run, as TOML."""
    lines = [
        f'car = "{run.car.name}"',
        f"date = {run.start.date()}",
        f"run = {run.number}",
        "full = false",
        "",
        "[items]",
    ]
    for name, value in run.plan.changes.items():
        item = next(item for item in run.car.adjustables if item.name == name)
        quantity = shown(item, value) if item.holes else f"{value:g} {item.unit}"
        lines.append(f'"{name}" = "{quantity}"')
    return "\n".join(lines) + "\n"


def track_file(track: DemoTrack) -> str:
    return (
        f'[track]\nname = "{track.name}"\nelevation = "{track.elevation_m:g} m"\nheading_deg = {track.heading_deg:g}\n'
        f'finish_ft = {track.finish_ft}\nrollout = "{track.rollout_in:g} in"\nsurface = "{track.surface}"\n'
    )


def car_file(car: DemoCar) -> str:
    limiter = car.base.limiter_rpm
    front = 100 * sum(car.corner_lb[:2]) / sum(car.corner_lb)
    lines = [
        "# Invented. No real car, owner or shop.", "[car]",
        f'name = "{car.name}"', f'description = "{car.description}"',
        f'race_weight = "{car.race_weight_lb} lb"', f'wheelbase = "{car.wheelbase_in:g} in"',
        f'power = "{car.power_hp} hp"', 'power_at = "engine"', f'aspiration = "{car.aspiration}"',
        f'launch = "{car.launch}"', f'tyre_circumference = "{car.circumference_in:g} in"',
        f"final_drive = {car.base.final_drive:g}", f"gear_ratios = {list(car.base.gears)}",
        f"front_weight_pct = {front:.1f}", f'centre_of_gravity_height = "{car.height_in:g} in"',
        f'drag_area = "{car.drag_area:g} m²"', *_measures(car), "",
        "[car.limits.engine_speed]", f'high = "{limiter:g} rpm"', "",
        "[car.limits.oil_pressure]", 'low = "30 psi"', "", "[car.limits.coolant_temperature]", 'high = "220 degF"', "",
        "[car.limits.battery_voltage]", 'low = "12.0 V"',
    ]  # fmt: skip
    for kind, expires, quickest, fastest in car.papers:
        lines += ["", f'[car.credentials."{kind}"]', f"expires = {expires}"]
        lines += [f'quickest = "{quickest}"'] * bool(quickest) + [f'highest_speed = "{fastest}"'] * bool(fastest)
    for item in car.adjustables:
        lines += ["", "[[car.adjustable]]", f'name = "{item.name}"', f'unit = "{item.unit}"', f"step = {item.step:g}"]
        if not item.holes:
            lines += [f"low = {item.low:g}", f"high = {item.high:g}"]
            if item.name == "ballast rear":
                lines += [f'{axis} = "{place:g} m"' for axis, place in zip("xyz", BALLAST_PLACE_M, strict=True)]
        else:
            holes = ", ".join(f'{{ label = "{label}", x = "{x:g} in", z = "{z:g} in" }}' for label, x, z in item.holes)
            lines.append(f"holes = [{holes}]")
    return "\n".join(lines) + "\n"


def _measures(car: DemoCar) -> list[str]:
    """What the shop measured of the car beyond what every car file holds."""
    lines = []
    if car.track_in is not None:
        lines += [f'{end}_track = "{width:g} in"' for end, width in zip(("front", "rear"), car.track_in, strict=True)]
    if car.loaded_radius_in is not None:
        lines.append(f'loaded_tyre_radius = "{car.loaded_radius_in:g} in"')
    if car.driveshaft is not None:
        length, higher, transmission = car.driveshaft
        lines += ["", "[car.driveshaft]", f'length = "{length:g} in"', f'front_higher_by = "{higher:g} in"']
        lines.append(f"transmission_deg = {transmission:g}")
    return lines
