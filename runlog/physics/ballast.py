"""Ballast of any mass and place: what it does to corners, balance and height of the centre of gravity.

Statics of a rigid chassis on four springs: ballast at (x, y) adds m x / L to the front axle and the rest to the rear,
and its moment m y about the centre line is shared between the axles as roll stiffness is. Ride heights and tyre places
count as unchanged. Ballast must be fastened as the rules ask, and the car scaled again afterwards.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from runlog.physics.weights import CORNERS, CornerWeights, WeighedCar


@dataclass(frozen=True)
class Ballast:
    """A mass put into the car, or taken out where ``mass`` is negative, and its middle's place."""

    mass: float
    """[kg]"""
    x: float
    """[m] forward of the rear axle, negative behind it"""
    y: float = 0.0
    """[m] left of the centre line"""
    z: float | None = None
    """[m] above the ground; None: not known, and then the car's height isn't known afterwards either"""

    def __post_init__(self) -> None:
        for name, value in (("mass", self.mass), ("x", self.x), ("y", self.y), ("z", self.z)):
            if value is not None and not math.isfinite(value):
                raise ValueError(f"ballast {name} {value:g} can't be: it must be a number")
        if self.z is not None and self.z < 0.0:
            raise ValueError(f"ballast {self.z:g} m high can't be: that is below the ground")


def add_ballast(car: WeighedCar, *pieces: Ballast) -> WeighedCar:
    """Return the car with ballast added (or removed, where a mass is negative).

    Force and moment balance, exact for the assumptions of this module. ValueError when a corner would come off its pad
    or when more is taken out than the car weighs.
    """
    for piece in pieces:
        car = _with_piece(car, piece)
    return car


def _with_piece(car: WeighedCar, piece: Ballast) -> WeighedCar:
    footprint, corners = car.footprint, car.corners
    total = corners.total + piece.mass
    if total <= 0.0:
        raise ValueError(f"taking {-piece.mass:g} kg out of a car of {corners.total:g} kg leaves nothing")
    front = 0.5 * piece.mass * piece.x / footprint.wheelbase
    rear = 0.5 * piece.mass - front
    moment = piece.mass * piece.y
    front_across = moment * footprint.front_roll_share / footprint.front_track
    rear_across = moment * (1.0 - footprint.front_roll_share) / footprint.rear_track
    changes = (front + front_across, front - front_across, rear + rear_across, rear - rear_across)
    after = [weight + change for weight, change in zip(corners.each, changes, strict=True)]
    for name, weight in zip(CORNERS, after, strict=True):
        if weight < 0.0:
            raise ValueError(
                f"{piece.mass:g} kg at x {piece.x:g} m, y {piece.y:g} m would lift the {name} tyre off the ground"
            )
    height = None
    if car.height is not None and piece.z is not None:
        height = (car.height * corners.total + piece.z * piece.mass) / total
    elif piece.mass == 0.0:
        height = car.height
    return WeighedCar(CornerWeights(*after), footprint, height)
