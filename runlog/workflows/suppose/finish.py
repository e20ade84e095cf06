"""Engine, driveshaft and tyre speed at the finish line before and after a change, held to the car file's limits.

Where the model has no driveline, gears and tyre still say how fast things turn at the speed that the car has.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from runlog import units
from runlog.constants import MILE_PER_HOUR, SPLIT_DISTANCES_FT
from runlog.errors import RunlogError
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.physics.longitudinal import Pass
    from runlog.physics.vehicle import Vehicle
    from runlog.records import Car

_RPM: Final = units.unit_of("rpm").factor
_KEYS: Final = ("engine_speed_rpm", "driveshaft_speed_rpm", "tyre_speed_mph", "road_speed_mph")
_NAMES: Final = {
    "engine_speed_rpm": "engine speed",
    "driveshaft_speed_rpm": "driveshaft speed",
    "tyre_speed_mph": "tyre speed",
}


GEARED: Final = ("final drive", "tyre circumference")
"""what changes the speeds at the finish line though the model, without a driveline, has no opinion of the times"""


@dataclass(frozen=True)
class Gearing:
    """What turns how fast at a road speed, where the model has no driveline."""

    circumference: float
    """[m] rolling, at low speed"""
    growth: float
    """[1/(m/s)²] of the circumference"""
    slip: float
    final_drive: float
    last_gear: float | None
    """None: the car file tells no gears, so the engine's speed isn't known"""

    def speeds(self, speed: float) -> tuple[float, float, float]:
        """Return engine and driveshaft [rad/s] and tread speed [m/s] at a road speed, without a converter's slip."""
        tread = speed * (1.0 + self.slip)
        shaft = 2.0 * math.pi * tread / (self.circumference * (1.0 + self.growth * speed**2)) * self.final_drive
        return math.nan if self.last_gear is None else shaft * self.last_gear, shaft, tread


def gearing_of(car: Car, vehicle: Vehicle, settings: Mapping[str, float]) -> Gearing | None:
    """Return the gearing in these settings, in the units of the crew; None where the model has a driveline itself."""
    if vehicle.driveline is not None or vehicle.tyre is None:
        return None
    circumference = settings.get("tyre circumference")
    return Gearing(
        car.tyre_circumference if circumference is None else units.unit_of("in").to_si(circumference),
        float(vehicle.tyre.growth),
        float(vehicle.tyre.slip),
        settings.get("final drive", car.final_drive),
        car.gear_ratios[-1] if car.gear_ratios else None,
    )


@dataclass(frozen=True)
class Ends:
    """A run before and after a change, with its gearing where the model has no driveline."""

    before: Pass
    after: Pass
    gearing: tuple[Gearing | None, Gearing | None] = (None, None)

    def speeds(self, finish_ft: int) -> tuple[dict[str, float | None], dict[str, float | None]]:
        """Return the speeds at the finish line before and after."""
        was, now = self.gearing
        return _speeds(self.before, finish_ft, was), _speeds(self.after, finish_ft, now)


@dataclass(frozen=True)
class Finish:
    """The page's part, the limits that were looked at, and what to mind."""

    part: dict[str, Any] | None
    limits: tuple[dict[str, Any], ...] = ()
    cautions: tuple[str, ...] = ()


def finish_part(car: Car, finish_ft: int, ends: Ends | None, *, air_only: bool) -> Finish:
    """Return the speeds at the finish line and their limits.

    ``RunlogError`` that names the limit when a change to the car, not to the air, raises a speed beyond it.
    """
    if ends is None:
        return Finish(None)
    before, after = ends.speeds(finish_ft)
    limits = _limits(car)
    cautions = hold_to_limits(car, finish_ft, ends, air_only=air_only)
    unlimited = [name for key, name in _NAMES.items() if key not in limits and after[key] is not None]
    if unlimited and not air_only:
        cautions.append(f"no limit in the car file for {', '.join(unlimited)}: the makers' figures count")
    blind = [_NAMES[key] for key in limits if after[key] is None]
    if blind and not air_only:
        cautions.append(f"{', '.join(blind)} at the finish isn't known without gear_ratios: check it by hand first")
    part = {"distance_ft": finish_ft, "before": before, "after": after}
    shown = tuple(
        {"what": f"{_NAMES[key]} at the finish", "low": None, "high": rounded(high, 1), "unit": unit}
        for key, (high, unit) in limits.items()
    )
    return Finish(part, shown, tuple(cautions))


def hold_to_limits(car: Car, finish_ft: int, ends: Ends, *, air_only: bool = False) -> list[str]:
    """Return what passes a limit of the car file at the finish line though the change is not to blame, in words.

    ``RunlogError`` that names the limit when a change to the car, not to the air, raises a speed beyond it.
    """
    was_at, now_at = ends.speeds(finish_ft)
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


def _speeds(run: Pass, finish_ft: int, gearing: Gearing | None) -> dict[str, float | None]:
    at = SPLIT_DISTANCES_FT.index(finish_ft)
    crossing = run.crossing
    speed = float(crossing.speed[at])
    known = tuple(float(part[at]) for part in (crossing.engine, crossing.driveshaft, crossing.surface))
    engine, shaft, tread = known if gearing is None else gearing.speeds(speed)
    found = {
        "engine_speed_rpm": engine / _RPM,
        "driveshaft_speed_rpm": shaft / _RPM,
        "tyre_speed_mph": tread / MILE_PER_HOUR,
        "road_speed_mph": speed / MILE_PER_HOUR,
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
