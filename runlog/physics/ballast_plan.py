"""Which ballast at which mount brings the car to a total and a front share.

Both axle loads are linear in the masses at the mounts, so what the mounts can reach is a convex polygon in the plane of
front and rear load. Inside it as few mounts as possible are touched; from outside its nearest point is taken. Whole
plates are searched through. Nearest means least distance in that plane: a kilogram amiss counts alike on each axle.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from runlog import units
from runlog.physics.ballast import Ballast, add_ballast
from runlog.physics.weights import WeighedCar, check_positive

if TYPE_CHECKING:
    from collections.abc import Iterator

FloatArray = NDArray[np.float64]

MOST_COMBINATIONS: Final = 1_000_000
"""of whole plates that are searched through; half a second"""
FEW: Final = 4
"""mounts up to which the fewest that do it are searched for"""
CAUTIONS: Final = (
    "Fasten ballast as the sanctioning body's rules ask and have it inspected; weigh the car again.",
    "Moving weight changes how the front wheels rise: raise the launch step by step.",
)


@dataclass(frozen=True)
class Mount:
    """A place for ballast. ValueError when the masses can't be."""

    name: str
    maximum: float
    """[kg] it may hold"""
    x: float
    """[m] forward of the rear axle, negative behind it"""
    y: float = 0.0
    """[m] left of the centre line"""
    z: float | None = None
    """[m] above the ground; None: not known"""
    now: float = 0.0
    """[kg] of ballast in it when the car was weighed"""
    step: float = 0.0
    """[kg] of one plate; 0: any mass"""

    def __post_init__(self) -> None:
        check_positive(f"maximum of the mount {self.name!r}", self.maximum)
        if not 0.0 <= self.now <= self.maximum:
            raise ValueError(f"{self.now:g} kg in the mount {self.name!r} can't be: it may hold {self.maximum:g} kg")
        if not 0.0 <= self.step <= self.maximum:
            raise ValueError(f"plates of {self.step:g} kg don't go into the mount {self.name!r} of {self.maximum:g} kg")
        Ballast(self.now, self.x, self.y, self.z)


@dataclass(frozen=True)
class BallastGoal:
    """What the car is to weigh. ValueError when the figures can't be or the total breaks the minimum."""

    total: float
    """[kg] under the conditions of the weighing"""
    front_share: float
    """0…1"""
    minimum: float | None = None
    """[kg] minimum weight of the class; no proposal goes below it where the mounts can help it"""
    tolerance: float = 1e-6
    """[kg] distance of the axle loads that still counts as reached"""

    def __post_init__(self) -> None:
        check_positive("target total", self.total)
        check_positive("tolerance", self.tolerance)
        if not 0.0 <= self.front_share <= 1.0:
            raise ValueError(f"target front share {self.front_share:g} can't be: it lies from 0 to 1")
        if self.minimum is not None and self.total < self.minimum:
            raise ValueError(f"a target of {self.total:g} kg is below the minimum weight of {self.minimum:g} kg")


@dataclass(frozen=True)
class BallastPlan:
    """Ballast proposed and the car it makes."""

    mounts: tuple[Mount, ...]
    masses: tuple[float, ...]
    """[kg] to be in each mount, in the order of ``mounts``"""
    car: WeighedCar
    reached: bool
    """False: the goal can't be reached, this is the nearest to it"""
    goal: BallastGoal

    @property
    def over_minimum(self) -> float | None:
        """[kg] over the minimum weight, negative below it; None where no minimum is given."""
        return None if self.goal.minimum is None else self.car.corners.total - self.goal.minimum

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to show beside the proposal, where it moves anything."""
        return () if all(map(_same, (mount.now for mount in self.mounts), self.masses)) else CAUTIONS

    def describe(self, mass_unit: str = "lb") -> str:
        """Return the proposal in plain words, masses in ``mass_unit``."""
        unit = units.unit_of(mass_unit)

        def shown(mass: float) -> str:
            return f"{unit.from_si(mass):.1f} {mass_unit}"

        corners = self.car.corners
        moves = [
            f"{mount.name} {shown(mount.now)} → {shown(mass)}"
            for mount, mass in zip(self.mounts, self.masses, strict=True)
            if not _same(mount.now, mass)
        ]
        found = f"{shown(corners.total)} with {100 * corners.front_share:.2f} % front"
        text = f"{found}: {', '.join(moves) or 'nothing to move'}"
        if not self.reached:
            text = (
                f"{shown(self.goal.total)} with {100 * self.goal.front_share:.2f} % front can't be reached with these \
mounts; nearest is {text}"
            )
        if self.over_minimum is not None and self.over_minimum < -self.goal.tolerance:
            text += f"; that is {shown(-self.over_minimum)} below the minimum weight"
        return text


@dataclass(frozen=True)
class _Plane:
    """The mounts as the solver sees them: what each adds to (front, rear), and where the target lies [kg]."""

    mounts: tuple[Mount, ...]
    loads: FloatArray
    """(2, n) share of each mount's mass on the front and on the rear axle"""
    bare: FloatArray
    """(2,) axle loads with every mount empty"""
    target: FloatArray
    """(2,)"""
    least: float
    """[kg] of ballast that the minimum weight asks for"""

    @property
    def now(self) -> FloatArray:
        return np.array([mount.now for mount in self.mounts])

    @property
    def full(self) -> FloatArray:
        return np.array([mount.maximum for mount in self.mounts])

    def miss(self, masses: FloatArray) -> float:
        return float(np.hypot(*(self.bare + self.loads @ masses - self.target)))


