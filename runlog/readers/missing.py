"""Numbers that loggers write where there is no sample, such as -999. Common practice, no source."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Collection

    from numpy.typing import NDArray

MARKS: Final = frozenset(
    {-99.99, -999.0, -999.9, -999.99, -9999.0, -9999.9, -99999.0, -32768.0, -2147483648.0}
    | {9999.0, 9999.9, 99999.0, 999999.0, 32767.0, 65535.0, 2147483647.0, 4294967295.0}
)
_ALONE: Final = 0.5
"""share of the mark up to which nothing else of its side may come: what really gets there has been on the way"""
_FEWEST: Final = 3
"""different other values: a state or a flag has fewer"""
_SAME: Final = 1e-6


def without_marks(
    values: NDArray[np.float64], told: Collection[float] = ()
) -> tuple[NDArray[np.float64], list[tuple[float, int]]]:
    """Return a column with nan for the numbers that mean no sample, and those with how often they stand there.

    ``told``: numbers that mean it for certain; of the usual marks only one that stands far from all else does.
    """
    found: list[tuple[float, int]] = []
    for mark in told:
        values = _blanked(values, mark, found)
    for extreme in (np.fmin, np.fmax) if values.size else ():
        mark = round(float(extreme.reduce(values)), 2)  # fmin and fmax pass over nan, and are quick
        if mark not in MARKS:
            continue
        rest = values[np.isfinite(values) & (np.abs(values - mark) > _SAME * abs(mark))]
        if rest.size and float(np.max(rest * np.sign(mark))) < _ALONE * abs(mark) and _several(rest):
            values = _blanked(values, mark, found)
    return values, found


def _several(rest: NDArray[np.float64]) -> bool:
    return np.unique(rest[: 1 << 12]).size >= _FEWEST


def _blanked(values: NDArray[np.float64], mark: float, found: list[tuple[float, int]]) -> NDArray[np.float64]:
    there = np.abs(values - mark) <= _SAME * abs(mark)
    count = int(np.count_nonzero(there))
    if count:
        found.append((mark, count))
        values = np.where(there, np.nan, values)
    return values
