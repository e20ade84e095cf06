"""What the driven tyres carry at the launch: axle loads, left and right, wheelie bars, and what ballast changes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from runlog import catalogue, units
from runlog.constants import STANDARD_GRAVITY
from runlog.physics.ballast import Ballast, add_ballast
from runlog.physics.launch_load import (
    Bars,
    Launch,
    axle_loads,
    balance_of,
    compare_launch,
    driveshaft_torque,
    tyre_loads,
    wheel_lift_acceleration,
)
from runlog.physics.vehicle_fit import fit_from
from runlog.physics.weights import CORNERS
from runlog.store import results
from runlog.workflows.chassis.weights import is_ballast, tracks_known
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    from runlog.physics.weights import WeighedCar
    from runlog.records import Adjustable, RunKey
    from runlog.store.connection import Logbook
    from runlog.workflows.chassis.as_set import Chassis
    from runlog.workflows.chassis.figures import Remarks
    from runlog.workflows.chassis.weights import Weighed

PRELOAD, BAR_HEIGHT = "anti-roll bar preload", "wheelie-bar height"
ASSUMPTIONS: Final = (
    "steady acceleration on level ground, a rigid car without air: nothing of the first instants while the body rises",
    "a trace's peak is one instant of one launch, and a pitching body adds to what its accelerometer reads",
    "left and right: usual driveshaft rotation, linear springs, front axle with half of the roll stiffness (assumed); "
    "torque from mass times acceleration, without inertia and losses",
)
CAUTIONS: Final = (
    "an estimate of loads, not leave to launch harder: raise the launch step by step, front wheels watched",
    "more on the driven tyres also means nearer to wheel lift: check wheelie bars and their bolts before the hit",
    f"preload: {catalogue.CAUTIONS['D']}; {catalogue.CAUTIONS['J']}",
)


@dataclass(frozen=True)
class Hit:
    """The launch that loads are shown for."""

    acceleration: float | None
    """[m/s²]; None: nothing tells it"""
    source: str | None
    by_grip: bool = False
    """what the tyres would hold, were there no wheel lift"""


def launch_of(book: Logbook, chassis: Chassis, run: RunKey | None) -> Hit:
    """Return the launch: the peak of the newest clean trace up to a run, else what the fitted tyres hold."""
    name = chassis.car.name
    clean = {row.key for row in results.run_results(book, name) if row.clean}
    traces = {
        key: found["peak_acceleration"]
        for key, found in results.findings(book, name).items()
        if key in clean and found["peak_acceleration"] and (run is None or key <= run)
    }
    if traces:
        newest = max(traces, key=lambda key: (key.date, key.number))
        return Hit(traces[newest], f"peak of the trace of {newest}")
    stored = results.car_result(book, name)
    fitted = fit_from(stored[0]) if stored else None
    if fitted is None:
        return Hit(None, None)
    vehicle = fitted.vehicle
    held = (vehicle.grip_acceleration - vehicle.rolling_coefficient * STANDARD_GRAVITY) / (1.0 + vehicle.rotating_share)
    runs = f"{fitted.runs} run{'s' if fitted.runs > 1 else ''}"
    source = f"tyre grip fitted to {runs}" if fitted.runs else "tyre grip of the car file, no run fitted"
    return Hit(float(held), source, by_grip=True)


def launch_part(chassis: Chassis, weighed: Weighed, hit: Hit, remarks: Remarks) -> dict[str, Any]:
    """Return the loads at the launch in the shape of the page; nulls where something isn't known."""
    made: dict[str, Any] = {
        "acceleration_g": _g(hit.acceleration),
        "acceleration_from": hit.source,
        "front_axle_n": None,
        "driven_tyres_n": None,
        "driven_tyres_pct": None,
        "wheel_lift_margin_g": None,
        "driveshaft_torque_nm": None,
        "preload_for_even_tyres_nm": None,
        "preload_nm": None,
        "tyres_n": {corner.replace(" ", "_"): None for corner in CORNERS},
        "ballast": [],
        "wheelie_bars": None,
        "assumptions": list(ASSUMPTIONS),
        "cautions": list(CAUTIONS),
    }
    car, acceleration = weighed.car, hit.acceleration
    if acceleration is None:
        remarks.missing.append("a logger file of a clean run, or runs to fit to, for the loads at the launch")
    if car is None or car.height is None or acceleration is None:
        return made
    balance = balance_of(car)
    lift = wheel_lift_acceleration(balance.x, balance.height)
    bars = Bars(chassis.car.wheelie_bars.length) if chassis.car.wheelie_bars else None
    if hit.by_grip and bars is None and acceleration > lift:
        acceleration = lift
        made |= {"acceleration_g": _g(lift), "acceleration_from": f"{hit.source}, as far as the front wheels stay down"}
    made["wheel_lift_margin_g"] = _g(lift - acceleration)
    made["wheelie_bars"] = _bars(chassis, car, acceleration)
    try:
        loads = axle_loads(balance, acceleration, bars)
    except ValueError as error:
        remarks.warnings.append(f"at the launch: {error}")
        return made
    made |= {"front_axle_n": rounded(loads.front, 1), "driven_tyres_n": rounded(loads.rear, 1)}
    made["driven_tyres_pct"] = rounded(100 * loads.rear / (balance.mass * STANDARD_GRAVITY), 2)
    made["ballast"] = [
        row
        for item in chassis.car.adjustables
        if is_ballast(item) and (row := _ballast(chassis, item, car, acceleration, bars)) is not None
    ]
    return made | _sides(chassis, weighed, acceleration, bars, remarks)


