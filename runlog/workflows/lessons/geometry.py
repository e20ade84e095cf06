"""What link holes and ballast act through: anti-squat, and the car's mass with its moment, from the car file.

The crew speaks in holes and pounds; the regression learns what the geometry is worth, so that one hole teaches of
another, and one car of another whose holes are elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from runlog.learning import Lever, Settings, Shared
from runlog.learning.priors import anti_squat_term
from runlog.learning.shared import Linear, join
from runlog.physics.atmosphere import STANDARD_AIR
from runlog.physics.link_holes import PLACES, anti_squat_at, instant_centre_at
from runlog.physics.longitudinal import simulate
from runlog.physics.what_if import with_ballast
from runlog.units import unit_of
from runlog.workflows.chassis.as_set import bracket
from runlog.workflows.chassis.weights import is_ballast
from runlog.workflows.lessons.expected import DOUBT
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.physics.vehicle import Vehicle
    from runlog.records import Adjustable, Car, FloatArray

_BOUNDS: Final = (-1.0, 4.0)
"""anti-squat is held within these: beyond, the line to the instant centre is nearly upright and its slope says little.
Common practice, no source"""
_LEAST_WORTH: Final = 1e-4
"""[s] least sd of what one per cent of ballast is worth. Common practice, no source"""
MASS, MOMENT = "weight added", "weight moved forward"
"""names of what ballast does: in per cent of the race weight, and of race weight times wheelbase"""


def with_shared(car: Car, vehicle: Vehicle | None, levers: Sequence[Lever], start: Mapping[str, float]
                ) -> tuple[tuple[Lever, ...], Shared | None, AntiSquat | None]:  # fmt: skip
    """Return a car's levers, those that act through something shared with what is their own, what is shared, and links.

    ``start``: the adjustables' values that steps are counted from, as far as known. An adjustable whose effect the car
    file expects keeps that expectation and shares nothing.
    """
    made = list(levers)
    links, ballast = _links(car, made, start), _ballast(car, vehicle, made)
    held = [] if links is None else [Shared((anti_squat_term(),), links)]
    return tuple(made), join(held if ballast is None else [*held, ballast]), links


def geometry_part(
    links: AntiSquat | None, lever: int, change: tuple[float, float], levers: int
) -> dict[str, Any] | None:
    """Return instant centre [m] and anti-squat before and after one lever is moved, the others at the baseline.

    None for a lever that moves no link; a figure is None where the links give none.
    """
    if links is None or not links.sets(lever):
        return None
    settings = np.zeros((2, levers))
    settings[:, lever] = change
    corners = links.corners(settings)
    centre = instant_centre_at(corners)
    share = 100.0 * anti_squat_at(corners, links.height, links.wheelbase)
    figures = {"instant_centre_x_m": centre[:, 0], "instant_centre_z_m": centre[:, 1], "anti_squat_pct": share}
    return {
        name: dict(zip(("from", "to"), (rounded(float(v), 5) if np.isfinite(v) else None for v in pair), strict=True))
        for name, pair in figures.items()
    }


# --- link holes -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Pivot:
    """A pivot of the side view: the holes of a bracket, of each side where they are apart."""

    levers: tuple[int, ...]
    """positions among the car's adjustables, one or one a side; −1: as at the start"""
    starts: tuple[float, ...]
    """the positions of the holes at the start"""
    steps: tuple[float, ...]
    """holes that a step moves"""
    points: tuple[FloatArray, ...]
    """(holes, 2) [m]"""

    def at(self, settings: FloatArray) -> FloatArray:
        """Return the pivot (…, 2) [m], between the sides."""
        sides = []
        for lever, start, step, points in zip(self.levers, self.starts, self.steps, self.points, strict=True):
            place = np.full(settings.shape[:-1], start) if lever < 0 else start + step * settings[..., lever]
            sides.append(np.stack([np.interp(place, np.arange(len(points)), axis) for axis in points.T], axis=-1))
        middle: FloatArray = np.mean(sides, axis=0)
        return middle


@dataclass(frozen=True, eq=False)
class AntiSquat:
    """Anti-squat [usual steps] over that of the start, by the holes in use."""

    pivots: tuple[_Pivot, ...]
    height: float
    wheelbase: float
    step: float
    start: float = 0.0

    def corners(self, settings: FloatArray) -> FloatArray:
        """Return the pivots (…, 4, 2) [m] of settings (…, P)."""
        return np.stack([pivot.at(settings) for pivot in self.pivots], axis=-2)

    def share(self, settings: FloatArray) -> FloatArray:
        """Return anti-squat (…,), 1 = 100 %, within bounds; nan where the links can't hold an axle."""
        return np.clip(anti_squat_at(self.corners(settings), self.height, self.wheelbase), *_BOUNDS)

    def sets(self, lever: int) -> bool:
        """Tell whether a lever moves one of the pivots."""
        return any(lever in pivot.levers for pivot in self.pivots)

    def __call__(self, settings: FloatArray) -> FloatArray:
        """Return (…, 1); links that can't hold an axle count as those of the start."""
        steps = (100.0 * self.share(settings) - self.start) / self.step
        return np.nan_to_num(steps, nan=0.0)[..., None]


