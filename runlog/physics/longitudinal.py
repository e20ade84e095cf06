"""The car's own run down the track: grip first, then power, against drag and rolling resistance.

    m (1 + r) dv/dt = min(m g_x, P/v) − ½ ρ S (v − w)|v − w| − c m g

with mass m, rotating share r, tractive force per mass g_x that the tyres (or the front wheels leaving the ground)
allow, power at the driven wheels P in the air of the run, drag area S, air density ρ, tailwind w and rolling
coefficient c. Power counts as constant at its mean from shift to shift. No converter, no gears, no tyre growth, no lift
or downforce: the model is meant for what a change of air does to each split, once fitted to the car's own slips.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from runlog.constants import (
    FOOT,
    SPEED_DISTANCES_FT,
    SPEED_TRAP_LENGTH_FT,
    SPLIT_DISTANCES_FT,
    STANDARD_GRAVITY,
)
from runlog.physics.motion import Motion
from runlog.physics.power import power_factor, rating_to_reference

if TYPE_CHECKING:
    from collections.abc import Callable

    from runlog.physics.atmosphere import Air
    from runlog.records import Car

FloatArray = NDArray[np.float64]

# what a car file leaves out; common practice, no source, all of it
DRIVELINE_EFFICIENCY: Final = 0.82
"""power at the wheels over power at the engine, with a converter"""
BAND_SHARE: Final = 0.88
"""mean power from shift to shift over rated power"""
ROTATING_SHARE: Final = 0.05
"""of the mass, that the inertia of wheels and driveline adds"""
DRAG_AREA: Final = 0.6
"""[m²]"""
ROLLING_COEFFICIENT: Final = 0.015
TYRE_FRICTION: Final = 1.8
"""slick on a prepared track"""
LAUNCH_ACCELERATION: Final = 1.4 * STANDARD_GRAVITY
"""[m/s²] where the centre of gravity is not known"""

_BEAMS_FT: Final = tuple(
    sorted({0, *SPLIT_DISTANCES_FT, *(distance - SPEED_TRAP_LENGTH_FT for distance in SPEED_DISTANCES_FT)})
)
_AT_BEAM: Final = {distance: index for index, distance in enumerate(_BEAMS_FT)}

TIME_SD: Final = 0.02
"""[s] of a split of an unchanged car from run to run"""
SPEED_SD: Final = 0.5
"""[m/s] of a trap speed of an unchanged car from run to run"""
_FITTED: Final = ("grip_acceleration", "power", "drag_area")
_PRIOR_SD: Final = np.array([0.4, 0.3, 0.1])
"""of the logarithm of each about the unfitted vehicle's; keeps drag in place, which slips tell worst"""


@dataclass(frozen=True)
class Vehicle:
    """A car as the longitudinal model sees it."""

    mass: float
    """[kg] as raced"""
    power: float
    """[W] at the driven wheels in ``STANDARD_AIR``"""
    grip_acceleration: float
    """[m/s²] tractive force per mass that tyres or wheel lift allow"""
    drag_area: float = DRAG_AREA
    """[m²]"""
    rolling_coefficient: float = ROLLING_COEFFICIENT
    rotating_share: float = ROTATING_SHARE
    rollout: float = 0.2286
    """[m] from rest to where the clock starts"""
    aspiration: str = "natural"


@dataclass(frozen=True)
class Pass:
    """A run as computed: times [s] from the beam (…, 5) and trap speeds [m/s] (…, 2), nan where never reached."""

    times: FloatArray
    speeds: FloatArray

    @property
    def increments(self) -> FloatArray:
        """Times [s] from beam to beam (…, 5); the first is the 60-foot time."""
        return np.diff(self.times, axis=-1, prepend=0.0)


def grip_limit(front_share: float, height: float, wheelbase: float, friction: float = TYRE_FRICTION) -> float:
    """Return the acceleration [m/s²] that a rear-driven car's tyres allow, bounded by the front wheels' lifting.

    ``front_share`` 0…1 of the weight at rest, centre of gravity ``height`` and ``wheelbase`` [m]. R. N. Jazar, *Vehicle
    Dynamics* (2008) eq. 2.116 for the tyres; moments about the rear axle for the lift. Rigid car, no aerodynamics.
    """
    lift = STANDARD_GRAVITY * front_share * wheelbase / height
    relief = 1.0 - friction * height / wheelbase
    if relief <= 0.0:
        return lift
    return min(lift, friction * STANDARD_GRAVITY * (1.0 - front_share) / relief)


def vehicle_of(car: Car, rollout: float) -> Vehicle:
    """Return the model of a car from its file and the track's rollout [m].

    What the file leaves out is filled with this module's constants. Rated power is brought to ``STANDARD_AIR`` from the
    standard it was stated to; engine power loses the driveline's share, and either loses what the shifts cost.
    """
    power = car.power * rating_to_reference(car.power_standard) * BAND_SHARE
    if car.power_at != "wheels":
        power *= DRIVELINE_EFFICIENCY
    grip = LAUNCH_ACCELERATION
    if car.front_share is not None and car.centre_of_gravity_height is not None:
        grip = grip_limit(car.front_share, car.centre_of_gravity_height, car.wheelbase)
    return Vehicle(
        mass=car.race_mass,
        power=power,
        grip_acceleration=grip,
        drag_area=DRAG_AREA if car.drag_area is None else car.drag_area,
        rollout=rollout,
        aspiration=car.aspiration,
    )


