"""Runs in the shape of the machine-readable contract: plain values, every unit in its name."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from runlog.constants import DEFAULT_ROLLOUT, FOOT, INCREMENTS_FT, MILE_PER_HOUR, SPEED_DISTANCES_FT, SPLIT_DISTANCES_FT
from runlog.units import SPOKEN, unit_of
from runlog.vocabulary import CHANNEL_BY_NAME
from runlog.workflows.results.counting import from_beam
from runlog.workflows.results.spoiled_by import whose

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.records import Track
    from runlog.results import AirState, Findings, RunResult
    from runlog.store.calibrations import CalibrationRow

_RPM = unit_of("rpm").factor
_GRAVITY = unit_of("gn").factor


def rounded(value: float | None, digits: int = 4) -> float | None:
    """Return the number with so many decimals; None stays None, and what isn't finite becomes None."""
    return None if value is None or not math.isfinite(value) else round(value, digits)


def run_part(row: RunResult) -> dict[str, Any]:
    """Return what identifies and describes a run."""
    return {
        "key": str(row.key),
        "car": row.key.car,
        "date": row.key.date.isoformat(),
        "time": row.time.isoformat() if row.time else None,
        "track": row.track,
        "number": row.key.number,
        "lane": row.lane,
        "purpose": row.purpose,
        "clean": row.clean,
        "spoiled_reason": row.spoiled,
        "spoiled_class": whose(row.spoiled),
        "valid_to_ft": row.valid_to_ft,
        "note": row.note,
    }


def air_part(air: AirState | None) -> dict[str, Any] | None:
    """Return the air of a run."""
    if air is None:
        return None
    surface = air.track_temperature
    return {
        "temperature_c": rounded(air.temperature - 273.15, 2),
        "relative_humidity_pct": rounded(air.relative_humidity * 100, 1),
        "station_pressure_hpa": rounded(air.station_pressure / 100, 2),
        "density_kg_m3": rounded(air.density, 5),
        "density_ratio": rounded(air.density_ratio, 5),
        "density_altitude_ft": rounded(air.density_altitude / FOOT, 1),
        "wind_along_track_m_s": rounded(air.wind_along, 2),
        "track_temperature_c": None if surface is None else rounded(surface - 273.15, 1),
        "source": air.source,
    }


def flat_run(row: RunResult) -> dict[str, Any]:
    """Return a run with its figures, measured and corrected, in one flat object."""
    figures: dict[str, Any] = {"reaction_s": rounded(row.reaction)}
    for prefix, times, speeds in (
        ("", row.times, row.speeds),
        ("corrected_", row.corrected_times, row.corrected_speeds),
    ):
        for feet in SPLIT_DISTANCES_FT:
            figures[f"{prefix}t{feet}_s"] = rounded(times.get(feet))
            if feet in SPEED_DISTANCES_FT:
                figures[f"{prefix}v{feet}_mph"] = _mph(speeds.get(feet))
    figures["coasted_ft"] = list(row.coasted)
    return {**run_part(row), **figures}


def _mph(speed: float | None) -> float | None:
    return None if speed is None else rounded(speed / MILE_PER_HOUR, 2)


def speeds_part(row: RunResult) -> list[dict[str, Any]]:
    """Return the trap speeds."""
    return [
        {
            "distance_ft": feet,
            "measured_mph": _mph(row.speeds.get(feet)),
            "corrected_mph": _mph(row.corrected_speeds.get(feet)),
            "counts": feet <= (row.valid_to_ft or 0) and feet not in row.coasted,
        }
        for feet in SPEED_DISTANCES_FT
    ]


def increments(times: Mapping[int, float]) -> dict[tuple[int, int], float]:
    """Return the times between neighbouring beams where both are known."""
    marks = {0: 0.0, **times}
    return {(start, end): marks[end] - marks[start] for start, end in INCREMENTS_FT if {start, end} <= set(marks)}


def increments_part(row: RunResult, others: Sequence[RunResult]) -> list[dict[str, Any]]:
    """Return the increments with the previous run's and the best of the car's other clean runs, all corrected."""
    measured, corrected = increments(row.times), increments(row.corrected_times)
    clean = [(other.key, increments(other.corrected_times)) for other in others if other.clean and other.key != row.key]
    earlier = [times for key, times in clean if key < row.key]
    part = []
    for span in INCREMENTS_FT:
        best = min((times[span] for _, times in clean if span in times), default=None)
        previous = next((times[span] for times in reversed(earlier) if span in times), None)
        part.append(
            {
                "from_ft": span[0],
                "to_ft": span[1],
                "measured_s": rounded(measured.get(span)),
                "corrected_s": rounded(corrected.get(span)),
                "previous_corrected_s": rounded(previous),
                "best_corrected_s": rounded(best),
            }
        )
    return part


