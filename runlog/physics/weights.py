"""Corner weights: totals, shares, the centre of gravity in plan, and the car as it stands on the scales.

Axes: x forward of the rear axle, y to the left of the centre line, z up from the ground. Scale readings are masses
[kg], as scales show them. The car stands level on four pads, its tyres half a track from the centre line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

CORNERS: Final = ("left front", "right front", "left rear", "right rear")
"""in the order in which every list of four goes"""


@dataclass(frozen=True)
class CornerWeights:
    """The four scale readings [kg]. ValueError when one is negative or not a number, or when all are zero."""

    left_front: float
    right_front: float
    left_rear: float
    right_rear: float

    def __post_init__(self) -> None:
        for name, value in zip(CORNERS, self.each, strict=True):
            if not math.isfinite(value) or value < 0.0:
                raise ValueError(f"{name} {value:g} kg can't be: a scale reading is zero or more")
        if self.total <= 0.0:
            raise ValueError("the four corners together weigh nothing")

    @property
    def each(self) -> tuple[float, float, float, float]:
        """The four readings [kg] in the order of ``CORNERS``."""
        return (self.left_front, self.right_front, self.left_rear, self.right_rear)

    @property
    def total(self) -> float:
        """[kg]."""
        return self.left_front + self.right_front + self.left_rear + self.right_rear

    @property
    def front(self) -> float:
        """[kg] on the front axle."""
        return self.left_front + self.right_front

    @property
    def rear(self) -> float:
        """[kg] on the rear axle."""
        return self.left_rear + self.right_rear

    @property
    def front_share(self) -> float:
        """Front axle over total, 0…1."""
        return self.front / self.total

    @property
    def left_share(self) -> float:
        """Left side over total, 0…1."""
        return (self.left_front + self.left_rear) / self.total

    @property
    def cross_share(self) -> float:
        """Cross weight over total, 0…1: right front plus left rear. Which diagonal is meant is usage, no standard."""
        return (self.right_front + self.left_rear) / self.total


@dataclass(frozen=True)
class Footprint:
    """Where the tyres stand, and how roll is shared. ValueError when a length or the share can't be."""

    wheelbase: float
    """[m]"""
    front_track: float
    """[m] between the middles of the two tyres"""
    rear_track: float
    """[m]"""
    front_roll_share: float = 0.5
    """0…1 of the car's roll stiffness (springs, bars and tyres) that the front axle has; 0.5: an assumption, no source.
    Axle loads and the moment about the centre line don't depend on it, the split between the diagonals does."""

    def __post_init__(self) -> None:
        for name in ("wheelbase", "front_track", "rear_track"):
            check_positive(name.replace("_", " "), getattr(self, name))
        if not 0.0 <= self.front_roll_share <= 1.0:
            raise ValueError(f"front share of roll stiffness {self.front_roll_share:g} can't be: it lies from 0 to 1")


@dataclass(frozen=True)
class WeighedCar:
    """A car as it stands on the scales, with the height of its centre of gravity [m] where that is known."""

    corners: CornerWeights
    footprint: Footprint
    height: float | None = None
    """[m] of the centre of gravity; None: not known"""

    def __post_init__(self) -> None:
        if self.height is not None:
            check_positive("height of the centre of gravity", self.height)

    @property
    def place(self) -> tuple[float, float]:
        """(x, y) of the centre of gravity [m]."""
        footprint = self.footprint
        return centre_of_gravity(self.corners, footprint.wheelbase, footprint.front_track, footprint.rear_track)


def centre_of_gravity(
    corners: CornerWeights, wheelbase: float, front_track: float, rear_track: float
) -> tuple[float, float]:
    """Return (x, y) of the centre of gravity [m]: x forward of the rear axle, y left of the centre line.

    Moments of the four readings about the rear axle and about the centre line; exact for a car standing level. Lengths
    in m, ValueError when one isn't positive.
    """
    for name, value in (("wheelbase", wheelbase), ("front track", front_track), ("rear track", rear_track)):
        check_positive(name, value)
    across = (corners.left_front - corners.right_front) * front_track + (
        corners.left_rear - corners.right_rear
    ) * rear_track
    return wheelbase * corners.front_share, 0.5 * across / corners.total


def even_corners(total: float, front_share: float) -> CornerWeights:
    """Return corner weights for a total [kg] and a front share 0…1, left and right alike.

    For a car whose axles are known and whose corners were never scaled: its left share and cross weight are then
    assumed, not measured. ValueError when the figures can't be.
    """
    check_positive("total", total)
    if not 0.0 <= front_share <= 1.0:
        raise ValueError(f"front share {front_share:g} can't be: it lies from 0 to 1")
    front, rear = 0.5 * total * front_share, 0.5 * total * (1.0 - front_share)
    return CornerWeights(front, front, rear, rear)


def check_positive(name: str, value: float) -> None:
    """Raise ValueError when a figure isn't a number above zero."""
    if not math.isfinite(value) or value <= 0.0:
        raise ValueError(f"{name} {value:g} can't be: it must be more than zero")
