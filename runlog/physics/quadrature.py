"""Pieces of a function as polynomials through Gauss-Legendre nodes: integrals, values, roots, many cases at once.

A function is known at Gauss-Legendre nodes of each piece; the series through them is exact for polynomials below the
number of nodes, and falls on a smooth function faster than any power of the piece's width.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from runlog.physics.vehicle import FloatArray

ORDER: Final = 12
_POINTS, WEIGHTS = np.polynomial.legendre.leggauss(ORDER)
NODES: Final = 0.5 * (_POINTS + 1.0)
"""places of the nodes in a piece, 0…1"""
WEIGHTS = 0.5 * WEIGHTS
"""of the nodes; they sum to 1"""

# Legendre series, then written in powers of x, −1…1 over a piece: loses about four of sixteen digits at this order
_LEGENDRE: Final = (
    np.polynomial.legendre.legvander(_POINTS, ORDER - 1) * WEIGHTS[:, None] * (2.0 * np.arange(ORDER) + 1.0)
)
_TO_POWERS: Final = np.array(
    [np.pad(np.polynomial.legendre.leg2poly(row[: n + 1]), (0, ORDER - n - 1)) for n, row in enumerate(np.eye(ORDER))]
)
_FROM_VALUES: Final = _LEGENDRE @ _TO_POWERS
_INTEGRATION: Final = 0.5 * np.array([np.polynomial.polynomial.polyint(row, lbnd=-1) for row in np.eye(ORDER)])
_SAMPLES: Final = np.concatenate([[-1.0], _POINTS, [1.0]])
_AT_SAMPLES: Final = np.vander(_SAMPLES, ORDER, increasing=True).T


def series(values: FloatArray) -> FloatArray:
    """Return the coefficients (…, n) of a function from its values at the nodes (…, n)."""
    coefficients: FloatArray = values @ _FROM_VALUES
    return coefficients


def integral_series(coefficients: FloatArray) -> FloatArray:
    """Return the coefficients (…, n + 1) of the integral from a piece's beginning, for a piece of width 1."""
    integral: FloatArray = coefficients @ _INTEGRATION
    return integral


def evaluate(coefficients: FloatArray, place: FloatArray) -> FloatArray:
    """Return values (…) of series (…, n) at places 0…1 (…)."""
    x = 2.0 * place - 1.0
    columns = np.moveaxis(coefficients, -1, 0)
    value: FloatArray = columns[-1]
    for column in columns[-2::-1]:
        value = value * x + column
    return value


def first_root(values: FloatArray, *, falling: bool = False) -> FloatArray:
    """Return the place 0…1 of the first change of sign in each piece (…), nan where there is none.

    ``values`` (…, n) at the nodes; with ``falling`` only changes from above zero to below count.
    """
    coefficients = series(values)
    sampled = coefficients @ _AT_SAMPLES
    below = np.signbit(sampled)
    changes = below[..., 1:] & ~below[..., :-1] if falling else below[..., 1:] != below[..., :-1]
    found = np.full(values.shape[:-1], np.nan)
    where = changes.any(axis=-1)
    if not where.any():
        return found
    index = np.argmax(changes[where], axis=-1)
    places = 0.5 * (_SAMPLES + 1.0)
    low, high = places[index], places[index + 1]
    picked = coefficients[where]
    side = np.signbit(evaluate(picked, low))
    for _ in range(12):
        middle = 0.5 * (low + high)
        same = np.signbit(evaluate(picked, middle)) == side
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    first, second = evaluate(picked, low), evaluate(picked, high)
    # after twelve halvings a chord is exact to rounding
    found[where] = low - first * (high - low) / np.where(second == first, 1.0, second - first)
    return found
