"""Engine, driveshaft and tyre speed at the finish line before and after a change, held to the car file's limits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from runlog import units
from runlog.constants import MILE_PER_HOUR, SPLIT_DISTANCES_FT
from runlog.errors import RunlogError
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    from runlog.physics.longitudinal import Pass
    from runlog.physics.what_if import Outcome
    from runlog.records import Car

_RPM: Final = units.unit_of("rpm").factor
_KEYS: Final = ("engine_speed_rpm", "driveshaft_speed_rpm", "tyre_speed_mph", "road_speed_mph")
_NAMES: Final = {
    "engine_speed_rpm": "engine speed",
    "driveshaft_speed_rpm": "driveshaft speed",
    "tyre_speed_mph": "tyre speed",
}


@dataclass(frozen=True)
class Finish:
    """The page's part, the limits that were looked at, and what to mind."""

    part: dict[str, Any] | None
    limits: tuple[dict[str, Any], ...] = ()
    cautions: tuple[str, ...] = ()


def finish_part(car: Car, finish_ft: int, done: Outcome | None, *, air_only: bool) -> Finish:
    """Return the speeds at the finish line and their limits.

    ``RunlogError`` that names the limit when a change to the car, not to the air, raises a speed beyond it.
    """
    if done is None:
        return Finish(None)
    before, after = (_speeds(run, finish_ft) for run in (done.before, done.after))
    limits = _limits(car)
    cautions = hold_to_limits(car, finish_ft, done.before, done.after, air_only=air_only)
    unlimited = [name for key, name in _NAMES.items() if key not in limits and after[key] is not None]
    if unlimited and not air_only:
        cautions.append(f"no limit in the car file for {', '.join(unlimited)}: the makers' figures count")
    part = {"distance_ft": finish_ft, "before": before, "after": after}
    shown = tuple(
        {"what": f"{_NAMES[key]} at the finish", "low": None, "high": rounded(high, 1), "unit": unit}
        for key, (high, unit) in limits.items()
    )
    return Finish(part, shown, tuple(cautions))


def hold_to_limits(car: Car, finish_ft: int, before: Pass, after: Pass, *, air_only: bool = False) -> list[str]:
    """Return what passes a limit of the car file at the finish line though the change is not to blame, in words.

    ``RunlogError`` that names the limit when a change to the car, not to the air, raises a speed beyond it.
    """
    was_at, now_at = _speeds(before, finish_ft), _speeds(after, finish_ft)
    cautions = []
    for key, (high, unit) in _limits(car).items():
        was, now = was_at[key], now_at[key]
        if now is None or now <= high:
            continue
        what = f"{_NAMES[key]} at the finish {now:.0f} {unit}, past the car file's limit of {high:.0f} {unit}"
        if not air_only and (was is None or now > was + 0.5):
            raise RunlogError(f"refused: {what}")
        cautions.append(f"by the model, {what}")
    return cautions


def _speeds(run: Pass, finish_ft: int) -> dict[str, float | None]:
    at = SPLIT_DISTANCES_FT.index(finish_ft)
    crossing = run.crossing
    found = {
        "engine_speed_rpm": float(crossing.engine[at]) / _RPM,
        "driveshaft_speed_rpm": float(crossing.driveshaft[at]) / _RPM,
        "tyre_speed_mph": float(crossing.surface[at]) / MILE_PER_HOUR,
        "road_speed_mph": float(crossing.speed[at]) / MILE_PER_HOUR,
    }
    return {key: rounded(found[key], 1) if math.isfinite(found[key]) else None for key in _KEYS}


def _limits(car: Car) -> dict[str, tuple[float, str]]:
    """Return the greatest speeds that the car file allows, with their unit."""
    high = {limit.channel: limit.high for limit in car.limits if limit.high is not None}
    found = {}
    for channel, key in (("engine_speed", "engine_speed_rpm"), ("driveshaft_speed", "driveshaft_speed_rpm")):
        if channel in high:
            found[key] = (high[channel] / _RPM, "rpm")
    if car.tyre is not None and car.tyre.speed_limit is not None:
        found["tyre_speed_mph"] = (car.tyre.speed_limit / MILE_PER_HOUR, "mph")
    return found
