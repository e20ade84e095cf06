"""A car's chassis as the car file and the setup in force describe it: links, tyres, axle height."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from runlog import units
from runlog.physics.fourlink import FourLink, LadderBar, Layout, Link, Point, TorqueArm
from runlog.physics.fourlink_travel import axle_turned, lowered
from runlog.physics.link_holes import PLACES, links_of
from runlog.records import RearSuspension

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.records import Adjustable, Car, Hole, SheetEntry

LOWER: Final = PLACES[2:]
"""the brackets that a torque arm has too"""


@dataclass(frozen=True)
class Chassis:
    """A car with the setup that is looked at."""

    car: Car
    setup: Mapping[str, SheetEntry]
    """in force, by item; holes by position"""
    weighed_with: Mapping[str, SheetEntry] = field(default_factory=dict)
    """the setup in force when the corner weights were taken"""
    frame_lowered: float = 0.0
    """[m] that the frame at the rear stands lower than the hole coordinates say"""
    axle_turned: float = 0.0
    """[rad] that the pinion points higher than with the hole coordinates"""

    @property
    def suspension(self) -> RearSuspension:
        """What holds the axle; a four-link where the car file doesn't say."""
        return self.car.rear_suspension or RearSuspension()

    @property
    def axle_height(self) -> float:
        """[m] of the rear axle: the loaded radius, else the radius of the tyre's circumference."""
        return self.car.loaded_tyre_radius or self.car.tyre_circumference / (2 * math.pi)

    @property
    def places(self) -> tuple[str, ...]:
        """The brackets whose holes matter in this layout."""
        return {"four-link": PLACES, "torque arm": LOWER}.get(self.suspension.layout, ())

    @property
    def sides(self) -> tuple[str, ...]:
        """``("",)`` when left and right are alike, else ``("left", "right")``."""
        names = {item.name for item in self.car.adjustables}
        apart = any(f"{place} {side}" in names for place in self.places for side in ("left", "right"))
        return ("left", "right") if apart else ("",)

    def number(self, item: str, dimension: str) -> float | None:
        """Return an entry of the setup in SI, or None where it isn't there or has no unit of this dimension."""
        return in_si(self.setup.get(item), dimension)


def in_si(entry: SheetEntry | None, dimension: str) -> float | None:
    """Return the number of a sheet's entry in SI, or None where it isn't one of this dimension."""
    if entry is None or entry.value is None:
        return None
    unit = units.find_unit(entry.unit, dimension)
    return None if unit is None else unit.to_si(entry.value)


@dataclass(frozen=True)
class HoleInUse:
    """A bracket of the car and the hole that is in use."""

    place: str
    side: str
    """``left``, ``right``, or empty for both alike"""
    adjustable: Adjustable | None
    hole: Hole | None

    @property
    def point(self) -> Point | None:
        """(x, z) [m] where they are known."""
        hole = self.hole
        return None if hole is None or hole.x is None or hole.z is None else (hole.x, hole.z)


def bracket(car: Car, place: str, side: str) -> Adjustable | None:
    """Return the adjustable of a bracket: the side's own, else that of both sides."""
    own = car.adjustable(f"{place} {side}") if side else None
    return own or car.adjustable(place)


def hole_in_use(chassis: Chassis, place: str, side: str) -> HoleInUse:
    """Return the hole of a bracket that the setup names; a bracket's only hole needs no setup."""
    adjustable = bracket(chassis.car, place, side)
    if adjustable is None:
        return HoleInUse(place, side, None, None)
    entry = chassis.setup.get(adjustable.name)
    position = entry.value if entry is not None else (0.0 if len(adjustable.holes) == 1 else None)
    known = position is not None and position == int(position) and 0 <= position < len(adjustable.holes)
    hole = adjustable.holes[int(position)] if known and position is not None else None
    return HoleInUse(place, side, adjustable, hole)


def holes_in_use(chassis: Chassis, side: str) -> tuple[HoleInUse, ...]:
    """Return the holes in use on a side, in the order of the brackets."""
    return tuple(hole_in_use(chassis, place, side) for place in chassis.places)


def missing_holes(chassis: Chassis) -> list[str]:
    """Return what the car file or a sheet would have to say for the instant centre to be known."""
    said = []
    for used in (hole for side in chassis.sides for hole in holes_in_use(chassis, side)):
        name = used.adjustable.name if used.adjustable else used.place
        if used.adjustable is None or not used.adjustable.holes:
            said.append(f"car file: an adjustable {name!r} with its holes, for the instant centre")
        elif used.hole is None:
            said.append(f"setup sheet: {name}, for the instant centre")
        elif used.point is None:
            said.append(f"car file: x and z of hole {used.hole.label} of {name}, for the instant centre")
    return list(dict.fromkeys(said))


def layout_on(chassis: Chassis, side: str) -> Layout | None:
    """Return what holds the axle on a side, or None where something isn't known; ValueError for links that can't be."""
    points = [used.point for used in holes_in_use(chassis, side)]
    known = [point for point in points if point is not None]
    return _layout(chassis, known) if len(known) == len(points) else None


def middle_layout(chassis: Chassis) -> Layout | None:
    """Return the layout in the middle of the car: every pivot halfway between left and right."""
    per_side = [[used.point for used in holes_in_use(chassis, side)] for side in chassis.sides]
    middle = []
    for points in zip(*per_side, strict=True):
        known = [point for point in points if point is not None]
        if len(known) < len(points):
            return None
        middle.append(_mean(known))
    return _layout(chassis, middle)


def _mean(points: Sequence[Point]) -> Point:
    return sum(x for x, _ in points) / len(points), sum(z for _, z in points) / len(points)


def _layout(chassis: Chassis, points: Sequence[Point]) -> Layout:
    suspension, drop = chassis.suspension, chassis.frame_lowered
    if suspension.layout == "four-link":
        links = axle_turned(links_of(points), chassis.axle_turned, chassis.axle_height)
        return lowered(links, drop)
    if suspension.pivot_x is None or suspension.pivot_z is None:
        raise ValueError(f"a {suspension.layout} needs pivot_x and pivot_z")
    pivot = (suspension.pivot_x, suspension.pivot_z - drop)
    if suspension.layout == "ladder bar":
        return LadderBar(pivot)
    (front_x, front_z), rear = points
    return TorqueArm(pivot, math.radians(suspension.slide_deg), Link(rear, (front_x, front_z - drop)))


def named_links(layout: Layout) -> tuple[tuple[str, Link], ...]:
    """Return the layout's links by name, for tables and drawings."""
    if isinstance(layout, FourLink):
        return ("upper link", layout.upper), ("lower link", layout.lower)
    if isinstance(layout, TorqueArm):
        return (("lower link", layout.lower),)
    return ()
