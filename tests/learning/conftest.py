"""Invented cars for the tests of the learning."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from runlog.learning import Lever, Runs, Settings

BASE = np.array([1.40, 2.60, 2.00, 1.80, 1.70])
SIGMA0 = np.array(Settings().repeatability)
WIDTHS = np.array([1.0, 0.5, 0.3, 0.2, 0.1])


@dataclass(frozen=True)
class Garage:
    """Makes levers and runs of an invented car."""

    @staticmethod
    def levers(count, curved=()):
        return [
            Lever(f"lever {p}", 0.5, "psi", np.zeros(5), WIDTHS * SIGMA0, p in curved, "default") for p in range(count)
        ]

    @staticmethod
    def runs(settings, *, times=None, day=None, hour=None, seed=0, effects=None, **more):
        """Runs with these settings (n, P); times not given are the base, noise of σ0 and ``effects`` (P, S)."""
        x = np.asarray(settings, dtype=float)
        n = len(x)
        if times is None:
            rng = np.random.default_rng(seed)
            times = BASE + rng.normal(0, SIGMA0, (n, 5))
            if effects is not None:
                times = times + x @ np.asarray(effects)
        day = np.zeros(n, dtype=int) if day is None else np.asarray(day)
        hour = 10 + 0.75 * np.arange(n) if hour is None else np.asarray(hour, dtype=float)
        keys = tuple(f"heron/2031-04-12/{i + 1}" for i in range(n))
        more = {"air_shift": None, "spoiled": np.zeros(n, dtype=bool), **more}
        return Runs(keys, times, day, hour, x, **more)


@pytest.fixture(scope="session")
def garage():
    return Garage()
