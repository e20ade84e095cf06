"""What a change to the car or the air does to a run by the longitudinal model, with the doubt of it.

The doubt has three parts, taken as independent: what the fit to the car's runs leaves open, what the model takes for
granted where the car file is silent, and the model's own form. The second and third are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.physics.grip import friction_of, held_by
from runlog.physics.longitudinal import simulate
from runlog.physics.powertrain import torque_at
from runlog.physics.vehicle_fit import scaled

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from runlog.physics.atmosphere import Air
    from runlog.physics.longitudinal import Pass
    from runlog.physics.vehicle import EngineCurve, FloatArray, Stance, Vehicle

    Alter = Callable[[Vehicle], Vehicle]

FORM_SHARE: Final = 0.2
"""relative sd of any effect from what the model leaves out. Common practice, no source."""
FORM_TIME: Final = 0.0005
"""[s] least sd of an effect on a time between beams for the same reason. Common practice, no source."""
FORM_SPEED: Final = 0.02
"""[m/s] the same of an effect on a trap speed. Common practice, no source."""


# --- changes ----------------------------------------------------------------------------------------------------------


def with_ballast(vehicle: Vehicle, mass: float, x: float, z: float) -> Vehicle:
    """Return the car with so much more mass [kg], x [m] forward of the rear axle and z [m] up; tyres as they were.

    Moments about the rear axle and about the ground. Without a stance only the mass counts.
    """
    total = vehicle.mass + mass
    stance = vehicle.stance
    if stance is None:
        return replace(vehicle, mass=total)
    place = vehicle.mass * stance.front_share * stance.wheelbase + mass * x
    height = (vehicle.mass * stance.height + mass * z) / total
    moved = replace(stance, front_share=place / (total * stance.wheelbase), height=height)
    return _on_same_tyres(replace(vehicle, mass=total), moved)


def _on_same_tyres(vehicle: Vehicle, stance: Stance) -> Vehicle:
    if vehicle.stance is None:
        raise AssertionError
    held = held_by(friction_of(vehicle.grip_acceleration, vehicle.stance), stance)
    return replace(vehicle, stance=stance, grip_acceleration=float(held) if np.ndim(held) == 0 else held)


def with_mass(vehicle: Vehicle, mass: float) -> Vehicle:
    """Return the car with so much more mass [kg] spread like the rest of it."""
    return replace(vehicle, mass=vehicle.mass + mass)


def with_power(vehicle: Vehicle, factor: float) -> Vehicle:
    """Return the car with its power multiplied at every engine speed."""
    return replace(vehicle, power=vehicle.power * factor)


def with_drag(vehicle: Vehicle, factor: float) -> Vehicle:
    """Return the car with its drag area multiplied."""
    return replace(vehicle, drag_area=vehicle.drag_area * factor)


def with_circumference(vehicle: Vehicle, factor: float) -> Vehicle:
    """Return the car on driven tyres of another circumference, all else of them and the ride height as it was."""
    if vehicle.tyre is None:
        raise ValueError("the tyre isn't known")
    return replace(vehicle, tyre=replace(vehicle.tyre, circumference=vehicle.tyre.circumference * factor))


def with_final_drive(vehicle: Vehicle, ratio: float) -> Vehicle:
    """Return the car with another final drive."""
    if vehicle.driveline is None:
        raise ValueError("the driveline isn't known")
    return replace(vehicle, driveline=replace(vehicle.driveline, final_drive=ratio))


def with_shift_speed(vehicle: Vehicle, change: float) -> Vehicle:
    """Return the car shifted so much later [rad/s] every time."""
    line = vehicle.driveline
    if line is None:
        raise ValueError("the driveline isn't known")
    return replace(vehicle, driveline=replace(line, shift_speeds=tuple(speed + change for speed in line.shift_speeds)))


def with_stall_speed(vehicle: Vehicle, before: float, after: float) -> Vehicle:
    """Return the car with a converter of another stall speed [rad/s]: the capacity that holds the engine there."""
    line = vehicle.driveline
    if line is None or line.converter is None:
        raise ValueError("the converter isn't known")
    old, new = torque_at(line.engine, np.array([before, after]))[0] / np.array([before, after]) ** 2
    converter = replace(line.converter, capacity=line.converter.capacity * float(new / old))
    return replace(vehicle, driveline=replace(line, converter=converter))


# --- the doubt of what is taken for granted ---------------------------------------------------------------------------


def shifted_curve(curve: EngineCurve, factor: float) -> EngineCurve:
    """Return the curve with every engine speed multiplied and the power at each kept."""
    return replace(
        curve,
        speeds=tuple(speed * factor for speed in curve.speeds),
        torques=tuple(torque / factor for torque in curve.torques),
        slopes=tuple(slope / factor**2 for slope in curve.slopes),
    )


def doubts(vehicle: Vehicle, *, measured_curve: bool) -> list[Alter]:
    """Return what to do to the vehicle to move each thing taken for granted by one standard deviation."""
    found: list[Alter] = [
        lambda car: replace(car, rotating_share=car.rotating_share * 1.3),
        lambda car: replace(car, rolling_coefficient=car.rolling_coefficient * 1.3),
        # tyres don't give out all at once: near the limit, what engine and gears do is felt too
        lambda car: replace(car, grip_acceleration=car.grip_acceleration * 1.3),
    ]
    if vehicle.stance is not None:
        found += [
            lambda car: _stance(car, load_sensitivity=0.05),
            lambda car: _stance(car, height=0.025),
        ]
    if vehicle.driveline is not None:
        peak = 1.01 if measured_curve else 1.04
        found += [
            lambda car: _line(car, engine_inertia=1.4),
            lambda car: _line(car, shift_time=2.0),
            lambda car: _curve(car, peak),
            lambda car: replace(car, tyre=car.tyre and replace(car.tyre, slip=car.tyre.slip + 0.015)),
            lambda car: replace(car, tyre=car.tyre and replace(car.tyre, growth=car.tyre.growth + 2e-6)),
        ]
        if vehicle.driveline.converter is not None:
            found += [lambda car: _converter(car, capacity=1.1), lambda car: _converter(car, torque_ratio=1.1)]
    return found


def _stance(car: Vehicle, *, load_sensitivity: float = 0.0, height: float = 0.0) -> Vehicle:
    """Change the stance with what the tyres hold at the launch kept: that is fitted."""
    if car.stance is None:
        return car
    sensitive, high = car.stance.load_sensitivity + load_sensitivity, car.stance.height + height
    return replace(car, stance=replace(car.stance, load_sensitivity=sensitive, height=high))


def _line(car: Vehicle, *, engine_inertia: float = 1.0, shift_time: float = 1.0) -> Vehicle:
    line = car.driveline
    if line is None:
        return car
    inertia, time = line.engine_inertia * engine_inertia, line.shift_time * shift_time
    return replace(car, driveline=replace(line, engine_inertia=inertia, shift_time=time))


def _curve(car: Vehicle, factor: float) -> Vehicle:
    line = car.driveline
    return car if line is None else replace(car, driveline=replace(line, engine=shifted_curve(line.engine, factor)))


def _converter(car: Vehicle, *, capacity: float = 1.0, torque_ratio: float = 1.0) -> Vehicle:
    line = car.driveline
    if line is None or line.converter is None:
        return car
    made = line.converter
    made = replace(made, capacity=made.capacity * capacity, torque_ratio=made.torque_ratio * torque_ratio)
    return replace(car, driveline=replace(line, converter=made))


# --- what it does -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Outcome:
    """Two runs and their difference: split times [s] (5,), trap speeds [m/s] (2,); ``deviations`` are one sd each."""

    before: Pass
    after: Pass
    change: FloatArray
    """(7,) of split times and trap speeds"""
    deviations: FloatArray
    """(k, 7) how the change would move with each doubt"""

    def time(self, start: int, end: int) -> tuple[float, float]:
        """Return mean and sd [s] of the change of the time between two beams, counted 0…5 with the start line as 0."""
        weights = np.zeros(7)
        weights[end - 1] = 1.0
        if start > 0:
            weights[start - 1] = -1.0
        return self._summed(weights, FORM_TIME)

    def increments(self, count: int) -> tuple[FloatArray, FloatArray]:
        """Return mean (count,) [s] and covariance [s²] of the change of the first so many times between beams."""
        mean = np.diff(self.change[:count], prepend=0.0)
        spread = np.diff(self.deviations[:, :count], axis=1, prepend=0.0)
        form = FORM_SHARE**2 * np.outer(mean, mean) + FORM_TIME**2 * np.eye(count)
        return mean, spread.T @ spread + form

    def speed(self, trap: int) -> tuple[float, float]:
        """Return mean and sd [m/s] of the change of a trap speed, counted 0 and 1."""
        weights = np.zeros(7)
        weights[5 + trap] = 1.0
        return self._summed(weights, FORM_SPEED)

    def _summed(self, weights: FloatArray, least: float) -> tuple[float, float]:
        # nan beyond the finish must not spoil what comes before it
        used = weights != 0.0
        mean = float(self.change[used] @ weights[used])
        spread = self.deviations[:, used] @ weights[used]
        return mean, float(np.sqrt(np.sum(spread**2) + (FORM_SHARE * mean) ** 2 + least**2))


@dataclass(frozen=True)
class Supposed:
    """A change as it is supposed to be, what else it might be one sd away, and the air before and after."""

    alter: Alter
    air: Air
    air_after: Air
    otherwise: tuple[Alter, ...] = ()
    """the same change where something about it isn't known, such as the place of ballast"""


def outcome(vehicle: Vehicle, covariance: Sequence[Sequence[float]], supposed: Supposed, doubt: list[Alter]) -> Outcome:
    """Return what a change does to a fitted vehicle, ``covariance`` (3, 3) as ``vehicle_fit`` gives it."""
    before, after = simulate(vehicle, supposed.air), simulate(supposed.alter(vehicle), supposed.air_after)
    change = _figures(after) - _figures(before)

    def moved(alter: Alter, start: Vehicle) -> FloatArray:
        end = simulate(alter(start), supposed.air_after)
        return _figures(end) - _figures(simulate(start, supposed.air)) - change

    # columns of the Cholesky factor: independent steps of one sd each
    steps = np.linalg.cholesky(np.asarray(covariance, dtype=np.float64)).T
    rows = [moved(supposed.alter, scaled(vehicle, step)) for step in steps]
    rows += [moved(supposed.alter, alter(vehicle)) for alter in doubt]
    rows += [_figures(simulate(alter(vehicle), supposed.air_after)) - _figures(after) for alter in supposed.otherwise]
    return Outcome(before, after, change, np.array(rows))


def _figures(run: Pass) -> FloatArray:
    return np.concatenate([run.times, run.speeds])