def trace_part(
    found: Findings | None, carried: CalibrationRow | None, row: RunResult, track: Track | None
) -> dict[str, Any] | None:
    """Return what the trace shows, in the units of the trade, and the calibration that its splits rest on."""
    # read where it is used: the air alone needs no logbook
    from runlog.workflows.results.first_motion import with_earlier_launches

    if found is None:
        return None
    found = with_earlier_launches(found, carried)
    lift = from_beam(found["lift_distance"], track.rollout if track else DEFAULT_ROLLOUT)
    ground, ground_sd = row.first_motion_60 or (None, None)
    launch, peak, slip = found["launch_engine_speed"], found["peak_acceleration"], found["peak_slip"]
    return {
        "launch_time_s": rounded(found["launch_time"]),
        "launch_time_sd_s": rounded(found["launch_time_sd"]),
        "release_time_s": rounded(found["release_time"]),
        "driveshaft_turns_time_s": rounded(found["shaft_time"]),
        "beam_clear_time_s": rounded(found["beam_time"]),
        "beam_clear_time_sd_s": rounded(found["beam_time_sd"]),
        "first_motion_to_60_s": rounded(ground),
        "first_motion_to_60_sd_s": rounded(ground_sd),
        "launch_engine_speed_rpm": None if launch is None else rounded(launch / _RPM, 0),
        "peak_acceleration_g": None if peak is None else rounded(peak / _GRAVITY, 3),
        "shifts": [
            {
                "time_s": rounded(shift["time"], 3),
                "engine_speed_rpm": rounded(shift["engine_speed"] / _RPM, 0),
                "distance_ft": None if shift["distance"] is None else rounded(shift["distance"] / FOOT, 1),
            }
            for shift in found["shifts"]
        ],
        "peak_slip_pct": None if slip is None else rounded(slip * 100, 1),
        "lift_time_s": rounded(found["lift_time"], 3),
        "lift_distance_ft": None if lift is None else rounded(lift / FOOT, 0),
        "shake_suspected": found["shake_suspected"],
        "alarms": [_alarm(alarm) for alarm in (*found["alarms"], *row.alarms)],
        "braking_g": None if found["braking"] is None else rounded(found["braking"][0] / _GRAVITY, 3),
        "not_logged": list(found["not_logged"]),
        "warnings": list(found["warnings"]),
        "events": [
            {
                "name": event["name"],
                "time_s": rounded(event["time"], 3),
                "distance_ft": None if event["distance"] is None else rounded(event["distance"] / FOOT, 1),
                "confidence": rounded(event["confidence"], 2),
                "text": event["text"],
            }
            for event in found["events"]
        ],
        "calibration": None if carried is None else _calibration(carried),
    }


_CALIBRATED = {
    "circumference": ("driven wheels at low speed read high by", "%", 100.0),
    "slip_per_g": ("driven wheels read higher by slip, for each g", "%", 100.0),
    "growth": ("driven tyres grown at 134 mph (60 m/s) by", "%", 100.0),
    "accelerometer": ("accelerometer, pitch of the body included, reads high by", "%", 100.0),
    "ground": ("speed over ground reads high by", "%", 100.0),
    "rollout": ("clock starts further from rest than the track file says by", "in", 1.0 / 0.0254),
}
"""what each parameter of ``signals.calibration`` means, the unit it is shown in, and the factor to it"""


def _calibration(carried: CalibrationRow) -> dict[str, Any]:
    """Return what earlier runs taught of the car, on which this run's splits by the trace rest."""
    known, after = carried.known, carried.after
    return {
        "earlier_runs": known["runs"],
        "tyres": carried.tyres,
        "learned_from_this_slip": carried.learned,
        "parameters": [
            {
                "name": name,
                "meaning": _CALIBRATED[name][0],
                "unit": _CALIBRATED[name][1],
                "value": rounded(known["mean"][n] * _CALIBRATED[name][2], 3),
                "sd": rounded(known["sd"][n] * _CALIBRATED[name][2], 3),
                "value_after": rounded(after["mean"][n] * _CALIBRATED[name][2], 3),
                "sd_after": rounded(after["sd"][n] * _CALIBRATED[name][2], 3),
            }
            for n, name in enumerate(known["names"])
        ],
    }


def _alarm(alarm: Mapping[str, Any]) -> dict[str, Any]:
    word = CHANNEL_BY_NAME.get(alarm["channel"])
    unit = unit_of(SPOKEN.get(word.dimension, "1")) if word else unit_of("1")
    return {
        "channel": alarm["channel"],
        "kind": alarm["kind"],
        "time_s": rounded(alarm["time"], 2),
        "value": None if alarm["value"] is None else rounded(unit.from_si(alarm["value"]), 2),
        "limit": None if alarm["limit"] is None else rounded(unit.from_si(alarm["limit"]), 2),
        "unit": unit.symbol,
        "condition": alarm["condition"],
        "action": alarm["action"],
    }
