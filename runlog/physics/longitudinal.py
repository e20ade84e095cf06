"""The car's own run down the track.

    m_e dv/dt = min(engine, tyres) − ½ ρ S (v − w)|v − w| − c (m g + downforce)

with drag area S, air density ρ, tailwind w and rolling coefficient c. What the engine gives comes through converter or
clutch and gears (``powertrain``), or is constant power where no driveline is known; what the tyres hold comes from
weight transfer bounded by wheel lift (``grip``), or is constant per mass where the car's stance isn't known. Power
follows the air as ``power.power_factor`` says. The mass m_e counts what turns along: all of it when the engine limits,
only the free wheels' part when the tyres do, since the driven ones don't load them. Without a stance it all counts
throughout, as a fitted grip then takes it in.

Left out: pitch and the launch's first tenth of a second, tyre slip beyond a constant one, driver, surface.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import (
    FOOT,
    SPLIT_DISTANCES_FT,
    STANDARD_GRAVITY,
)
from runlog.physics.grip import friction_of, grip_limit, tyre_acceleration
from runlog.physics.motion import passage
from runlog.physics.power import power_factor
from runlog.physics.powertrain import Powertrain
from runlog.physics.vehicle import FloatArray, FloatOrArray, Vehicle, map_varying, varying_shapes

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runlog.physics.atmosphere import Air
    from runlog.physics.motion import Passage

__all__ = ["Crossing", "Pass", "Vehicle", "acceleration", "grip_limit", "simulate"]

FREE_WHEELS: Final = 0.25
"""of the rotating share, that belongs to the wheels which aren't driven. Common practice, no source."""

_BEAMS: Final = FOOT * np.array([0, *SPLIT_DISTANCES_FT], dtype=np.float64)
"""[m] the start beam and those of the splits"""


@dataclass(frozen=True)
class Crossing:
    """How things are at each beam (…, 5): speed [m/s]; engine, driveshaft and driven-tyre speed [rad/s], tread speed.

    nan where the beam is never reached, or where tyre or driveline aren't known.
    """

    speed: FloatArray
    engine: FloatArray
    driveshaft: FloatArray
    tyre: FloatArray
    surface: FloatArray
    """[m/s] of the driven tyres' tread: road speed and slip"""


@dataclass(frozen=True)
class Pass:
    """A run as computed: times [s] from the beam (…, 5) and trap speeds [m/s] (…, 2), nan where never reached."""

    times: FloatArray
    speeds: FloatArray
    crossing: Crossing

    @property
    def increments(self) -> FloatArray:
        """Times [s] from beam to beam (…, 5); the first is the 60-foot time."""
        return np.diff(self.times, axis=-1, prepend=0.0)


def simulate(vehicle: Vehicle, air: Air) -> Pass:
    """Return the run of a car from rest in this air, or in many airs at once.

    Air fields, and those of the vehicle that may vary, of shapes that broadcast to (…) give times (…, 5) and speeds
    (…, 2), as ``constants.SPLIT_DISTANCES_FT`` and ``SPEED_DISTANCES_FT`` order them; a speed is the average over the
    vehicle's traps. Numerically good to 1e-6 s while the car still gains ``motion.LEAST_ACCELERATION``; nan where it
    does not.
    """
    forces, shape = _forces(vehicle, air)
    traps = np.array(vehicle.traps, dtype=np.float64)
    places = np.unique([*_BEAMS, *traps.ravel()])
    passed = passage(forces, np.maximum(vehicle.rollout + places, 1e-20))
    clock = passed.time - passed.time[:, :1]
    splits = np.searchsorted(places, _BEAMS[1:])
    starts, ends = (clock[:, np.searchsorted(places, side)] for side in traps.T)
    speeds = (traps[:, 1] - traps[:, 0]) / (ends - starts)
    crossing = _crossing(forces, passed, splits)
    parts = (crossing.speed, crossing.engine, crossing.driveshaft, crossing.tyre, crossing.surface)
    return Pass(
        clock[:, splits].reshape(*shape, -1),
        speeds.reshape(*shape, -1),
        Crossing(*(part.reshape(*shape, -1) for part in parts)),
    )


def acceleration(vehicle: Vehicle, air: Air, speed: FloatArray, gear: int = 0) -> FloatArray:
    """Return the acceleration [m/s²] (…, k) at speeds [m/s] (k,) in a gear counted from 0."""
    forces, shape = _forces(vehicle, air)
    many = np.broadcast_to(np.asarray(speed, dtype=np.float64), (forces.fastest.shape[0], np.size(speed)))
    ratio = np.full(many.shape[1], forces.gears[gear])
    limited: FloatArray = np.minimum(forces.engine_limited(many, ratio), forces.tyre_limited(many))
    return limited.reshape(*shape, -1)


def _crossing(forces: _Forces, passed: Passage, splits: NDArray[np.intp]) -> Crossing:
    speed, gear = passed.speed[:, splits], passed.gear[:, splits]
    unknown = np.full_like(speed, np.nan)
    train = forces.powertrain
    if train is None:
        return Crossing(speed, unknown, unknown, unknown, unknown)
    known = np.isfinite(speed)
    ratio = forces.gears[np.where(known, gear, 0.0).astype(int)]
    tyre = train.wheel_speed(np.where(known, speed, 1.0))
    shaft = tyre * train.driveline.final_drive
    engine = train.turning(shaft * ratio).engine
    surface = speed * (1.0 + train.tyre.slip)
    return Crossing(speed, *(np.where(known, part, np.nan) for part in (engine, shaft, tyre, surface)))


