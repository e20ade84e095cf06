"""Lines and intervals in plain characters, 80 columns wide."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

    Points = Sequence[tuple[float, float]]

LABEL: Final = 9
ACROSS: Final = 68
LEAST: Final = 1e-9


def line_plot(
    title: str,
    lines: Sequence[tuple[str, Points]],
    ticks: Sequence[tuple[float, str]],
    *,
    rows: int = 10,
    digits: int = 3,
) -> list[str]:
    """Return lines of points over a common scale, each with its own one-character mark; an empty list without any.

    Where two lines meet, the first one's mark stands. ``ticks``, at least two: places across with what is written
    under them, the first and the last being the ends of the scale.
    """
    points = [point for _, line in lines for point in line]
    if not points:
        return []
    left, right = ticks[0][0], ticks[-1][0]
    low, high = min(y for _, y in points), max(y for _, y in points)
    tall = high - low
    grid = [[" "] * ACROSS for _ in range(rows)]

    def column(x: float) -> int:
        return round((x - left) / (right - left) * (ACROSS - 1))

    def row(y: float) -> int:
        return rows // 2 if tall == 0 else round((high - y) / tall * (rows - 1))

    for _, line in lines:
        for (x0, y0), (x1, y1) in itertools.pairwise(line):
            start, end = column(x0), column(x1)
            for at in range(start + 1, end):
                cell = row(y0 + (at - start) / (end - start) * (y1 - y0))
                grid[cell][at] = "." if grid[cell][at] == " " else grid[cell][at]
    for mark, line in reversed(lines):
        for x, y in line:
            grid[row(y)][column(x)] = mark
    labels = {rows // 2: high} if tall == 0 else {0: high, rows - 1: low}
    body = [
        f"{f'{labels[n]:.{digits}f}' if n in labels else '':>{LABEL}} |{''.join(cells)}".rstrip()
        for n, cells in enumerate(grid)
    ]
    return [title, *body, *_axis([(column(x), text) for x, text in ticks])]


def _axis(ticks: Sequence[tuple[int, str]]) -> list[str]:
    """Return the axis and what is written under it, as far as the words don't touch."""
    axis, words, taken = ["-"] * ACROSS, [" "] * (ACROSS + LABEL), -1
    for at, text in ticks:
        axis[at] = "+"
        start = min(at - len(text) // 2 + LABEL, ACROSS + LABEL - len(text))
        if start > taken:
            words[start : start + len(text)] = text
            taken = start + len(text)
    return [f"{'':>{LABEL}} +{''.join(axis)}", f"  {''.join(words)}".rstrip()]


def interval_plot(rows: Sequence[tuple[str, float, float, float]], *, across: int = 76) -> list[str]:
    """Return named intervals (name, low, middle, high) over a common scale with its zero marked.

    Each has two lines: the name, and ``[---o---]`` with ``|`` for zero where it isn't covered.
    """
    if not rows:
        return []
    least = min(0.0, *(low for _, low, _, _ in rows))
    most = max(0.0, *(high for *_, high in rows))
    span = max(most - least, LEAST)

    def place(value: float) -> int:
        return round((value - least) / span * (across - 1))

    lines = []
    for name, low, middle, high in rows:
        cells = [" "] * across
        cells[place(0.0)] = "|"
        for at in range(place(low), place(high) + 1):
            cells[at] = "-" if at != place(0.0) else "+"
        cells[place(low)], cells[place(high)] = "[", "]"
        cells[place(middle)] = "o"
        lines += [name, "".join(cells).rstrip()]
    scale = [" "] * across
    for value in (least, 0.0, most):
        text = f"{value:+.3f}" if value else "0"
        start = min(max(0, place(value) - len(text) // 2), across - len(text))
        if all(cell == " " for cell in scale[max(0, start - 1) : start + len(text) + 1]):
            scale[start : start + len(text)] = text
    return [*lines, "".join(scale).rstrip()]
