"""How far one air is from that of a car's run, and what that is worth to the car in time and speed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.constants import FOOT, INCREMENTS_FT, MILE_PER_HOUR, SPEED_DISTANCES_FT, SPLIT_DISTANCES_FT
from runlog.physics.air_steps import STEPS, air_steps
from runlog.physics.atmosphere import Air, humidity_ratio
from runlog.physics.correction import Shift, shift
from runlog.physics.power import ASSUMPTIONS, power_factor
from runlog.physics.vehicle_fit import fit_from
from runlog.store import facts, results
from runlog.workflows.air.of_run import caveats
from runlog.workflows.run_content import air_part, rounded

if TYPE_CHECKING:
    import datetime as dt

    from runlog.physics.vehicle_fit import VehicleFit
    from runlog.results import AirState, RunResult
    from runlog.store.connection import Logbook

WIND_NOTE = "wind not known on both sides: it is left out of what the difference is worth"


def last_run(book: Logbook, car: str, day: dt.date | None) -> RunResult | None:
    """Return the car's newest run that has air, up to a day where one is given."""
    rows = [row for row in results.run_results(book, car) if row.air and (day is None or row.key.date <= day)]
    return max(rows, key=lambda row: (row.key.date, row.key.number), default=None)


def against_part(book: Logbook, row: RunResult, here: AirState) -> dict[str, Any]:
    """Return this air against that of a run which has air, in the shape of ``air --json``.

    Times and speeds come from the model fitted to the car's own clean runs; null, with the reason in ``notes``, where
    there is no car file.
    """
    there = row.air
    if there is None:
        raise ValueError(f"{row.key} has no air")
    stored = results.car_result(book, row.key.car)
    fitted = fit_from(stored[0]) if stored else None
    track = facts.tracks(book).get(row.track or "")
    aspiration = None if fitted is None else fitted.vehicle.aspiration
    notes = [] if here.wind_along is not None and there.wind_along is not None else [WIND_NOTE]
    if fitted is None:
        notes.append(f"no car file of {row.key.car}: what the air is worth in time isn't known")
    airs = _air(here, there), _air(there, here)
    return {
        "car": row.key.car,
        "run": str(row.key),
        "run_time": row.time.isoformat() if row.time else None,
        "finish_ft": track.finish_ft if track else SPLIT_DISTANCES_FT[-1],
        "air": air_part(there),
        "difference": _difference(here, there, aspiration),
        "runs_fitted": None if fitted is None else fitted.runs,
        "aspiration": aspiration,
        "assumption": None if aspiration is None else ASSUMPTIONS[aspiration],
        "steps": STEPS,
        **_worth(fitted, *airs),
        "caveats": [] if aspiration is None else caveats(aspiration, here, there),
        "notes": notes,
    }


def _air(state: AirState, other: AirState) -> Air:
    """Return the air with its wind; still where the wind of either isn't known, so that it doesn't tell."""
    known = state.wind_along is not None and other.wind_along is not None
    wind = (state.wind_along or 0.0) if known else 0.0
    return Air(state.temperature, state.station_pressure, state.relative_humidity, wind)


def _difference(here: AirState, there: AirState, aspiration: str | None) -> dict[str, float | None]:
    one, other = (Air(air.temperature, air.station_pressure, air.relative_humidity) for air in (here, there))
    water = [
        float(humidity_ratio(air.temperature, air.station_pressure, air.relative_humidity)) for air in (here, there)
    ]
    power = None
    if aspiration is not None:
        power = float(power_factor(aspiration, one)) / float(power_factor(aspiration, other)) - 1.0
    winds = here.wind_along, there.wind_along
    blown = None if winds[0] is None or winds[1] is None else winds[0] - winds[1]
    return {
        "temperature_c": rounded(here.temperature - there.temperature, 2),
        "relative_humidity_pct": rounded(100 * (here.relative_humidity - there.relative_humidity), 1),
        "water_content_g_kg": rounded(1000 * (water[0] - water[1]), 2),
        "station_pressure_hpa": rounded((here.station_pressure - there.station_pressure) / 100, 2),
        "density_pct": rounded(100 * (here.density / there.density - 1), 3),
        "density_altitude_ft": rounded((here.density_altitude - there.density_altitude) / FOOT, 1),
        "wind_along_track_m_s": rounded(blown, 2),
        "power_pct": None if power is None else rounded(100 * power, 3),
    }


def _worth(fitted: VehicleFit | None, here: Air, there: Air) -> dict[str, Any]:
    """Return what the difference and each step are worth at every distance; nulls without a model."""
    changes: dict[str, Shift | None] = dict.fromkeys(("difference", *(f"per_{name}" for name in STEPS)))
    if fitted is not None:
        changes = {"difference": shift(fitted.vehicle, here, there)}
        changes |= {f"per_{name}": step for name, step in air_steps(fitted.vehicle, here).items()}
    return {
        "increments": [
            {"from_ft": start, "to_ft": end}
            | {
                f"{name}_s": None if change is None else _rounded(change.increments[n])
                for name, change in changes.items()
            }
            for n, (start, end) in enumerate(INCREMENTS_FT)
        ],
        "splits": [
            {"distance_ft": feet}
            | {f"{name}_s": None if change is None else _rounded(change.times[n]) for name, change in changes.items()}
            for n, feet in enumerate(SPLIT_DISTANCES_FT)
        ],
        "speeds": [
            {"distance_ft": feet}
            | {
                f"{name}_mph": None if change is None else _rounded(change.speeds[n] / MILE_PER_HOUR, 3)
                for name, change in changes.items()
            }
            for n, feet in enumerate(SPEED_DISTANCES_FT)
        ],
    }


def _rounded(value: Any, digits: int = 5) -> float | None:
    return rounded(float(value), digits)
