"""The side view on the terminal, in plain characters: links, instant centre and the line of anti-squat."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.reports.scene import scene
from runlog.reports.shown import length

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.reports.scene import Point, Scene, Segment

WIDTH, ROWS = 78, 15
LEGEND = (
    "= link  o pivot  ' other hole  X instant centre  . line through X  - 100 %",
    "@ axle  ^ tyres on the ground  G centre of gravity; heights are drawn larger",
)
COMBINATIONS_LEGEND = "+ instant centres of the allowed combinations of holes"
SUPPOSED_LEGEND = "~ supposed links  Y supposed instant centre  , line through Y"


def side_view(page: Mapping[str, Any]) -> list[str]:
    """Return the lines of the side view, front to the right, and in words what lies outside it."""
    shown = scene(page)
    canvas = _Canvas(shown)
    for line, mark in (
        (shown.neutral_line, "-"),
        (shown.supposed_line, ","),
        (shown.squat_line, "."),
    ):
        canvas.segment(line, mark)
    for point in shown.other_holes:
        canvas.dot(point, "'")
    for point in filter(shown.within, shown.combination_centres):
        canvas.dot(point, "+")
    for links, mark in ((shown.supposed_links, "~"), (shown.links, "=")):
        for link in links:
            canvas.segment(link, mark)
    for link in (*shown.supposed_links, *shown.links):
        for pivot in link:
            canvas.dot(pivot, "o")
    canvas.dot(shown.axle, "@")
    canvas.dot(shown.gravity, "G")
    for centre, mark in ((shown.supposed_centre, "Y"), (shown.centre, "X")):
        if shown.within(centre):
            canvas.dot(centre, mark)
    further = [SUPPOSED_LEGEND] if page["suppose"] else []
    further += [COMBINATIONS_LEGEND] if page["combinations"] else []
    return [*canvas.lines(), *LEGEND, *further, *_outside(shown)]


def _outside(shown: Scene) -> list[str]:
    named = (("instant centre", shown.centre), ("supposed instant centre", shown.supposed_centre))
    return [
        f"{name} outside the view, {length(abs(point[0]), 0)} {'ahead of' if point[0] > 0 else 'behind'} the rear axle"
        for name, point in named
        if point is not None and not shown.within(point)
    ]


class _Canvas:
    """A grid of characters over the view; heights are drawn larger than lengths."""

    def __init__(self, shown: Scene) -> None:
        self.left, self.right = shown.left, shown.right
        self.bottom, self.top = shown.bottom, shown.top
        self.grid = [[" "] * WIDTH for _ in range(ROWS)]
        ground = self._place((0.0, 0.0))
        if ground is not None:
            self.grid[ground[1]] = ["_"] * WIDTH
        for x in (0.0, shown.wheelbase):
            self.dot((x, 0.0), "^")

    def _place(self, point: Point) -> tuple[int, int] | None:
        across = (point[0] - self.left) / (self.right - self.left)
        up = (point[1] - self.bottom) / (self.top - self.bottom)
        if not (0 <= across <= 1 and 0 <= up <= 1):
            return None
        return round(across * (WIDTH - 1)), round((1 - up) * (ROWS - 1))

    def dot(self, point: Point | None, mark: str) -> None:
        """Set a mark; nothing outside the view."""
        place = None if point is None else self._place(point)
        if place is not None:
            self.grid[place[1]][place[0]] = mark

    def segment(self, line: Segment | None, mark: str) -> None:
        """Draw a line; the ground under it stays where they meet."""
        if line is None:
            return
        (x0, z0), (x1, z1) = line
        steps = 4 * WIDTH
        for n in range(steps + 1):
            share = n / steps
            point = (x0 + share * (x1 - x0), z0 + share * (z1 - z0))
            place = self._place(point)
            if place is not None and self.grid[place[1]][place[0]] not in "_^":
                self.grid[place[1]][place[0]] = mark

    def lines(self) -> list[str]:
        """Return the rows from the top."""
        return ["".join(row).rstrip() for row in self.grid]
