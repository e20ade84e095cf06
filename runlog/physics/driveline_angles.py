"""Angles of the driveshaft's joints in side view.

Every axis is given by its inclination [rad], positive when its front end is the higher one: an engine that sits nose
up is positive, a pinion that points up is positive, a driveshaft that runs down to the axle is positive. What a plan
view would add is left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class DrivelineAngles:
    """The angles [rad] at both ends of a driveshaft."""

    driveshaft: float
    """inclination, positive when the front end is higher"""
    front_joint: float
    """working angle between transmission and driveshaft, never negative"""
    rear_joint: float
    """working angle between driveshaft and pinion, never negative"""
    pinion_to_driveshaft: float
    """the trade's pinion angle: pinion less driveshaft, negative when the pinion's nose is down to the driveshaft"""

    @property
    def residual(self) -> float:
        """[rad] angle of one joint that would give the same unevenness as both, their forks in line.

        √|β₁² − β₂²| for small angles in one plane; zero when both working angles are alike. From memory of the theory
        of the universal joint, where the speed varies between cos β and 1/cos β.
        """
        return math.sqrt(abs(self.front_joint**2 - self.rear_joint**2))


def driveshaft_inclination(length: float, front_higher_by: float) -> float:
    """Return a driveshaft's inclination [rad] from its length between the joints and how much higher its front is [m].

    ValueError when the length isn't above zero or the height is more than the length.
    """
    if not length > 0:
        raise ValueError(f"driveshaft length {length:g} m must be above zero")
    if abs(front_higher_by) > length:
        raise ValueError(f"a driveshaft {length:g} m long can't differ by {front_higher_by:g} m in height")
    return math.asin(front_higher_by / length)


def driveline_angles(transmission: float, pinion: float, driveshaft: float) -> DrivelineAngles:
    """Return the joint angles from the inclinations [rad] of transmission output, pinion and driveshaft."""
    return DrivelineAngles(
        driveshaft=driveshaft,
        front_joint=abs(transmission - driveshaft),
        rear_joint=abs(pinion - driveshaft),
        pinion_to_driveshaft=pinion - driveshaft,
    )