@dataclass(frozen=True)
class _Forces:
    """A vehicle in its airs, every figure a column (c, 1): what ``motion`` asks for."""

    vehicle: Vehicle
    power: FloatArray
    """[W] at the driven wheels in the air"""
    density: FloatArray
    wind: FloatArray
    gears: FloatArray
    fastest: FloatArray
    shift_time: FloatArray
    powertrain: Powertrain | None
    friction: FloatOrArray | None

    def losses(self, speed: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return drag, rolling resistance, downforce on the front and on the rear axle [N] at speeds (c, k)."""
        car = self.vehicle
        past = speed - self.wind
        push = 0.5 * self.density * past * np.abs(past)
        stance = car.stance
        front = push * (stance.downforce_front if stance else 0.0)
        rear = push * (stance.downforce_rear if stance else 0.0)
        rolling = car.rolling_coefficient * (car.mass * STANDARD_GRAVITY + front + rear)
        return push * car.drag_area, rolling, front, rear

    def engine_limited(self, speed: FloatArray, gear: FloatArray) -> FloatArray:
        car = self.vehicle
        drag, rolling, _, _ = self.losses(speed)
        moving = car.mass * (1.0 + np.asarray(car.rotating_share))
        if self.powertrain is None:
            force: FloatArray = self.power / np.maximum(speed, 1e-12)
        else:
            force, inertia = self.powertrain.axle(speed, gear)
            moving = moving + inertia
        return (force - drag - rolling) / moving

    def tyre_limited(self, speed: FloatArray) -> FloatArray:
        car = self.vehicle
        losses = self.losses(speed)
        if car.stance is None or self.friction is None:
            drag, rolling, _, _ = losses
            held = (car.mass * np.asarray(car.grip_acceleration) - drag - rolling) / car.mass
            return held / (1.0 + np.asarray(car.rotating_share))
        free = car.mass * (1.0 + FREE_WHEELS * np.asarray(car.rotating_share))
        return tyre_acceleration(self.friction, car.stance, car.mass, free, losses)

    def coasting(self, speed: FloatArray) -> FloatArray:
        drag, rolling, _, _ = self.losses(speed)
        moving = self.vehicle.mass * (1.0 + np.asarray(self.vehicle.rotating_share))
        return np.asarray(-(drag + rolling) / moving)

    def bends(self, gear: float) -> list[FloatArray]:
        train = self.powertrain
        if train is None:
            return []
        return [self._road_speed(turbine, gear) for turbine in train.kinks]

    def shift_at(self, number: int) -> FloatArray:
        train = self.powertrain
        if train is None:
            raise AssertionError
        engine = np.asarray(train.driveline.shift_speeds[number], dtype=np.float64) + np.zeros_like(self.power)
        return self._road_speed(train.turbine_at(engine), float(self.gears[number]))

    def _road_speed(self, turbine: FloatArray, gear: float) -> FloatArray:
        train = self.powertrain
        if train is None:
            raise AssertionError
        return train.road_speed(turbine / (gear * train.driveline.final_drive)) + np.zeros_like(self.power)


def _forces(vehicle: Vehicle, air: Air) -> tuple[_Forces, tuple[int, ...]]:
    """Return the vehicle in its airs with every figure as a column, and the shape that the columns stand for."""
    factor = np.asarray(power_factor(vehicle.aspiration, air), dtype=np.float64)
    density, wind = np.asarray(air.density, dtype=np.float64), np.asarray(air.wind_along, dtype=np.float64)
    shape = np.broadcast_shapes(factor.shape, density.shape, wind.shape, *varying_shapes(vehicle))

    def column(value: FloatOrArray) -> FloatArray:
        return np.broadcast_to(np.asarray(value, dtype=np.float64), shape).reshape(-1, 1)

    car = map_varying(vehicle, column)
    power, mass = car.power * column(factor), car.mass
    line = car.driveline
    train = None
    if line is not None and car.tyre is not None:
        train = Powertrain(line, car.tyre, power / line.efficiency)
    rows = power.shape[0]
    distance = vehicle.rollout + max(float(_BEAMS[-1]), *(end for _, end in vehicle.traps))
    # from rest no speed exceeds that of all the power from the start, nor, without a stance, that of all the grip
    fastest = np.cbrt(3.0 * power / mass * distance)
    if car.stance is None:
        fastest = np.minimum(fastest, np.sqrt(2.0 * np.asarray(car.grip_acceleration) * distance))
    fastest = 1.05 * fastest + np.maximum(column(wind), 0.0) + 1.0
    made = _Forces(
        vehicle=car,
        power=np.asarray(power),
        density=column(density),
        wind=column(wind),
        gears=np.array(line.gears if line else (1.0,)),
        fastest=np.asarray(fastest),
        shift_time=column(vehicle.driveline.shift_time if vehicle.driveline else 0.0) + np.zeros((rows, 1)),
        powertrain=train,
        friction=None if car.stance is None else friction_of(car.grip_acceleration, car.stance),
    )
    return made, shape