def simulate(vehicle: Vehicle, air: Air) -> Pass:
    """Return the run of a car from rest in this air, or in many airs at once.

    Air fields of shape (…) give times (…, 5) and speeds (…, 2), as ``constants.SPLIT_DISTANCES_FT`` and
    ``SPEED_DISTANCES_FT`` order them; a speed is the average over the trap's 66 ft. Numerically good to 1e-6 s while
    the car still gains speed; nan where it would no longer.
    """
    motion = _motion_of(vehicle, air)
    distances = np.maximum(vehicle.rollout + FOOT * np.array(_BEAMS_FT, dtype=np.float64), 1e-12)
    reached = motion.times_at(distances)
    clock = reached - reached[..., :1]
    times = clock[..., [_AT_BEAM[distance] for distance in SPLIT_DISTANCES_FT]]
    ends = clock[..., [_AT_BEAM[distance] for distance in SPEED_DISTANCES_FT]]
    starts = clock[..., [_AT_BEAM[distance - SPEED_TRAP_LENGTH_FT] for distance in SPEED_DISTANCES_FT]]
    return Pass(times, FOOT * SPEED_TRAP_LENGTH_FT / (ends - starts))


def _motion_of(vehicle: Vehicle, air: Air) -> Motion:
    moving = 1.0 + vehicle.rotating_share
    density, wind, factor = np.broadcast_arrays(
        np.asarray(air.density, dtype=np.float64),
        np.asarray(air.wind_along, dtype=np.float64),
        np.asarray(power_factor(vehicle.aspiration, air), dtype=np.float64),
    )
    return Motion(
        grip=vehicle.grip_acceleration / moving,
        power=(vehicle.power / (vehicle.mass * moving) * factor)[..., None],
        drag=(0.5 * vehicle.drag_area / (vehicle.mass * moving) * density)[..., None],
        rolling=vehicle.rolling_coefficient * STANDARD_GRAVITY / moving,
        wind=wind[..., None],
    )


# --- fitting to the car's own slips ---------------------------------------------------------------------------------


def fit(vehicle: Vehicle, times: FloatArray, speeds: FloatArray, air: Air) -> Vehicle:
    """Return the vehicle with grip, power and drag area fitted to a car's own clean runs.

    ``times`` [s] (n, 5) and ``speeds`` [m/s] (n, 2), nan where missing; ``air`` with fields of shape (n,) or scalar;
    a run with nan in its air is passed over. Least squares against ``TIME_SD`` and ``SPEED_SD`` on the logarithms of
    the three parameters, held near the unfitted ones by a wide normal prior. Without at least one early time (60 or
    330 ft) and one later figure, or when the search doesn't settle, the vehicle comes back as it was.
    ValueError when the shapes don't fit together.
    """
    times, speeds = np.asarray(times, dtype=np.float64), np.asarray(speeds, dtype=np.float64)
    if times.ndim != 2 or times.shape[1] != 5 or speeds.shape != (times.shape[0], 2):
        raise ValueError(f"times must be (n, 5) and speeds (n, 2), got {times.shape} and {speeds.shape}")
    measured = np.hstack([times, speeds])

    def predicted(logs: FloatArray) -> FloatArray:
        run = simulate(_scaled(vehicle, logs), air)
        return np.broadcast_to(np.concatenate([run.times, run.speeds], axis=-1), measured.shape)

    unfitted = np.zeros(len(_FITTED))
    known = np.isfinite(measured) & np.isfinite(predicted(unfitted))
    if not (known[:, :2].any() and known[:, 2:].any()):
        return vehicle

    def residuals(logs: FloatArray) -> FloatArray:
        misfit = (predicted(logs) - measured) / np.array([TIME_SD] * 5 + [SPEED_SD] * 2)
        return np.concatenate([misfit[known], logs / _PRIOR_SD])

    logs = _gauss_newton(residuals, unfitted)
    return vehicle if logs is None else _scaled(vehicle, logs)


def _scaled(vehicle: Vehicle, logs: FloatArray) -> Vehicle:
    factors = zip(_FITTED, np.exp(logs), strict=True)
    return replace(vehicle, **{name: getattr(vehicle, name) * float(factor) for name, factor in factors})


def _gauss_newton(residuals: Callable[[FloatArray], FloatArray], start: FloatArray) -> FloatArray | None:
    """Return where the sum of squares is least; None when the search doesn't settle or leaves the model's range."""
    point = start
    offsets = 1e-4 * np.eye(start.size)
    for _ in range(50):
        columns = [(residuals(point + offset) - residuals(point - offset)) / 2e-4 for offset in offsets]
        value, jacobian = residuals(point), np.column_stack(columns)
        if not (np.all(np.isfinite(jacobian)) and np.all(np.isfinite(value))):
            return None
        step: FloatArray = np.clip(np.linalg.lstsq(jacobian, -value, rcond=None)[0], -0.5, 0.5)
        point = point + step
        if np.max(np.abs(step)) < 1e-6:
            return point
    return None
