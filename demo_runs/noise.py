"""Normal random numbers that any Python from 3.11 on repeats: only ``random.random`` is promised to stay the same."""

from __future__ import annotations

import math
import random


class Noise:
    """A stream that depends on its name alone."""

    def __init__(self, name: str) -> None:
        self._stream = random.Random(f"invented season 2031, {name}")

    def normal(self, sd: float) -> float:
        """One number from N(0, sd²), by Box and Muller's transform."""
        radius = math.sqrt(-2.0 * math.log(1.0 - self._stream.random()))
        return sd * radius * math.cos(2.0 * math.pi * self._stream.random())

    def between(self, low: float, high: float) -> float:
        return low + (high - low) * self._stream.random()
