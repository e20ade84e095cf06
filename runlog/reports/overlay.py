"""Where along the track the time was won or lost: a plot of plain characters, and a drawing."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

from runlog.constants import FOOT
from runlog.reports.amounts import metric, place, speed_number, symbol
from runlog.reports.console import add_row, clean, number, table
from runlog.reports.html.charts import speed_mph

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.table import Table

MARKS = "abcd"
"""a letter for each run, the first run's stands on the zero line"""
HALF = 16
"""characters on each side of the zero line"""
LEAST_SCALE_S = 0.005
"""[s] at the edge of the plot, so that noise isn't blown up"""

_WIDTH, _PANEL, _GAP, _LEFT, _RIGHT, _TOP, _BOTTOM = 760.0, 230.0, 46.0, 64.0, 120.0, 48.0, 64.0
_STROKES = (("#1b1b1b", ""), ("#1f5fa8", "9 4"), ("#b3541e", "3 3"), ("#4f7a28", "12 3 3 3"))
_STYLE = (
    "text{font:12px sans-serif;fill:#1b1b1b}.title{font-size:16px;font-weight:bold}"
    ".grid{stroke:#d7d7d7;stroke-width:1}.zero{stroke:#6b6b6b;stroke-width:1.2}.run{fill:none;stroke-width:2}"
)


def along_table(along: dict[str, Any]) -> Table:
    """Return station, accumulated difference of every run to the first, and the plot of it."""
    behind = [run["difference_s"] for run in along["runs"]]
    edge = max([LEAST_SCALE_S, *(abs(value) for run in behind for value in run if value is not None)])
    others = [f"{MARKS[n]} behind" for n in range(1, len(behind))]
    head = f"{'ahead':<{HALF}}a{'behind':>{HALF}}"
    unit = symbol("mph")
    made = table("", *others, f"{unit} a", *([] if len(others) > 1 else [f"{unit} b"]), head)
    made.columns[-1].justify = "left"
    for n, feet in enumerate(along["station_ft"]):
        if feet == 0:
            continue
        differences = [run[n] for run in behind[1:]]
        speeds = [run["speed_mph"][n] for run in along["runs"][: 2 if len(others) == 1 else 1]]
        cells = [place(feet), *(number(value, 3, sign=True) for value in differences)]
        add_row(made, [*cells, *(speed_number(value) for value in speeds), plot_row(differences, edge)])
    return made


def plot_row(differences: Sequence[float | None], edge: float) -> str:
    """Return one line of the plot: a letter for each run, ``edge`` [s] from the zero line to the end."""
    row = [" "] * HALF + ["|"] + [" "] * HALF
    for letter, value in zip(MARKS[1:], differences, strict=False):
        if value is None:
            continue
        at = HALF + round(max(-1.0, min(1.0, value / edge)) * HALF)
        for between in range(min(at, HALF), max(at, HALF) + 1):
            row[between] = "-" if row[between] == " " else row[between]
        row[at] = letter if row[at] in " -|" else "*"
    return "".join(row)


def overlay_svg(page: dict[str, Any]) -> str:
    """Return speed and accumulated difference against distance as the text of an SVG file: no script, all escaped."""
    along = page["along_track"]
    stations = [float(feet) for feet in along["station_ft"]]
    names = [f"{MARKS[n]} {run['key']}" for n, run in enumerate(along["runs"])]
    height = _TOP + 2 * _PANEL + _GAP + _BOTTOM
    speed = speed_mph()
    driven = [[speed.of(value) for value in run["speed_mph"]] for run in along["runs"]]
    speeds = _Panel(stations, driven, _TOP, f"speed, {speed.unit}")
    behind = [run["difference_s"] for run in along["runs"]]
    losses = _Panel(stations, behind, _TOP + _PANEL + _GAP, f"behind {MARKS[0]}, s (below the line: ahead)")
    title = "Where the time was won or lost"
    parts = [
        f"<title>{_text(title)}</title>",
        f"<desc>{_text('; '.join(names))}</desc>",
        f"<style>{_STYLE}</style>",
        f'<rect width="{_WIDTH:.0f}" height="{height:.0f}" fill="#fff"/>',
        _words(_LEFT, 24, title, 'class="title"'),
        *speeds.drawn(),
        *losses.drawn(),
        _words(_LEFT, height - 34, f"distance from the start beam, {'m' if metric() else 'ft'}"),
        _words(_LEFT, height - 14, " · ".join(names)),
    ]
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {_WIDTH:.0f} {height:.0f}" '
        f'width="{_WIDTH:.0f}" height="{height:.0f}">'
    )
    return "\n".join([head, *parts, "</svg>", ""])


class _Panel:
    """Lines of one kind against distance, with their own scale."""

    def __init__(self, stations: Sequence[float], lines: Sequence[Sequence[float | None]], top: float, name: str):
        self.stations, self.lines, self.top, self.name = stations, lines, top, name
        values = [0.0, *(value for line in lines for value in line if value is not None)]
        self.low, self.high = min(values), max(max(values), min(values) + 1e-3)
        self.step = _round_step((self.high - self.low) / 5)

    def place(self, feet: float, value: float) -> tuple[float, float]:
        """Return where a point stands on the page."""
        across = (_WIDTH - _LEFT - _RIGHT) * feet / max(self.stations)
        return _LEFT + across, self.top + _PANEL * (self.high - value) / (self.high - self.low)

    def drawn(self) -> list[str]:
        """Return grid, lines and the letters at their ends."""
        parts = [_words(_LEFT, self.top - 6, self.name)]
        first, last = int(self.low // self.step), int(self.high // self.step) + 1
        for n in range(first, last + 1):
            level = n * self.step
            if self.low - 1e-9 <= level <= self.high + 1e-9:
                (x1, y), (x2, _) = self.place(0.0, level), self.place(max(self.stations), level)
                kind = "zero" if n == 0 else "grid"
                parts.append(f'<line class="{kind}" x1="{x1:.1f}" y1="{y:.1f}" x2="{x2:.1f}" y2="{y:.1f}"/>')
                parts.append(_words(x1 - 6, y + 4, f"{level:g}", 'text-anchor="end"'))
        unit, step = (1 / FOOT, 50) if metric() else (1.0, 200)
        for distance in range(0, int(max(self.stations) / unit) + 1, step):
            x, _ = self.place(distance * unit, self.low)
            parts.append(_words(x, self.top + _PANEL + 16, str(distance), 'text-anchor="middle"'))
        taken: list[float] = []
        for n, line in enumerate(self.lines):
            parts += self._line(n, line, taken)
        return parts

    def _line(self, n: int, line: Sequence[float | None], taken: list[float]) -> list[str]:
        points = [self.place(feet, value) for feet, value in zip(self.stations, line, strict=True) if value is not None]
        if not points:
            return []
        colour, dashes = _STROKES[n]
        written = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        x, y = points[-1]
        while any(abs(y - other) < 12 for other in taken):
            y += 12
        taken.append(y)
        return [
            f'<polyline class="run" stroke="{colour}" stroke-dasharray="{dashes}" points="{written}"/>',
            _words(x + 8, y + 4, MARKS[n]),
        ]


def _round_step(rough: float) -> float:
    """Return 1, 2 or 5 times a power of ten, no less than ``rough``."""
    power = 10.0 ** (len(f"{int(rough)}") - 1) if rough >= 1 else 1.0
    while power > rough:
        power /= 10
    return next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough)


def _text(text: object) -> str:
    return escape(clean(text))


def _words(x: float, y: float, text: str, more: str = "") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" {more}>{_text(text)}</text>'.replace(" >", ">")
