"""Which ballast in which mount of the car file brings a car to a total and a front share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from runlog import units
from runlog.constants import STANDARD_GRAVITY
from runlog.errors import UsageError
from runlog.physics.ballast_plan import BallastGoal, Mount, plan_ballast
from runlog.physics.launch_load import wheel_lift_acceleration
from runlog.workflows.chassis.weights import is_ballast, tracks_known, weigh
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    from runlog.physics.weights import WeighedCar
    from runlog.records import Adjustable
    from runlog.workflows.chassis.as_set import Chassis


@dataclass(frozen=True)
class Wanted:
    """What the car is to weigh."""

    total: float
    """[kg]"""
    front_pct: float


def ballast_part(chassis: Chassis, wanted: Wanted) -> dict[str, Any]:
    """Return the ballast that reaches what is wanted, or the nearest to it within the car file's limits.

    ``UsageError`` when the weights or the mounts aren't known, and for targets that can't be.
    """
    car = weigh(chassis).car
    if car is None:
        raise UsageError("no weights to plan ballast from: give scale readings, or front_weight_pct in the car file")
    adjustables = [item for item in chassis.car.adjustables if is_ballast(item) and item.x is not None and item.high]
    if not adjustables:
        raise UsageError("the car file has no ballast adjustable with high and x: nowhere to put ballast is known")
    mounts = tuple(_mount(chassis, item) for item in adjustables)
    try:
        goal = BallastGoal(wanted.total, wanted.front_pct / 100, chassis.car.minimum_mass)
        plan = plan_ballast(car, mounts, goal)
    except ValueError as error:
        raise UsageError(f"ballast: {error}") from None
    return {
        "target_total_kg": rounded(wanted.total, 3),
        "target_front_pct": rounded(wanted.front_pct, 4),
        "reached": plan.reached,
        "mounts": [
            _row(item, mount.now, mass) for item, mount, mass in zip(adjustables, mounts, plan.masses, strict=True)
        ],
        "total_kg": rounded(plan.car.corners.total, 3),
        "front_pct": rounded(100 * plan.car.corners.front_share, 4),
        "wheel_lift_acceleration_g": rounded(_lift(plan.car), 4),
        "text": plan.describe(),
        "cautions": list(plan.cautions),
    }


def _mount(chassis: Chassis, item: Adjustable) -> Mount:
    """Return the mount of an adjustable in kg; ``UsageError`` where the setup is outside the car file's limits."""
    unit = units.unit_of(item.unit)
    now = chassis.number(item.name, "mass") or 0.0
    if item.low:
        low = f"{item.low:g} {item.unit}"
        raise UsageError(f"{item.name} has a low limit of {low}: only mounts that may be empty are planned")
    try:
        return Mount(
            item.name,
            maximum=unit.to_si(item.high or 0.0),
            x=item.x or 0.0,
            # total and front share don't depend on it, and without tracks the corners aren't shown
            y=(item.y or 0.0) if tracks_known(chassis.car) else 0.0,
            z=item.z,
            now=now,
            step=unit.to_si(item.step),
        )
    except ValueError as error:
        raise UsageError(f"{item.name}: {error}") from None


def _row(item: Adjustable, before: float, after: float) -> dict[str, Any]:
    unit = units.unit_of(item.unit)
    shown = [rounded(unit.from_si(mass), 3) for mass in (before, after)]
    return {"adjustable": item.name, "unit": item.unit, "from": shown[0], "to": shown[1]}


def _lift(car: WeighedCar) -> float | None:
    return None if car.height is None else wheel_lift_acceleration(car.place[0], car.height) / STANDARD_GRAVITY