def _g(acceleration: float | None) -> float | None:
    return None if acceleration is None else rounded(acceleration / STANDARD_GRAVITY, 4)


def _sides(
    chassis: Chassis, weighed: Weighed, acceleration: float, bars: Bars | None, remarks: Remarks
) -> dict[str, Any]:
    """Return driveshaft torque, the preload that cancels it, and the four tyres where the corners are known."""
    car = weighed.car
    if car is None:
        return {}
    ratio = chassis.number("final drive", "ratio") or chassis.car.final_drive
    torque = driveshaft_torque(car.corners.total * acceleration, chassis.axle_height, ratio)
    preload = chassis.number(PRELOAD, "torque")
    made: dict[str, Any] = {
        "driveshaft_torque_nm": rounded(torque, 1),
        "preload_for_even_tyres_nm": rounded(torque, 1),
        "preload_nm": rounded(preload, 1),
    }
    if preload is None and PRELOAD in chassis.setup:
        remarks.missing.append(f"setup sheet: {PRELOAD} as a torque (N·m or lbf·ft), for its share of the rear tyres")
    if not weighed.by_corner or not tracks_known(chassis.car):
        return made
    try:
        loads = tyre_loads(car, Launch(acceleration, torque, preload or 0.0, bars))
    except ValueError as error:
        remarks.warnings.append(f"at the launch, left and right: {error}")
        return made
    made["tyres_n"] = {
        corner.replace(" ", "_"): rounded(getattr(loads, corner.replace(" ", "_")), 1) for corner in CORNERS
    }
    return made


def _ballast(
    chassis: Chassis, item: Adjustable, car: WeighedCar, acceleration: float, bars: Bars | None
) -> dict[str, Any] | None:
    """Return what a step of ballast changes, or what taking a step out does where the mount is full."""
    if item.x is None:
        return None
    unit = units.unit_of(item.unit)
    now = unit.from_si(chassis.number(item.name, "mass") or 0.0)
    step = item.step if item.high is None or now + item.step <= item.high + 1e-9 else -item.step
    made: dict[str, Any] = {"adjustable": item.name, "unit": item.unit, "step": step}
    nothing = dict.fromkeys(("driven_tyres_change_n", "load_per_mass_change_pct", "wheel_lift_change_g"))
    try:
        # on the centre line: axle loads don't depend on the side
        after = add_ballast(car, Ballast(unit.to_si(step), item.x, 0.0, item.z))
        if after.height is None:
            return made | nothing
        change = compare_launch(balance_of(car), balance_of(after), acceleration, bars)
    except ValueError:
        return made | nothing
    return made | {
        "driven_tyres_change_n": rounded(change.rear_load[1] - change.rear_load[0], 1),
        "load_per_mass_change_pct": rounded(100 * (change.rear_load_per_mass[1] / change.rear_load_per_mass[0] - 1), 3),
        "wheel_lift_change_g": _g(change.wheel_lift[1] - change.wheel_lift[0]),
    }


def _bars(chassis: Chassis, car: WeighedCar, acceleration: float) -> dict[str, float | None] | None:
    """Return what the wheelie bars do, where the car file has them; the car turns about its rear contact patch."""
    bars = chassis.car.wheelie_bars
    if bars is None:
        return None
    balance, wheelbase = balance_of(car), car.footprint.wheelbase
    height = chassis.number(BAR_HEIGHT, "length")
    lift = wheel_lift_acceleration(balance.x, balance.height)
    carried = max(balance.mass * (acceleration - lift) * balance.height / bars.length, 0.0)
    squeezed = None if bars.stiffness is None else carried / bars.stiffness
    rise = None
    if carried > 0.0 and height is not None and squeezed is not None:
        rise = (height + squeezed) * wheelbase / bars.length
    return {
        "length_m": rounded(bars.length, 4),
        "stiffness_n_m": rounded(bars.stiffness, 0),
        "height_m": rounded(height, 4),
        "touch_at_pitch_deg": None if height is None else rounded(math.degrees(math.atan(height / bars.length)), 3),
        "load_n": rounded(carried, 1),
        "deflection_m": rounded(squeezed, 5),
        "front_wheels_rise_m": rounded(rise, 4),
        "driven_tyres_lose_per_load": rounded(1.0 + bars.length / wheelbase, 4),
    }
