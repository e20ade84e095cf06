"""What is expected of an adjustable before any run: from the car file, from physics, else by default."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.learning import Lever, Settings, default_lever
from runlog.physics.atmosphere import STANDARD_AIR
from runlog.physics.longitudinal import simulate
from runlog.workflows.suppose.changes import Wish
from runlog.workflows.suppose.physics import answer

if TYPE_CHECKING:
    from runlog.physics.vehicle import Vehicle
    from runlog.records import Adjustable, Car

DOUBT: Final = 0.5
"""sd of an effect that physics foretells, as a share of it. Common practice, no source."""
_LEAST_DOUBT: Final = 0.3
"""the least sd, as a share of the repeatability of the increment. Common practice, no source."""


def lever_of(car: Car, vehicle: Vehicle | None, item: Adjustable, start: float) -> Lever:
    """Return an adjustable as the regression sees it, one usual step up from ``start`` (in the adjustable's unit).

    The car file's own expectation stands. Where the longitudinal model speaks to the change (ballast, gearing, shift
    rpm), its effect in reference air is the mean and half of it the sd, never less than a share of what runs scatter.
    """
    lever = default_lever(item)
    if lever.origin != "default" or vehicle is None:
        return lever
    wish = Wish(item.name, item.name, item.unit, start, start + item.step, item.step, (), adjustable=item)
    alter = answer(car, vehicle, wish).alter
    if alter is None:
        return lever
    mean = simulate(alter(vehicle), STANDARD_AIR).increments - simulate(vehicle, STANDARD_AIR).increments
    if not np.isfinite(mean).all():
        return lever
    least = _LEAST_DOUBT * np.array(Settings().repeatability)
    return replace(lever, mean=mean, sd=np.maximum(DOUBT * np.abs(mean), least), origin="physics")
