"""The shape in which a car's push rises, learned from launch to launch.

One launch hardly tells whether its push rose evenly, or softly at either end, and its instant moves by a hundredth of a
second with that. But brake, clutch or converter and tyre let go alike each time, so earlier launches tell what this one
does not: a hidden Markov chain over runs with the shape as its state (L. Rabiner, *Proceedings of the IEEE* 77, 1989,
forward recursion; from memory). The two chances below are common practice, no source.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.signals.onset import SHAPES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runlog.records import Rises

    FloatArray = NDArray[np.float64]

UNUSUAL: Final = 0.1
"""chance that one launch rises in another shape than the car's: any, all alike"""
CHANGED: Final = 0.02
"""chance from run to run that the car's own shape is another from then on"""
NORMAL_95: Final = 1.6449
"""standard deviations above the middle of a normal, below which 95 % lie"""


def under(rises: Rises, chances: FloatArray) -> tuple[float, float]:
    """Return the median instant, and the sd of the normal whose 90 % interval is as wide [s].

    ``chances`` (S,) of the shapes beforehand. A shape that is unlikely and far away would move a mean, and widen a
    variance, by more than it should.
    """
    weight = rises.likelihood * chances
    weight = weight / weight.sum()
    low, middle, high = (_quantile(weight, rises.times, rises.sds, share) for share in (0.05, 0.5, 0.95))
    return middle, (high - low) / (2.0 * NORMAL_95)


def unknown() -> FloatArray:
    """Return the chances of the shapes of a car that hasn't been launched yet: all the same."""
    return np.full(len(SHAPES), 1.0 / len(SHAPES))


def of_launch(of_car: FloatArray) -> FloatArray:
    """Return the chances of the shapes of one launch by those of the car's."""
    return (1.0 - UNUSUAL) * of_car + UNUSUAL * unknown()


def after(of_car: FloatArray, likelihood: FloatArray) -> FloatArray:
    """Return the chances of the car's shape after a launch that was as likely as this by each shape."""
    seen = of_car * ((1.0 - UNUSUAL) * likelihood + UNUSUAL * likelihood.mean())
    chances: FloatArray = (1.0 - CHANGED) * seen / seen.sum() + CHANGED * unknown()
    return chances


def _quantile(weight: FloatArray, means: FloatArray, sds: FloatArray, share: float) -> float:
    """Return a quantile of a mixture of normals, by halving."""
    low, high = float(np.min(means - 5.0 * sds)), float(np.max(means + 5.0 * sds))
    parts = list(zip(weight.tolist(), means.tolist(), (sds * math.sqrt(2.0)).tolist(), strict=True))
    while high - low > 1e-6:
        middle = 0.5 * (low + high)
        below = sum(part * 0.5 * (1.0 + math.erf((middle - mean) / spread)) for part, mean, spread in parts)
        low, high = (low, middle) if below > share else (middle, high)
    return 0.5 * (low + high)
