"""Left and right links that differ: what that tends to do to the axle. Directions and small numbers, not predictions.

In side view, with rod ends that have no play, a stiff axle, and small movements. Tyres, bushings and the sideways link,
which are left out here, can be worth as much.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from runlog.physics.fourlink import FourLink, InstantCentre, anti_squat, instant_centre
from runlog.physics.fourlink_travel import rotation_per_length

Side = Literal["left", "right"]


@dataclass(frozen=True)
class AxleSteer:
    """What unequal lower links do when both wheels rise alike."""

    per_travel: float
    """[rad/m] of axle travel, positive when the rear wheels come to point to the left as the axle rises"""

    def points(self, travel: float) -> Side | None:
        """Return to which side the rear wheels point after a travel [m], None for neither."""
        steer = self.per_travel * travel
        return None if steer == 0 else "left" if steer > 0 else "right"


@dataclass(frozen=True)
class PreloadTendency:
    """What upper links of unequal adjustment do to a car standing still."""

    loads: Side | None
    """the rear tyre that tends to gain load; None for neither"""
    roll: float
    """[rad] by which axle and body would roll against each other if nothing else held them, always positive"""


def anti_squat_difference(left: FourLink, right: FourLink, height: float, wheelbase: float) -> float:
    """Return left less right anti-squat (1 = 100 %), each side as if the axle were held by its links alone.

    ValueError as ``anti_squat``.
    """
    sides = (anti_squat(instant_centre(side), height, wheelbase) for side in (left, right))
    return next(sides) - next(sides)


def axle_steer(left: FourLink, right: FourLink, track: float) -> AxleSteer:
    """Return how the axle tends to steer when both wheels rise alike, ``track`` [m] apart (above zero, ValueError).

    Each lower link swings its end of the axle forward by minus its slope for each metre of rise. Where the left end
    goes further forward than the right one, the wheels point to the right. The lower links are taken to place the axle
    and the upper ones only to hold its rotation.
    """
    if not track > 0:
        raise ValueError(f"track {track:g} m must be above zero")
    slopes = [_slope(side) for side in (left, right)]
    return AxleSteer((slopes[0] - slopes[1]) / track)


def _slope(side: FourLink) -> float:
    run = side.lower.front[0] - side.lower.rear[0]
    if abs(run) < 1e-9:
        raise ValueError("a lower link that is upright can't place the axle")
    return (side.lower.front[1] - side.lower.rear[1]) / run


def preload_tendency(links: FourLink, right_longer: float, track: float, axle_height: float) -> PreloadTendency:
    """Return what a right upper link ``right_longer`` [m] longer than the left one (negative: shorter) tends to do.

    Counted from where both links go in without force. A longer upper link asks for more nose-up rotation on its side;
    on a stiff axle both sides share it, and each side makes up the rest by travel, 1/x_ic of rotation a metre. With
    the instant centre ahead, the shorter upper link therefore loads its own rear tyre: it is stretched standing still
    as drive torque stretches it at launch. With parallel links no travel makes up for it: the links bind, and
    ValueError says so, as it does for a ``track`` [m] that isn't above zero.
    """
    if not track > 0:
        raise ValueError(f"track {track:g} m must be above zero")
    centre = instant_centre(links)
    if not isinstance(centre, InstantCentre):
        raise ValueError("with parallel links an upper link of another length only binds: no preload can be told")
    roll = rotation_per_length(links, axle_height) * right_longer * centre.x / track
    if roll == 0:
        return PreloadTendency(None, 0.0)
    return PreloadTendency("left" if roll > 0 else "right", abs(roll))
