"""What is true in the invented season: effects without noise, the noise itself, and each run as it really was."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

from garage import CARS, DemoCar, adjust
from running import DRIFT_PER_HOUR, FOOT, MPH, OUTLIER_S, RIGHT_LANE_S, SPLITS_FT, figures, stretched
from season import TRACKS, DemoTrack
from simulation import STANDARD_AIR, Plan, simulate

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from running import Ran, RanDay

NOT_IN_SIMULATION = ("upper link rear hole", "lower link front hole", "lower link rear hole")
INCREMENTS = tuple(zip((0, *SPLITS_FT[:-1]), SPLITS_FT, strict=True))


def increments(car: DemoCar, settings: Mapping[str, float], track: DemoTrack) -> list[float]:
    """Return the noise-free increments [s] in standard air without wind, left lane."""
    plan = Plan(track.rollout + (track.finish_ft + 12) * FOOT, stop_m=track.rollout + track.finish_ft * FOOT)
    motion = simulate(adjust(car, settings), STANDARD_AIR, plan)
    _, splits, _ = figures(motion, stretched(motion, track, (0.0,) * 5, track.finish_ft), track)
    ends = [0.0, *splits.values()]
    return [end - start for start, end in itertools.pairwise(ends)]


def _effect(new: list[float], old: list[float]) -> dict[str, float]:
    moved = [a - b for a, b in zip(new, old, strict=True)]
    named = {f"{start}-{end}": round(seconds, 5) for (start, end), seconds in zip(INCREMENTS, moved, strict=True)}
    return {**named, "0-1320": round(sum(moved), 5), "0-660": round(sum(moved[:3]), 5)}


def car_truth(car: DemoCar, runs: Iterable[Ran]) -> dict[str, Any]:
    """Return the effects of one step up, and of each value used in the season, against the baseline."""
    track, settings = TRACKS["lowfield"], car.baseline()
    base = increments(car, settings, track)
    used = [run.settings for run in runs]
    adjustables: dict[str, Any] = {}
    for item in car.adjustables:
        if item.name in NOT_IN_SIMULATION:
            continue
        values = sorted({sheet[item.name] for sheet in used} - {item.baseline})
        adjustables[item.name] = {
            "unit": item.unit,
            "step": item.step,
            "baseline": item.baseline,
            "one_step_up_s": _effect(increments(car, {**settings, item.name: item.baseline + item.step}, track), base),
            "values_used_s": {
                f"{value:g}": _effect(increments(car, {**settings, item.name: value}, track), base) for value in values
            },
        }
    return {
        "baseline_increments_s": [round(seconds, 5) for seconds in base],
        "run_sd_s": list(car.run_sd),
        "tyre_growth_per_m2_s2": car.base.growth,
        "adjustables": adjustables,
    }


def run_truth(run: Ran, log: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return one run; times from the beam unless the name says otherwise."""
    lift = run.motion.lift_time if run.plan.purpose != "full" or run.plan.event == "lift" else None
    result: dict[str, Any] = {
        "beam_clear_after_release_s": round(run.beam_time, 5),
        "splits_s": {str(ft): round(seconds, 5) for ft, seconds in run.splits.items()},
        "trap_mph": {str(ft): round(speed / MPH, 3) for ft, speed in run.speeds.items()},
        "true_to_ft": run.true_to_ft,
        "event": run.plan.event or None,
        "air": {
            "temperature_c": round(run.air.temperature_c, 3),
            "relative_humidity": round(run.air.humidity, 4),
            "station_pressure_pa": round(run.air.pressure_pa, 1),
            "density_kg_m3": round(run.air.density, 5),
            "head_wind_m_s": round(run.air.head_wind, 3),
        },
        "lift_after_release_s": None if lift is None else round(run.real_time(lift), 4),
        "shifts_after_release_s": [round(run.real_time(time), 4) for time in run.motion.shift_times],
    }
    return result if log is None else {**result, "logger": dict(log)}


def all_truth(season: Iterable[RanDay], logs: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    days = list(season)
    runs = [run for day in days for run in day.runs]
    return {
        "about": "Invented. True values of the simulated season; a negative effect is quicker.",
        "standard_air": "15 °C, 1013.25 hPa, dry, no wind",
        "effects_are_for": "1320 ft on lowfield, left lane, every other setting at the baseline",
        "right_lane_s": list(RIGHT_LANE_S),
        "outlier_s": list(OUTLIER_S),
        "drift_sd_in_run_sds_per_hour": DRIFT_PER_HOUR,
        "always_moved_together": {"curlew": ["boost target", "launch ignition retard"]},
        "not_in_the_simulation": list(NOT_IN_SIMULATION),
        "cars": {car.name: car_truth(car, [run for run in runs if run.car is car]) for car in CARS},
        "days": {
            f"{day.day.car}/{day.day.date}": {
                "level_s": [round(value, 5) for value in day.level],
                "drift_s_per_hour": [round(value, 5) for value in day.drift],
            }
            for day in days
        },
        "runs": {run.key: run_truth(run, logs.get(run.key)) for run in runs},
    }
