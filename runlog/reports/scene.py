"""What the side view shows, in metres: the same for the terminal and for the drawing in a file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

Point = tuple[float, float]
Segment = tuple[Point, Point]


@dataclass(frozen=True)
class Scene:
    """Links, marks and lines; x forward of the rear axle, z up from the ground [m]."""

    wheelbase: float
    axle: Point
    links: tuple[Segment, ...]
    supposed_links: tuple[Segment, ...]
    other_holes: tuple[Point, ...]
    combination_centres: tuple[Point, ...]
    """instant centres of all allowed combinations of holes, where they are listed"""
    centre: Point | None
    supposed_centre: Point | None
    squat_line: Segment | None
    """from the contact patch through the instant centre to the front axle"""
    supposed_line: Segment | None
    neutral_line: Segment | None
    """the same for 100 %: to the height of the centre of gravity over the front axle"""
    gravity: Point | None

    @property
    def left(self) -> float:
        """[m] where the view ends behind the axle."""
        return min(-0.15, *(x - 0.05 for x, _ in self._points()))

    @property
    def right(self) -> float:
        """[m] where the view ends in front."""
        return max(self.wheelbase + 0.1, *(x + 0.1 for x, _ in self._points()))

    @property
    def top(self) -> float:
        """[m] where the view ends above."""
        return max(0.5, *(z + 0.04 for _, z in self._points()))

    @property
    def bottom(self) -> float:
        """[m] where the view ends below; the ground at the highest."""
        lowest = min(z for _, z in self._points())
        return lowest - 0.04 if lowest < 0 else 0.0

    def within(self, point: Point | None) -> bool:
        """Tell whether an instant centre is near enough to be drawn."""
        return point is not None and -0.6 < point[0] / self.wheelbase < 1.4 and -0.3 < point[1] < 1.2

    def _points(self) -> list[Point]:
        pivots = [point for link in (*self.links, *self.supposed_links) for point in link]
        every = (self.centre, self.supposed_centre, *self.combination_centres)
        centres = [point for point in every if point is not None and self.within(point)]
        ends = [line[1] for line in (self.squat_line, self.supposed_line, self.neutral_line) if line is not None]
        ends = [(x, min(max(z, -0.2), 1.2)) for x, z in ends]
        return [(0.0, 0.0), self.axle, *pivots, *self.other_holes, *centres, *ends]


def scene(page: Mapping[str, Any]) -> Scene:
    """Return what a chassis page has to show."""
    wheelbase = page["wheelbase_m"]
    after = page["suppose"]
    gravity = page["centre_of_gravity_m"]
    height = gravity["z"]
    return Scene(
        wheelbase=wheelbase,
        axle=(0.0, page["axle_height_m"]),
        links=_links(page),
        supposed_links=tuple(link for link in _links(after) if link not in _links(page)) if after else (),
        other_holes=tuple(
            (hole["x_m"], hole["z_m"])
            for bracket in page["holes"]
            for hole in bracket["others"]
            if hole["x_m"] is not None and hole["z_m"] is not None
        ),
        combination_centres=tuple(
            point for row in page["combinations"] or () if (point := _point(row["instant_centre"])) is not None
        ),
        centre=_point(page["instant_centre"]),
        supposed_centre=_point(after["instant_centre"]) if after else None,
        squat_line=_line(page),
        supposed_line=_line(after) if after else None,
        neutral_line=((0.0, 0.0), (wheelbase, height)) if height is not None else None,
        gravity=None if gravity["x"] is None or height is None else (gravity["x"], height),
    )


def _links(page: Mapping[str, Any]) -> tuple[Segment, ...]:
    return tuple(
        ((link["rear"]["x_m"], link["rear"]["z_m"]), (link["front"]["x_m"], link["front"]["z_m"]))
        for link in page["links"]
    )


def _point(centre: Mapping[str, Any]) -> Point | None:
    return None if centre["x_m"] is None else (centre["x_m"], centre["z_m"])


def _line(page: Mapping[str, Any]) -> Segment | None:
    height = page["line_height_at_front_axle_m"]
    return None if height is None else ((0.0, 0.0), (page["wheelbase_m"], height))
