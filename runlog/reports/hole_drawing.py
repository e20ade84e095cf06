"""The chart of hole combinations as a self-contained SVG drawing: no script, no outside files, all text escaped."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any, Final

from runlog.reports.console import clean
from runlog.reports.hole_chart import chart_of, shown

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.reports.hole_chart import HoleChart, Point

_WIDTH, _HEIGHT = 720, 520
_LEFT, _RIGHT, _TOP, _BOTTOM = 90, 690, 60, 400
_TICKS: Final = 5
_STYLE = (
    "text{font:13px sans-serif;fill:#1b1b1b}.title{font-size:17px;font-weight:bold}"
    ".frame{fill:none;stroke:#1b1b1b;stroke-width:1}.grid{stroke:#e2e2e2;stroke-width:1}"
    ".target{stroke:#6b6b6b;stroke-width:1.5;stroke-dasharray:2 5}.allowed{fill:#1f5fa8;fill-opacity:0.55}"
    ".nearest{fill:none;stroke:#b3541e;stroke-width:2.5}.used{fill:none;stroke:#1b1b1b;stroke-width:2.5}"
)


def hole_chart_svg(page: Mapping[str, Any]) -> str | None:
    """Return the chart of a chassis page's combinations as the text of an SVG file; None with nothing to draw."""
    chart = chart_of(page)
    if chart is None:
        return None
    name = f"{page['car']}: instant centres of the allowed holes"
    parts = [
        f"<title>{_text(name)}</title>",
        f"<style>{_STYLE}</style>",
        f'<rect width="{_WIDTH}" height="{_HEIGHT}" fill="#fff"/>',
        _words(_LEFT, 34, name, "title"),
        *_axes(chart),
        *_target(chart),
        *(_circle("allowed", _place(chart, point), 4) for point in chart.centres),
        *(_circle("nearest", _place(chart, point), 8) for point in (chart.nearest,) if point is not None),
        *(_cross(_place(chart, point)) for point in chart.used),
        *(_words(_LEFT, 466 + 20 * n, text) for n, text in enumerate(_legend(chart))),
    ]
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {_WIDTH} {_HEIGHT}" '
        f'width="{_WIDTH}" height="{_HEIGHT}">'
    )
    return "\n".join([head, *parts, "</svg>\n"])


def _text(text: object) -> str:
    return escape(clean(text))


def _words(x: float, y: float, text: str, kind: str = "note", anchor: str = "start") -> str:
    return f'<text class="{kind}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{_text(text)}</text>'


def _place(chart: HoleChart, point: Point) -> tuple[float, float]:
    left, right, bottom, top = chart.span
    across, up = (point[0] - left) / (right - left), (point[1] - bottom) / (top - bottom)
    return _LEFT + across * (_RIGHT - _LEFT), _BOTTOM - up * (_BOTTOM - _TOP)


def _line(kind: str, start: Point, end: Point) -> str:
    return f'<line class="{kind}" x1="{start[0]:.1f}" y1="{start[1]:.1f}" x2="{end[0]:.1f}" y2="{end[1]:.1f}"/>'


def _circle(kind: str, centre: Point, radius: float) -> str:
    return f'<circle class="{kind}" cx="{centre[0]:.1f}" cy="{centre[1]:.1f}" r="{radius:g}"/>'


def _cross(centre: Point) -> str:
    x, y = centre
    path = f"M{x - 7:.1f} {y - 7:.1f}l14 14M{x - 7:.1f} {y + 7:.1f}l14 -14"
    return f'<path class="used" d="{path}"/>'


def _axes(chart: HoleChart) -> list[str]:
    left, right, bottom, top = chart.span
    parts = []
    for n in range(_TICKS):
        share = n / (_TICKS - 1)
        x, z = left + share * (right - left), bottom + share * (top - bottom)
        across, up = _place(chart, (x, z))
        parts += [_line("grid", (across, _TOP), (across, _BOTTOM)), _line("grid", (_LEFT, up), (_RIGHT, up))]
        parts += [
            _words(across, _BOTTOM + 18, shown(x), anchor="middle"),
            _words(_LEFT - 8, up + 4, shown(z), anchor="end"),
        ]
    frame = f'<rect class="frame" x="{_LEFT}" y="{_TOP}" width="{_RIGHT - _LEFT}" height="{_BOTTOM - _TOP}"/>'
    under = _words((_LEFT + _RIGHT) / 2, _BOTTOM + 38, "length ahead of the rear axle; upward, height", anchor="middle")
    return [*parts, frame, under]


def _target(chart: HoleChart) -> list[str]:
    """Return the part of the target's line that lies inside the frame."""
    left, right, bottom, top = chart.span
    slope = chart.target_slope
    ends = [left, right]
    if slope:
        low, high = sorted((bottom / slope, top / slope))
        ends = [max(left, low), min(right, high)]
    elif not bottom <= 0.0 <= top:
        return []
    if ends[0] >= ends[1]:
        return []
    start, end = (_place(chart, (x, x * slope)) for x in ends)
    return [_line("target", start, end)]


def _legend(chart: HoleChart) -> list[str]:
    more = f" {chart.outside} lie outside the chart." if chart.outside else ""
    return [
        f"Cross: in use. Ring: nearest to {chart.target_pct:.1f} % anti-squat. Dotted: all that have it.{more}",
        "An estimate, not permission: rules, makers' limits and licensed inspection come first.",
    ]