def plan_ballast(car: WeighedCar, mounts: tuple[Mount, ...], goal: BallastGoal) -> BallastPlan:
    """Return the ballast that reaches a total and a front share, or the nearest that these mounts allow.

    Without plates the answer is exact, touches the fewest mounts that do it (searched up to ``FEW``) and moves least
    mass; of whole plates it is the nearest combination, with the fewest mounts touched among those within tolerance.
    No mount goes over its maximum. ValueError: no mounts, plates on some only, or more than ``MOST_COMBINATIONS``.
    """
    if not mounts:
        raise ValueError("no mounts given: ballast needs at least one place to go")
    plane = _plane_of(car, mounts, goal)
    stepped = [mount.step > 0.0 for mount in mounts]
    if any(stepped) and not all(stepped):
        raise ValueError("give every mount a plate size or none: a mixture is not solved")
    if plane.miss(plane.now) <= goal.tolerance and plane.now.sum() >= plane.least - goal.tolerance:
        masses = plane.now
    elif all(stepped):
        masses = _best_plates(plane, goal.tolerance)
    else:
        masses = _best_masses(plane)
    pieces = (
        Ballast(float(mass) - mount.now, mount.x, mount.y, mount.z)
        for mount, mass in zip(mounts, masses, strict=True)
        if not _same(mount.now, float(mass))
    )
    return BallastPlan(
        mounts=mounts,
        masses=tuple(masses.tolist()),
        car=add_ballast(car, *pieces),
        reached=plane.miss(masses) <= goal.tolerance,
        goal=goal,
    )


def _plane_of(car: WeighedCar, mounts: tuple[Mount, ...], goal: BallastGoal) -> _Plane:
    forward = np.array([mount.x for mount in mounts]) / car.footprint.wheelbase
    loads = np.array([forward, 1.0 - forward])
    now = np.array([mount.now for mount in mounts])
    bare = np.array([car.corners.front, car.corners.rear]) - loads @ now
    target = goal.total * np.array([goal.front_share, 1.0 - goal.front_share])
    least = 0.0 if goal.minimum is None else max(goal.minimum - float(bare.sum()), 0.0)
    return _Plane(mounts, loads, bare, target, least)


# --- any mass ---------------------------------------------------------------------------------------------------------


def _best_masses(plane: _Plane) -> FloatArray:
    few = _with_few_mounts(plane)
    if few is not None:
        return few
    total = float(plane.target.sum() - plane.bare.sum())
    full = float(plane.full.sum())
    if 0.0 <= total <= full:
        nose, tail = (_filled(plane, total, reverse) for reverse in (True, False))
        most, least, wanted = ((plane.loads @ nose)[0], (plane.loads @ tail)[0], plane.target[0] - plane.bare[0])
        if least < wanted < most:
            part = float((wanted - least) / (most - least))
            return np.asarray(tail + (nose - tail) * part, dtype=np.float64)
    return _nearest(plane)


def _with_few_mounts(plane: _Plane) -> FloatArray | None:
    """Return the exact answer that touches fewest mounts and moves least mass; None when ``FEW`` mounts can't do it.

    Two conditions leave two masses free, so of more mounts touched the others can be empty or full.
    """
    for touched in range(1, min(FEW, len(plane.mounts)) + 1):
        found: list[tuple[tuple[float, float], FloatArray]] = []
        for free, start in _starts(plane, touched):
            missing = plane.target - plane.bare - plane.loads @ start
            masses = start.copy()
            masses[free] += np.linalg.lstsq(plane.loads[:, free], missing, rcond=None)[0]
            masses[np.abs(masses) < 1e-9] = 0.0
            inside = np.all(masses >= 0.0) and np.all(masses <= plane.full + 1e-9)
            if inside and plane.miss(masses) < 1e-7:
                moved = round(float(np.abs(masses - plane.now).sum()), 6)
                found.append(((moved, _height_moment(plane, masses)), masses))
        if found:
            return min(found, key=lambda pair: pair[0])[1]
    return None