def _links(car: Car, levers: list[Lever], start: Mapping[str, float]) -> AntiSquat | None:
    """Return anti-squat as what the four brackets' holes share, and narrow their levers to what is their own."""
    height, suspension = car.centre_of_gravity_height, car.rear_suspension
    if height is None or (suspension is not None and suspension.layout != "four-link"):
        return None
    pivots = [_pivot(car, levers, place, start) for place in PLACES]
    known = [pivot for pivot in pivots if pivot is not None]
    used = {lever for pivot in known for lever in pivot.levers if lever >= 0}
    if len(known) < len(PLACES) or not used:
        return None
    amounts = AntiSquat(tuple(known), height, car.wheelbase, anti_squat_term().step)
    now = float(amounts.share(np.zeros(len(levers))))
    if not np.isfinite(now):
        return None
    for lever in used:
        levers[lever] = replace(levers[lever], sd=Settings().own_share * levers[lever].sd)
    return replace(amounts, start=100.0 * now)


def _pivot(car: Car, levers: Sequence[Lever], place: str, start: Mapping[str, float]) -> _Pivot | None:
    """Return a bracket's pivot; None where a hole's place or the hole in use isn't known."""
    sides = [bracket(car, place, side) for side in ("left", "right")]
    found: list[tuple[int, float, float, FloatArray]] = []
    for item in dict.fromkeys(sides):
        if item is None or not item.holes or (item.name not in start and len(item.holes) > 1):
            return None
        points = np.array([(hole.x, hole.z) for hole in item.holes], dtype=float)
        if not np.isfinite(points).all():
            return None
        lever = car.adjustables.index(item)
        shares = levers[lever].origin == "default"
        found.append((lever if shares else -1, start.get(item.name, 0.0), item.step, points))
    return _Pivot(*zip(*found, strict=True))


# --- ballast ----------------------------------------------------------------------------------------------------------


def _ballast(car: Car, vehicle: Vehicle | None, levers: list[Lever]) -> Shared | None:
    """Return mass and moment as what all ballast shares, and narrow its levers to what is their own.

    Worth by the longitudinal model: one per cent more mass over the rear axle, and one per cent moved to the front.
    """
    mounts = [n for n, item in enumerate(car.adjustables) if is_ballast(item) and levers[n].origin == "physics"]
    if vehicle is None or not mounts:
        return None
    one = 0.01 * car.race_mass
    height = 0.3 if vehicle.stance is None else float(vehicle.stance.height)
    heavy = with_ballast(vehicle, one, 0.0, height)
    plain, added, forward = (
        simulate(made, STANDARD_AIR).increments
        for made in (vehicle, heavy, with_ballast(vehicle, one, car.wheelbase, height))
    )
    worth = (added - plain, forward - added)
    if not all(np.isfinite(mean).all() for mean in worth):
        return None
    means = np.array(worth)
    sds = np.maximum(DOUBT * np.abs(means), _LEAST_WORTH)
    per_step = np.zeros((len(levers), 2))
    for n in mounts:
        item, lever = car.adjustables[n], levers[n]
        share = unit_of(item.unit).to_si(item.step) / one
        per_step[n] = share, share * _place(car, item) / car.wheelbase
        # own and shared part together are as wide as the lever was
        own = np.sqrt(np.maximum(lever.sd**2 - per_step[n] ** 2 @ sds**2, (Settings().own_share * lever.sd) ** 2))
        levers[n] = replace(lever, mean=lever.mean - per_step[n] @ means, sd=own)
    terms = tuple(
        Lever(name, 1.0, "%", mean, sd, origin="physics")
        for name, mean, sd in zip((MASS, MOMENT), means, sds, strict=True)
    )
    return Shared(terms, Linear(per_step))


def _place(car: Car, item: Adjustable) -> float:
    """Return where ballast sits [m] before the rear axle; by its name where the car file doesn't say."""
    if item.x is not None:
        return item.x
    return 0.0 if "rear" in item.name else car.wheelbase if "front" in item.name else 0.5 * car.wheelbase
