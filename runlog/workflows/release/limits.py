"""What the car file allows of an adjustable: asked by whatever proposes a setting, or a run with one."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from runlog import units

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.records import Adjustable, Car, SheetEntry

TURNS_WITH_ENGINE: Final = ("shift rpm", "launch rpm")
"""beginnings of the names of what is a speed of the engine"""
_CLOSE: Final = 1e-9


def allowed(car: Car, item: Adjustable) -> tuple[float, float]:
    """Return the lowest and the highest setting of an adjustable, in its unit; infinite where nothing says.

    The car file's own limits; the last hole on either side; the engine's highest speed for what it turns with.
    """
    low = -math.inf if item.low is None else item.low
    high = math.inf if item.high is None else item.high
    if item.holes:
        low, high = max(low, 0.0), min(high, len(item.holes) - 1.0)
    engine = next((limit.high for limit in car.limits if limit.channel == "engine_speed"), None)
    if engine is not None and item.name.startswith(TURNS_WITH_ENGINE):
        high = min(high, units.unit_of(item.unit).from_si(engine))
    return low, high


def is_outside(car: Car, item: Adjustable, value: float) -> bool:
    """Tell whether a setting passes a limit of the car file."""
    low, high = allowed(car, item)
    return not low - _CLOSE <= value <= high + _CLOSE


def outside_words(car: Car, item: Adjustable, value: float) -> str:
    """Say that a setting passes a limit of the car file."""
    return f"{item.name} {item.label(value)} is outside the car file's limits: put it right before a run"


def outside(car: Car, setup: Mapping[str, SheetEntry]) -> dict[str, str]:
    """Return what of a setup passes a limit of the car file, each in words."""
    found = {}
    for item in car.adjustables:
        entry = setup.get(item.name)
        if entry is not None and entry.value is not None and is_outside(car, item, entry.value):
            found[item.name] = outside_words(car, item, entry.value)
    return found
