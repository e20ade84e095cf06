"""Factors by which a figure is off when it was read in the wrong unit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

FACTORS: Final = (
    # as written, as meant, factor from one to the other; the units' definitions
    ("psi", "kPa", 6.894757),
    ("psi", "bar", 0.06894757),
    ("kPa", "bar", 0.01),
    ("lb", "kg", 0.45359237),
    ("in", "mm", 25.4),
    ("mph", "km/h", 1.609344),
    ("s", "ms", 1000.0),
)
NEAR: Final = 0.06
"""share within which two figures are the same but for a factor. Common practice, no source."""
_OF: Final = {"pressure": {"psi", "kPa", "bar"}, "speed": {"mph", "km/h"}}


@dataclass(frozen=True)
class Mistaken:
    """A figure that is ``times`` another: what it seems to be, and the factor that mends it."""

    words: str
    times: float
    factor: float


def factor_between(name: str, value: float, usual: float, units: set[str] | None = None) -> Mistaken | None:
    """Return the mistake that makes a value of what is usual, or None; ``units`` that come into question.

    Without them the name of a channel tells: its pressure or its speed.
    """
    if value <= 0.0 or usual <= 0.0:
        return None
    wanted = units or next((of for part, of in _OF.items() if part in name), set())
    times = value / usual
    for one, other, factor in FACTORS:
        if not {one, other} <= wanted:
            continue
        # a figure in the smaller unit, taken for the larger, is too large by the factor, and the other way round
        for meant, taken, size in ((other, one, factor), (one, other, 1.0 / factor)):
            if abs(times / size - 1.0) <= NEAR:
                return Mistaken(f"{meant} taken for {taken}", times, 1.0 / size)
    return None
