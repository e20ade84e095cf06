"""Height of the centre of gravity from weighing the car with one axle raised, after the method of ISO 10392:2011 § 6.2.

The suspension is locked, the fuel tank full or empty, the wheels are free to turn. One axle stays on the scales, the
other is raised in several steps; the load on the scales grows with the tangent of the angle φ of the line through the
wheel centres, and the slope of a straight fit gives the height:

    W_low = W [a_far/D + (n/D) tan φ],    h = R + n   for axles with the same tyre radius R

with total W, distance D between the wheel centres, a_far from the raised axle to the centre of gravity and n its height
over the line of the wheel centres (R. N. Jazar, *Vehicle Dynamics* (2008) eq. 2.32, one step of it). The angle follows
from the lift H: tan φ = H/√(L² − H²), not H/L. Unequal tyres tilt that line from the beginning, which is allowed for.
ISO 10392 says a few per cent for the accuracy of the method.

A car with one axle in the air can roll off or fall: secure the raised axle, keep people from under the car, and lift no
higher than its maker and the lifting gear allow.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from runlog.physics.weights import check_positive

FloatArray = NDArray[np.float64]

LEAST_STEPS: Final = 3
"""lift steps that ISO 10392:2011 § 6.2 asks for"""


@dataclass(frozen=True)
class RaisedAxle:
    """Weighings with one axle raised. ValueError where the figures can't be."""

    raised: str
    """``front`` or ``rear``"""
    total: float
    """[kg]"""
    wheelbase: float
    """[m] between the axles, car level"""
    front_radius: float
    """[m] from the ground to the wheel centre, loaded"""
    rear_radius: float
    """[m]"""
    lifts: tuple[float, ...]
    """[m] rise of the raised wheels' centres over the level car; the level weighing itself is a lift of 0"""
    loads: tuple[float, ...]
    """[kg] on the other axle, one for each lift"""
    resolution: float = 0.0
    """[kg] step of the display of each pad"""
    lift_sd: float = 0.0
    """[m] standard uncertainty of each lift but 0"""
    radius_sd: float = 0.0
    """[m] standard uncertainty of the tyre radii, taken as common to both"""

    def __post_init__(self) -> None:
        if self.raised not in ("front", "rear"):
            raise ValueError(f"raised axle {self.raised!r} can't be: front or rear")
        for name in ("total", "wheelbase", "front_radius", "rear_radius"):
            check_positive(name.replace("_", " "), getattr(self, name))
        if len(self.lifts) != len(self.loads):
            raise ValueError(f"{len(self.lifts)} lifts and {len(self.loads)} loads: each lift needs its load")
        if len(set(self.lifts)) < 2:
            raise ValueError("at least two different lifts are needed, level and raised")
        for lift in self.lifts:
            if not 0.0 <= lift < 0.9 * self.wheelbase - abs(self.front_radius - self.rear_radius):
                raise ValueError(f"lift {lift:g} m can't be, with a wheelbase of {self.wheelbase:g} m")
        for load in self.loads:
            if not 0.0 < load < self.total:
                raise ValueError(f"{load:g} kg on one axle can't be, of {self.total:g} kg in total")
        if min(self.resolution, self.lift_sd, self.radius_sd) < 0.0:
            raise ValueError("resolution and standard uncertainties are zero or more")


@dataclass(frozen=True)
class HeightFit:
    """The centre of gravity found from one raised axle, or from both ends combined."""

    height: float
    """[m] over the ground, car level"""
    standard_uncertainty: float
    """[m] of the height; where scatter dominates, an interval takes Student's t for ``degrees_of_freedom``"""
    x: float
    """[m] forward of the rear axle, car level"""
    degrees_of_freedom: int
    """lifts weighed less the two fitted; 0: the scatter couldn't be seen"""
    residuals: tuple[float, ...]
    """[kg] load less fitted load; a bow in them says that the suspension moved or a tyre gave way"""
    cautions: tuple[str, ...] = ()


