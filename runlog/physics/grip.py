"""What the driven tyres hold, with weight transfer and wheel lift, quasi-static and rigid.

The load on the rear tyres is what they carry at rest, plus downforce, plus the transfer (m a + D) h/L that the very
acceleration brings, drag taken to act at the height of the centre of gravity. Friction falls with load as
μ = μ₀ (N/N₀)^(−s), N₀ the rear load at rest. Without load sensitivity, drag and rolling this is a = μ g (1 − f)/(1 − μ
h/L), R. N. Jazar, *Vehicle Dynamics* (2008) eq. 2.116. Nothing of the first instants, in which the body still rises.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import STANDARD_GRAVITY

if TYPE_CHECKING:
    from runlog.physics.vehicle import FloatArray, FloatOrArray, Stance

TYRE_FRICTION: Final = 1.8
"""slick on a prepared track, under the load at rest. Common practice, no source."""


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


def held_by(friction: FloatOrArray, stance: Stance) -> FloatOrArray:
    """Return the tractive force per mass [m/s²] that tyres of this friction hold at the launch, wheel lift apart.

    The inverse of ``friction_of``; inf where the transfer outruns what the tyres need.
    """
    reach = np.asarray(stance.height, dtype=np.float64) / stance.wheelbase
    high = np.asarray(friction, dtype=np.float64) * STANDARD_GRAVITY * 1e3
    low = np.zeros_like(high)
    # friction_of rises with what is held, but faster or slower with load sensitivity: halving the bracket is enough
    for _ in range(100):
        middle = 0.5 * (low + high)
        short = np.asarray(friction_of(middle, stance)) < friction
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    found = np.where(high >= 0.999 * np.asarray(friction) * STANDARD_GRAVITY * 1e3, np.inf, 0.5 * (low + high))
    return found + 0.0 * reach


def friction_of(grip_acceleration: FloatOrArray, stance: Stance) -> FloatOrArray:
    """Return the friction μ₀ under the load at rest with which the tyres hold this force per mass [m/s²]."""
    rest = STANDARD_GRAVITY * (1.0 - np.asarray(stance.front_share, dtype=np.float64))
    load = rest + np.asarray(grip_acceleration, dtype=np.float64) * stance.height / stance.wheelbase
    friction: FloatArray = grip_acceleration / rest * (load / rest) ** (stance.load_sensitivity - 1.0)
    return friction


def tyre_acceleration(
    friction: FloatOrArray, stance: Stance, mass: FloatOrArray, moving: FloatOrArray, losses: tuple[FloatArray, ...]
) -> FloatArray:
    """Return the acceleration [m/s²] (c, k) at which the tyres, or the front wheels' weight, give out.

    ``mass`` [kg] of the car and ``moving`` with what of it turns with the free wheels. ``losses`` (c, k): drag [N],
    rolling resistance [N], downforce on the front and on the rear axle [N].
    """
    drag, rolling, front_down, rear_down = losses
    weight = np.asarray(mass * STANDARD_GRAVITY, dtype=np.float64)
    reach = np.asarray(stance.height, dtype=np.float64) / stance.wheelbase
    front = weight * stance.front_share + front_down
    rest = weight * (1.0 - np.asarray(stance.front_share, dtype=np.float64))
    most = front + rest + rear_down
    bend = 1.0 - np.asarray(stance.load_sensitivity, dtype=np.float64)
    strength = np.asarray(friction) * rest ** (1.0 - bend)
    share = mass / moving * reach
    still = rest + rear_down + reach * drag - share * (drag + rolling)
    # load N = still + share · strength · N^bend; hollow in N, so Newton from the greatest load comes down to the root
    load = most
    for _ in range(40):
        held = strength * load**bend
        slope = 1.0 - share * bend * held / load
        excess = load - still - share * held
        step = np.where(excess > 0.0, excess / np.where(slope > 0.0, slope, 1.0), 0.0)
        load = load - step
        if not np.any(step > 1e-7 * load):  # the next step is of the order of its square
            break
    lift = (front / reach - drag) / mass
    allowed: FloatArray = np.minimum((strength * load**bend - drag - rolling) / moving, lift)
    return allowed
