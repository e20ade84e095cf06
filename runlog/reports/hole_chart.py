"""Where the allowed combinations of holes put the instant centre, as a chart of plain characters."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from runlog.reports.shown import metric

if TYPE_CHECKING:
    from collections.abc import Mapping

Point = tuple[float, float]

COLUMNS: Final = 66
ROWS: Final = 13
_LEAST_SPAN: Final = 0.05
"""[m] that the chart spans at least each way"""


@dataclass(frozen=True)
class HoleChart:
    """Instant centres (x forward of the rear axle, z up from the ground) [m] and the line of the wanted anti-squat."""

    centres: tuple[Point, ...]
    used: tuple[Point, ...]
    nearest: Point | None
    """of the combination nearest to the target; None where it lies outside"""
    target_pct: float
    target_slope: float
    """height over length of every instant centre that has the target's anti-squat"""
    outside: int
    """combinations whose instant centre is behind the axle, too far away or at infinity"""

    @property
    def span(self) -> tuple[float, float, float, float]:
        """Left, right, bottom and top of the chart [m]."""
        left, right = _widened([x for x, _ in self.centres])
        bottom, top = _widened([z for _, z in self.centres])
        return left, right, bottom, top


def chart_of(page: Mapping[str, Any]) -> HoleChart | None:
    """Return what a chassis page's combinations have to show; None where there is nothing to draw."""
    rows = page["combinations"] or ()
    known = [(row, _centre(row, page["wheelbase_m"])) for row in rows]
    drawn = [(row, point) for row, point in known if point is not None]
    height = page["centre_of_gravity_m"]["z"]
    if not drawn or height is None:
        return None
    return HoleChart(
        centres=tuple(point for _, point in drawn),
        used=tuple(point for row, point in drawn if row["moved"] == 0),
        nearest=known[0][1],
        target_pct=page["target_pct"],
        target_slope=page["target_pct"] / 100 * height / page["wheelbase_m"],
        outside=len(known) - len(drawn),
    )


def _centre(row: Mapping[str, Any], wheelbase: float) -> Point | None:
    x, z = row["instant_centre"]["x_m"], row["instant_centre"]["z_m"]
    return (x, z) if x is not None and 0 < x < 2 * wheelbase and -0.5 < z < 1.5 else None


def _widened(values: list[float]) -> tuple[float, float]:
    low, high = min(values), max(values)
    more = max(0.06 * (high - low), (_LEAST_SPAN - (high - low)) / 2)
    return low - more, high + more


def hole_chart(page: Mapping[str, Any]) -> list[str]:
    """Return the lines of the chart, within 80 columns; none where there is nothing to draw."""
    chart = chart_of(page)
    if chart is None:
        return []
    left, right, bottom, top = chart.span
    grid = [[" "] * COLUMNS for _ in range(ROWS)]

    def mark(point: Point, sign: str) -> None:
        across, up = (point[0] - left) / (right - left), (point[1] - bottom) / (top - bottom)
        if 0 <= across <= 1 and 0 <= up <= 1:
            grid[round((1 - up) * (ROWS - 1))][round(across * (COLUMNS - 1))] = sign

    for step in range(4 * COLUMNS + 1):
        x = left + (right - left) * step / (4 * COLUMNS)
        mark((x, x * chart.target_slope), ".")
    nearest = () if chart.nearest is None else (chart.nearest,)
    for points, sign in ((chart.centres, "+"), (nearest, "N"), (chart.used, "X")):
        for point in points:
            mark(point, sign)
    heights = {0: top, ROWS // 2: (top + bottom) / 2, ROWS - 1: bottom}
    rows = [f"{shown(heights[n]) if n in heights else '':>9} |{''.join(row)}".rstrip() for n, row in enumerate(grid)]
    ends = (shown(left), shown((left + right) / 2), shown(right))
    gap = COLUMNS - sum(map(len, ends))
    axis = ends[0] + " " * (gap // 2) + ends[1] + " " * (gap - gap // 2) + ends[2]
    return ["height of the instant centre", *rows, f"{'':>9} +{'-' * COLUMNS}", f"{'':>11}{axis}", *legend(chart)]


def shown(metres: float) -> str:
    """Return a length with its unit, for the axes."""
    return f"{metres * 1000:.0f} mm" if metric() else f"{metres / 0.0254:.1f} in"


def legend(chart: HoleChart) -> list[str]:
    """Return what the marks mean, and what lies outside."""
    said = ["across: its length ahead of the rear axle; the two scales differ"]
    said.append(
        f"X in use  N nearest to {chart.target_pct:.1f} %  + other combinations  . line of {chart.target_pct:.1f} %"
    )
    if chart.nearest in chart.used:
        said.append("the combination in use is the nearest")
    if chart.outside:
        said.append(f"outside the chart: {chart.outside}, behind the axle, far away or at infinity")
    return said