def height_from_raised_axle(weighing: RaisedAxle) -> HeightFit:
    """Return the height of the centre of gravity with its standard uncertainty (JCGM 100:2008 § 5.1, first order).

    Least squares of load on tan φ, all weighings alike. Each axle load counts with the larger of the scatter about the
    line and of what the display allows (two pads of step q: q/√6); lifts, total and radii add theirs. What scatter and
    lift uncertainty share is counted twice, on the safe side. ValueError when the height would be below ground.
    """
    loads, lifts = np.array(weighing.loads), np.array(weighing.lifts)
    height, x, residuals = _solve(weighing)
    freedom = len(loads) - 2
    load_sd = weighing.resolution / math.sqrt(6.0)
    if freedom > 0:
        load_sd = max(load_sd, math.sqrt(float(residuals @ residuals) / freedom))
    total_sd = weighing.resolution / math.sqrt(3.0)

    inputs = [("loads", i, load_sd) for i in range(len(loads))]
    inputs += [("lifts", i, weighing.lift_sd) for i in range(len(lifts)) if lifts[i] > 0.0]
    inputs += [("total", 0, total_sd), ("radii", 0, weighing.radius_sd)]
    parts = [sd * _sensitivity(weighing, name, index) for name, index, sd in inputs]
    steps = len({lift for lift in weighing.lifts if lift > 0.0})
    few = f"{steps} lift step{'s' if steps > 1 else ''} where ISO 10392 asks for {LEAST_STEPS} or more"
    return HeightFit(
        height=height,
        standard_uncertainty=math.hypot(*parts),
        x=x,
        degrees_of_freedom=freedom,
        residuals=tuple(residuals.tolist()),
        cautions=(few,) if steps < LEAST_STEPS else (),
    )


def combine_ends(first: HeightFit, second: HeightFit) -> HeightFit:
    """Return the mean of two heights, one from each end raised, weighted with their uncertainties.

    When the two lie further apart than twice the uncertainty of their difference, the result is their plain mean, says
    so, and its uncertainty is half their distance at least.
    """
    apart, spread = (
        abs(first.height - second.height),
        math.hypot(first.standard_uncertainty, second.standard_uncertainty),
    )
    weight, uncertainty = 0.5, 0.5 * spread
    disagree: tuple[str, ...] = ()
    if apart > 2.0 * spread:
        uncertainty = max(uncertainty, 0.5 * apart)
        disagree = (f"the two ends differ by {1000 * apart:.0f} mm, more than their uncertainties explain",)
    elif spread > 0.0:
        weight = (second.standard_uncertainty / spread) ** 2
        uncertainty = first.standard_uncertainty * second.standard_uncertainty / spread
    return HeightFit(
        height=weight * first.height + (1.0 - weight) * second.height,
        standard_uncertainty=uncertainty,
        x=weight * first.x + (1.0 - weight) * second.x,
        degrees_of_freedom=min(first.degrees_of_freedom, second.degrees_of_freedom),
        residuals=first.residuals + second.residuals,
        cautions=tuple(dict.fromkeys((*first.cautions, *second.cautions, *disagree))),
    )


def _solve(weighing: RaisedAxle) -> tuple[float, float, FloatArray]:
    """Return height [m], x [m] and the residuals [kg] of the straight fit."""
    step = weighing.front_radius - weighing.rear_radius
    apart = math.hypot(weighing.wheelbase, step)
    up = 1.0 if weighing.raised == "front" else -1.0
    tangent = np.tan(np.arcsin((step + up * np.array(weighing.lifts)) / apart)) * up
    loads = np.array(weighing.loads)
    centred = tangent - tangent.mean()
    slope = float(centred @ loads) / float(centred @ centred)
    intercept = float(loads.mean() - slope * tangent.mean())
    above = slope * apart / weighing.total
    low_share = intercept / weighing.total
    along = apart * (1.0 - low_share if up > 0.0 else low_share)
    sine, cosine = step / apart, weighing.wheelbase / apart
    height = weighing.rear_radius + along * sine + above * cosine
    if height <= 0.0:
        raise ValueError(
            f"the loads put the centre of gravity {height:.3f} m above ground, which can't be: "
            f"check that the {weighing.raised} axle was the raised one and the other on the scales"
        )
    return height, along * cosine - above * sine, loads - intercept - slope * tangent


def _sensitivity(weighing: RaisedAxle, name: str, index: int, change: float = 1e-4) -> float:
    """Return the derivative of the height with respect to one input."""
    up, down = (_solve(_nudged(weighing, name, index, by))[0] for by in (change, -change))
    return (up - down) / (2.0 * change)


def _nudged(weighing: RaisedAxle, name: str, index: int, change: float) -> RaisedAxle:
    if name == "total":
        return replace(weighing, total=weighing.total + change)
    if name == "radii":
        front, rear = weighing.front_radius + change, weighing.rear_radius + change
        return replace(weighing, front_radius=front, rear_radius=rear)
    values = list(weighing.loads if name == "loads" else weighing.lifts)
    values[index] += change
    return replace(weighing, loads=tuple(values)) if name == "loads" else replace(weighing, lifts=tuple(values))
