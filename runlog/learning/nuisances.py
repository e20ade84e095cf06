"""What was recorded of runs and moves their times, but is no setting: lane, driver, tyre age, surface temperature, …

By name, as numbers or words, and made into columns of the regression. A condition that wasn't recorded, or that was the
same in every run, has no column; a run for which it wasn't recorded stands in the middle of the others.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]
    Recorded = float | str | None

USUAL: Final[dict[str, float]] = {"surface temperature": 10.0, "tyre age": 10.0, "fuel": 5.0, "driver weight": 10.0}
"""difference that counts as one step of a number: [K], runs, [kg], [kg]. Of others, their spread. Common practice"""


@dataclass(frozen=True)
class Coding:
    """How conditions become columns: the same for the runs learned from and for one yet to come."""

    numbers: tuple[tuple[str, float, float], ...]
    """name, middle, size of a step"""
    words: tuple[tuple[str, tuple[str, ...]], ...]
    """name and the words it took; of two there is one column, else one a word"""

    def columns(self, recorded: Mapping[str, Sequence[Recorded]], runs: int) -> dict[str, FloatArray]:
        """Return the columns (n,) of so many runs, by name; a name that isn't given counts as not recorded."""
        found: dict[str, FloatArray] = {}
        for name, middle, step in self.numbers:
            values = _numbers(recorded.get(name, (None,) * runs))
            found[name] = np.where(np.isfinite(values), (values - middle) / step, 0.0)
        for name, levels in self.words:
            said = recorded.get(name, (None,) * runs)
            if len(levels) == 2:
                found[name] = np.array([0.0 if word not in levels else levels.index(word) - 0.5 for word in said])
                continue
            # two of them then differ with the prior sd of a nuisance, as the two of a pair do
            for level in levels:
                share = [0.0 if word not in levels else (word == level) - 1.0 / len(levels) for word in said]
                found[f"{name} {level}"] = np.array(share) / math.sqrt(2.0)
        return found


def code(recorded: Mapping[str, Sequence[Recorded]]) -> Coding:
    """Return the coding of what was recorded of runs: names → one value a run, None where there is none.

    A condition is words where any of its values is one. Left out: whatever took no two values.
    """
    numbers, words = [], []
    for name, values in recorded.items():
        known = [value for value in values if value is not None and value == value]
        if any(isinstance(value, str) for value in known):
            levels = tuple(sorted({str(value) for value in known}))
            if len(levels) > 1:
                words.append((name, levels))
            continue
        found = _numbers(known)
        if len(found) and np.ptp(found) > 0:
            numbers.append((name, float(found.mean()), USUAL.get(name, float(found.std()))))
    return Coding(tuple(numbers), tuple(words))


def _numbers(values: Sequence[Recorded]) -> FloatArray:
    return np.array([np.nan if value is None or isinstance(value, str) else value for value in values], dtype=float)
