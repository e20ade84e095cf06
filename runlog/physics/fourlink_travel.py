"""How a four-link moves: axle travel with links of fixed length, ride height, and the changes that come with them.

Travel is counted from where the links were measured, positive when the axle rises relative to the body; the same
picture shows a body that sinks over an axle on the ground. Rotations are positive when the nose of the axle housing
(the pinion) turns up. Everything stays in side view, and the body doesn't pitch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from runlog.physics.fourlink import Centre, FourLink, InstantCentre, Link, Point, anti_squat, instant_centre

FloatArray = NDArray[np.float64]

STRIDE: Final = 0.01
"""[m] travel is followed in steps of at most this, so that the solution stays on the branch the car is on"""
_CLOSED: Final = 1e-13
"""[m²] how well the squared link lengths have to be met"""


@dataclass(frozen=True)
class Travelled:
    """Where the axle is after some travel."""

    links: FourLink
    """seen from the moved axle again: x forward of it, z up from the ground"""
    forward: float
    """[m] the axle moved forward relative to the body"""
    rotation: float
    """[rad] nose up positive: the change of the pinion angle relative to the body"""


@dataclass(frozen=True)
class TravelRates:
    """First derivatives by axle travel: forward [m/m] and rotation [rad/m, nose up]."""

    forward: float
    rotation: float


def travel_rates(centre: Centre, axle_height: float) -> TravelRates:
    """Return how the axle starts to move: a rotation about the instant centre.

    With its centre at (0, R) the axle turns by −1/x and moves forward by (R − z)/x for each metre that it rises; with
    parallel links it doesn't turn and moves across their slope. ValueError when the instant centre is in line with the
    axle, where it can't rise at all.
    """
    if isinstance(centre, InstantCentre):
        if abs(centre.x) < 1e-9:
            raise ValueError("the instant centre is in line with the axle: the axle can't rise or fall there")
        return TravelRates((axle_height - centre.z) / centre.x, -1.0 / centre.x)
    return TravelRates(-centre.slope, 0.0)


def lowered(links: FourLink, drop: float) -> FourLink:
    """Return the links with the frame lowered by ``drop`` [m] and the axle left as it was.

    That is a change of ride height after which the links have been set again to the old pinion angle and wheelbase, so
    their lengths change. For links that keep their length see ``travelled``.
    """
    upper, lower = (replace(link, front=(link.front[0], link.front[1] - drop)) for link in (links.upper, links.lower))
    return FourLink(upper, lower)


def axle_turned(links: FourLink, rotation: float, axle_height: float) -> FourLink:
    """Return the links with the axle turned by ``rotation`` [rad, nose up] about its centre and the frame as it was.

    That is a change of pinion angle made by setting the links to other lengths.
    """
    return _seen_from_axle(links, 0.0, 0.0, rotation, axle_height)


def travelled(links: FourLink, travel: float, axle_height: float) -> Travelled:
    """Solve the four-bar: where the axle is after ``travel`` [m] with both links at their lengths.

    ``axle_height`` [m] of the axle's centre, the loaded tyre radius. Newton's method in the axle's rotation and forward
    movement, followed in small steps. ValueError with the travel reached where the links can't follow.
    """
    count = max(1, math.ceil(abs(travel) / STRIDE))
    state = np.zeros(2)
    reached = 0.0
    for n in range(1, count + 1):
        wanted = travel * n / count
        found = _newton(links, wanted, axle_height, state)
        if found is None:
            raise ValueError(
                f"the links can't follow {travel * 1000:.0f} mm of axle travel: "
                f"they reach the end of their movement between {reached * 1000:.0f} and {wanted * 1000:.0f} mm"
            )
        state, reached = found, wanted
    forward, rotation = map(float, state)
    return Travelled(_seen_from_axle(links, forward, travel, rotation, axle_height), forward, rotation)


def _newton(links: FourLink, travel: float, axle_height: float, start: FloatArray) -> FloatArray | None:
    """Return (forward, rotation) that meet both link lengths, or None."""
    state = start.copy()
    centre = np.array([0.0, axle_height])
    for _ in range(30):
        gaps, jacobian = _closure(links, state, travel, centre)
        if float(np.abs(gaps).max()) < _CLOSED:
            return state
        if abs(np.linalg.det(jacobian)) < _CLOSED:
            return None
        step = np.linalg.solve(jacobian, -gaps)
        if not np.all(np.abs(step) < 0.5):
            return None
        state += step
    return None


def _closure(links: FourLink, state: FloatArray, travel: float, centre: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return by how much the squared lengths are missed [m²], and the derivatives by forward movement and rotation."""
    gaps, rows = [], []
    for link in (links.upper, links.lower):
        arm = _turned(np.array(link.rear) - centre, float(state[1]))
        span = centre + np.array((state[0], travel)) + arm - np.array(link.front)
        gaps.append(span @ span - link.length**2)
        rows.append((2 * span[0], 2 * (span[1] * arm[0] - span[0] * arm[1])))
    return np.array(gaps), np.array(rows)


def _turned(vector: FloatArray, angle: float) -> FloatArray:
    cos, sin = math.cos(angle), math.sin(angle)
    return np.array([cos * vector[0] - sin * vector[1], sin * vector[0] + cos * vector[1]])


def _seen_from_axle(links: FourLink, forward: float, travel: float, rotation: float, axle_height: float) -> FourLink:
    centre = np.array([0.0, axle_height])

    def moved(link: Link) -> Link:
        rear = centre + _turned(np.array(link.rear) - centre, rotation)
        front: Point = (link.front[0] - forward, link.front[1] - travel)
        return Link((float(rear[0]), float(rear[1])), front)

    return FourLink(moved(links.upper), moved(links.lower))


def rotation_per_length(links: FourLink, axle_height: float) -> float:
    """Return how the axle turns [rad/m, nose up] for each metre that the upper link is made longer.

    At unchanged ride height, with the lower link at its length. The linear part of the four-bar's closure.
    ValueError when the links can't hold the axle.
    """
    _, jacobian = _closure(links, np.zeros(2), 0.0, np.array([0.0, axle_height]))
    if abs(np.linalg.det(jacobian)) < _CLOSED:
        raise ValueError("the links can't hold the axle in this position: its angle is not determined")
    return float(np.linalg.solve(jacobian, np.array([2 * links.upper.length, 0.0]))[1])


@dataclass(frozen=True)
class Sensitivity:
    """Change of anti-squat (1 = 100 %) for each metre."""

    frame_lowered: float
    """frame lowered, links set again to the old pinion angle"""
    axle_raised: float
    """axle risen relative to the body, links as they are"""


def sensitivity(links: FourLink, height: float, wheelbase: float, axle_height: float) -> Sensitivity:
    """Return how anti-squat changes with ride height and with axle travel.

    ``height`` [m] of the centre of gravity is held: what its own fall with the body adds is left to the caller. Central
    differences over ±0.1 mm of the exact geometry. ValueError as ``instant_centre``, ``anti_squat`` and ``travelled``.
    """
    step = 1e-4

    def share(moved: FourLink) -> float:
        return anti_squat(instant_centre(moved), height, wheelbase)

    lower = share(lowered(links, step)) - share(lowered(links, -step))
    up = share(travelled(links, step, axle_height).links) - share(travelled(links, -step, axle_height).links)
    return Sensitivity(lower / (2 * step), up / (2 * step))