def _starts(plane: _Plane, touched: int) -> Iterator[tuple[list[int], FloatArray]]:
    """Yield every choice of the (at most two) mounts left free, with the others touched empty or full."""
    for chosen in itertools.combinations(range(len(plane.mounts)), touched):
        for free in itertools.combinations(chosen, min(touched, 2)):
            bound = [index for index in chosen if index not in free]
            for ends in itertools.product((0.0, 1.0), repeat=len(bound)):
                start = plane.now
                start[bound] = np.array(ends) * plane.full[bound]
                yield list(free), start


def _height_moment(plane: _Plane, masses: FloatArray) -> float:
    """Return mass times height of the ballast [kg·m], where every height is known: of equal answers take the lowest."""
    heights = [mount.z for mount in plane.mounts]
    return math.fsum(mass * z for mass, z in zip(masses, heights, strict=True) if z is not None)


def _filled(plane: _Plane, total: float, from_nose: bool) -> FloatArray:
    """Return masses that sum to ``total`` [kg], filling mount after mount from the nose or from the tail."""
    masses = np.zeros(len(plane.mounts))
    for index in sorted(range(len(masses)), key=lambda i: plane.mounts[i].x, reverse=from_nose):
        masses[index] = min(max(total, 0.0), plane.full[index])
        total -= masses[index]
    return masses


def _nearest(plane: _Plane) -> FloatArray:
    """Return the masses on the border of what can be reached whose axle loads are nearest to the target.

    The border at the minimum weight itself needs no look: a target isn't lighter, so what is nearest to it lies on the
    sides or at their ends.
    """
    low = min(plane.least, float(plane.full.sum()))
    best, distance = plane.full, math.inf
    chains = [_chain(plane, low, from_nose) for from_nose in (True, False)]
    sides = [pair for chain in chains for pair in itertools.pairwise(chain)]
    for start, end in sides:
        along = plane.loads @ (end - start)
        away = plane.target - plane.bare - plane.loads @ start
        length = float(along @ along)
        part = min(max(float(along @ away) / length, 0.0), 1.0) if length > 0.0 else 0.0
        masses: FloatArray = start + part * (end - start)
        if plane.miss(masses) < distance:
            best, distance = masses, plane.miss(masses)
    return best


def _chain(plane: _Plane, low: float, from_nose: bool) -> list[FloatArray]:
    """Return corner after corner of the reachable polygon from ``low`` kg of ballast up to every mount full."""
    order = sorted(range(len(plane.mounts)), key=lambda i: plane.mounts[i].x, reverse=from_nose)
    totals = np.cumsum(plane.full[order])
    return [_filled(plane, total, from_nose) for total in (low, *totals[totals > low].tolist())]


# --- whole plates -----------------------------------------------------------------------------------------------------


def _best_plates(plane: _Plane, tolerance: float) -> FloatArray:
    choices = [_choices(mount) for mount in plane.mounts]
    shape = tuple(len(choice) for choice in choices)
    if math.prod(shape) > MOST_COMBINATIONS:
        raise ValueError(
            f"{math.prod(shape)} combinations of plates are too many to search: use fewer mounts or larger plates"
        )
    grid = np.stack([axis.ravel() for axis in np.meshgrid(*choices, indexing="ij")])
    misses = np.hypot(*(plane.bare[:, None] + plane.loads @ grid - plane.target[:, None]))
    legal = grid.sum(axis=0) >= plane.least - 1e-9
    if legal.any():
        grid, misses = grid[:, legal], misses[legal]
    changes = np.abs(grid - plane.now[:, None])
    touched = (changes > 1e-9).sum(axis=0)
    moved = changes.sum(axis=0)
    beyond = np.round(np.maximum(misses - tolerance, 0.0), 6)
    best = int(np.lexsort((misses, moved, touched, beyond))[0])
    return np.asarray(grid[:, best], dtype=np.float64)


def _choices(mount: Mount) -> FloatArray:
    """Return the masses a mount can hold: whole plates, and what is in it now."""
    plates = [mount.step * count for count in range(math.floor(mount.maximum / mount.step + 1e-9) + 1)]
    other = [] if any(_same(mass, mount.now) for mass in plates) else [mount.now]
    return np.array([*plates, *other])


def _same(one: float, other: float) -> bool:
    return abs(one - other) < 1e-9
