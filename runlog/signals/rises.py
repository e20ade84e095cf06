"""The shape in which a car's push rises, learned from launch to launch.

One launch hardly tells whether its push rose evenly, or softly at either end, and its instant moves by a hundredth of a
second with that. But brake, clutch or converter and tyre let go alike each time, so earlier launches tell what this one
does not: a hidden Markov chain over runs with the shape as its state (L. Rabiner, *Proceedings of the IEEE* 77, 1989,
forward recursion; from memory). The two chances below are common practice, no source. In plain Python: a run's page
needs it, and comes up without numpy.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import Rises

SHAPES: Final = ("straight", "soft at both ends", "soft at first", "soft at last")
"""the ways in which a push may rise, in the order of ``onset.SHAPES``"""
UNUSUAL: Final = 0.1
"""chance that one launch rises in another shape than the car's: any, all alike"""
CHANGED: Final = 0.02
"""chance from run to run that the car's own shape is another from then on"""
NORMAL_95: Final = 1.6449
"""standard deviations above the middle of a normal, below which 95 % lie"""

Chances = tuple[float, ...]


def under(rises: Rises, chances: Sequence[float]) -> tuple[float, float]:
    """Return the median instant, and the sd of the normal whose 90 % interval is as wide [s].

    ``chances`` of the S shapes beforehand. A shape that is unlikely and far away would move a mean, and widen a
    variance, by more than it should.
    """
    weight = _shares([likely * chance for likely, chance in zip(rises.likelihood, chances, strict=True)])
    low, middle, high = (_quantile(weight, rises, share) for share in (0.05, 0.5, 0.95))
    return middle, (high - low) / (2.0 * NORMAL_95)


def unknown() -> Chances:
    """Return the chances of the shapes of a car that hasn't been launched yet: all the same."""
    return (1.0 / len(SHAPES),) * len(SHAPES)


def of_launch(of_car: Sequence[float]) -> Chances:
    """Return the chances of the shapes of one launch by those of the car's."""
    return tuple((1.0 - UNUSUAL) * chance + UNUSUAL / len(SHAPES) for chance in of_car)


def after(of_car: Sequence[float], likelihood: Sequence[float]) -> Chances:
    """Return the chances of the car's shape after a launch that was as likely as this by each shape."""
    whatever = sum(likelihood) / len(SHAPES)
    pairs = zip(of_car, likelihood, strict=True)
    seen = _shares([chance * ((1.0 - UNUSUAL) * likely + UNUSUAL * whatever) for chance, likely in pairs])
    return tuple((1.0 - CHANGED) * share + CHANGED / len(SHAPES) for share in seen)


def _shares(parts: Sequence[float]) -> Chances:
    whole = sum(parts)
    return tuple(part / whole for part in parts)


def _quantile(weight: Sequence[float], rises: Rises, share: float) -> float:
    """Return a quantile of a mixture of normals, by halving."""
    parts = list(zip(weight, rises.times, rises.sds, strict=True))
    low, high = min(mean - 5.0 * sd for _, mean, sd in parts), max(mean + 5.0 * sd for _, mean, sd in parts)
    while high - low > 1e-6:
        middle = 0.5 * (low + high)
        below = sum(0.5 * part * (1.0 + math.erf((middle - mean) / (sd * math.sqrt(2.0)))) for part, mean, sd in parts)
        low, high = (low, middle) if below > share else (middle, high)
    return 0.5 * (low + high)
