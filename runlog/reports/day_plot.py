"""A day's readings as small plots in plain characters, two side by side in 80 columns."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import TYPE_CHECKING, Any, Final

from runlog.reports.shown import metric

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

ROWS: Final = 5
ACROSS: Final = 30
LABEL: Final = 7
LEGEND: Final = "o reading  . between readings  ^ run"

Series = list[tuple[float, float]]
"""(minutes from midnight, value)"""


def day_plot(series: Sequence[dict[str, Any]], runs: Sequence[dict[str, Any]]) -> list[str]:
    """Return the lines of the plots: each quantity that was read at least twice, with the runs marked below.

    ``series`` and ``runs`` as in ``air --json``. Empty where the day has fewer than two readings.
    """
    plots = []
    for name, key, shown, digits in _quantities():
        points = [(_minutes(row["time"]), shown(row[key])) for row in series if row[key] is not None]
        if len(points) > 1 and points[0][0] < points[-1][0]:
            plots.append(_plot(name, points, [_minutes(run["time"]) for run in runs], digits))
    lines: list[str] = []
    for n in range(0, len(plots), 2):
        for parts in itertools.zip_longest(*plots[n : n + 2], fillvalue=""):
            lines.append("  ".join(part.ljust(LABEL + ACROSS + 2) for part in parts).rstrip())
        lines.append("")
    return [*lines, LEGEND] if lines else []


def _quantities() -> tuple[tuple[str, str, Callable[[float], float], int], ...]:
    if metric():
        return (
            ("density altitude, m", "density_altitude_ft", lambda feet: feet * 0.3048, 0),
            ("temperature, °C", "temperature_c", float, 1),
            ("relative humidity, %", "relative_humidity_pct", float, 0),
            ("station pressure, hPa", "station_pressure_hpa", float, 1),
            ("tailwind, m/s", "wind_along_track_m_s", float, 1),
            ("track surface, °C", "track_temperature_c", float, 1),
        )
    return (
        ("density altitude, ft", "density_altitude_ft", float, 0),
        ("temperature, °F", "temperature_c", _fahrenheit, 1),
        ("relative humidity, %", "relative_humidity_pct", float, 0),
        ("station pressure, inHg", "station_pressure_hpa", lambda hpa: hpa / 33.8638866667, 2),
        ("tailwind, mph", "wind_along_track_m_s", lambda speed: speed / 0.44704, 1),
        ("track surface, °F", "track_temperature_c", _fahrenheit, 1),
    )


def _fahrenheit(celsius: float) -> float:
    return celsius * 1.8 + 32


def _minutes(text: str) -> float:
    """Return minutes from midnight of an ISO time, with or without its date."""
    clock = dt.time.fromisoformat(text.rpartition("T")[2])
    return clock.hour * 60 + clock.minute + clock.second / 60


def _plot(name: str, points: Series, runs: Sequence[float], digits: int) -> list[str]:
    start, end = points[0][0], points[-1][0]
    values = [value for _, value in points]
    low, high = min(values), max(values)
    span = high - low

    def column(minutes: float) -> int:
        return round((minutes - start) / (end - start) * (ACROSS - 1))

    def row(value: float) -> int:
        return ROWS // 2 if span == 0 else round((high - value) / span * (ROWS - 1))

    grid = [[" "] * ACROSS for _ in range(ROWS)]
    for (left, first), (right, second) in itertools.pairwise(points):
        for at in range(column(left) + 1, column(right)):
            share = (at - column(left)) / (column(right) - column(left))
            grid[row(first + share * (second - first))][at] = "."
    for minutes, value in points:
        grid[row(value)][column(minutes)] = "o"
    labels = {0: f"{high:.{digits}f}", ROWS - 1: f"{low:.{digits}f}"} if span else {ROWS // 2: f"{high:.{digits}f}"}
    body = [f"{labels.get(n, ''):>{LABEL}} |{''.join(cells)}" for n, cells in enumerate(grid)]
    axis = ["-"] * ACROSS
    for minutes in runs:
        if start <= minutes <= end:
            axis[column(minutes)] = "^"
    times = f"{_clock(start)}{_clock(end):>{ACROSS - 5}}"
    return [name, *body, f"{'':>{LABEL}} +{''.join(axis)}", f"{'':>{LABEL}}  {times}"]


def _clock(minutes: float) -> str:
    return f"{int(minutes) // 60:02d}:{int(minutes) % 60:02d}"
