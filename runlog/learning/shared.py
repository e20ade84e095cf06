"""What several adjustables act through: the geometry that link holes set, the mass and moment that ballast adds.

A step of such an adjustable does two things: what it does to the shared quantities, times what those are worth, and
something of its own. So holes that share one geometric effect teach each other, and so do cars whose holes differ. A
quantity is a column of the regression like an adjustable; how much of it a setting makes is known, not learned.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from runlog.learning.design import Lever

    FloatArray = NDArray[np.float64]


class Amounts(Protocol):
    """How much of each quantity settings make."""

    def __call__(self, settings: FloatArray) -> FloatArray:
        """Return amounts (…, Q) in steps of the quantities, for settings (…, P) in usual steps from the baseline.

        They need not be linear in the settings. To be spread over processes, an object of this kind must be picklable.
        """


@dataclass(frozen=True, eq=False)
class Shared:
    """The quantities that a car's adjustables act through."""

    quantities: tuple[Lever, ...]
    """each with its step, unit and prior, like an adjustable"""
    amounts: Amounts

    def of(self, settings: FloatArray) -> FloatArray:
        """Return the amounts (…, Q) of settings (…, P); ValueError where they aren't as many as the quantities."""
        found = np.asarray(self.amounts(settings), dtype=float)
        wanted = (*settings.shape[:-1], len(self.quantities))
        if found.shape != wanted or not np.isfinite(found).all():
            raise ValueError(f"amounts must be numbers of shape {wanted}, not {found.shape}")
        return found

    def moved_by(self, lever: int, start: float, end: float, levers: int) -> FloatArray:
        """Return what moving one of so many levers from start to end adds (Q,), the others at the baseline."""
        settings = np.zeros((2, levers))
        settings[:, lever] = start, end
        before, after = self.of(settings)
        moved: FloatArray = after - before
        return moved


@dataclass(frozen=True, eq=False)
class Joined:
    """Several kinds of amounts side by side."""

    parts: tuple[Amounts, ...]

    def __call__(self, settings: FloatArray) -> FloatArray:
        """Return the amounts of all parts, in their order."""
        return np.concatenate([part(settings) for part in self.parts], axis=-1)


@dataclass(frozen=True, eq=False)
class Linear:
    """Amounts in proportion to the settings."""

    per_step: FloatArray
    """(P, Q)"""

    def __call__(self, settings: FloatArray) -> FloatArray:
        """Return settings (…, P) times what a step of each makes."""
        made: FloatArray = settings @ self.per_step
        return made


def join(parts: Sequence[Shared]) -> Shared | None:
    """Return all quantities together; None where there is none."""
    if not parts:
        return None
    quantities = tuple(quantity for part in parts for quantity in part.quantities)
    return Shared(quantities, Joined(tuple(part.amounts for part in parts)))
