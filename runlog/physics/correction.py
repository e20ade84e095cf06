"""Bringing a run to reference air with the car's own longitudinal model.

Each split and each trap speed has its own shift: the first feet, where grip rules, barely move, the top end moves with
power and drag. What was measured stays what it was; a corrected figure is stated beside it, with the reference.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from runlog.physics.atmosphere import STANDARD_AIR, Air
from runlog.physics.longitudinal import Vehicle, simulate

if TYPE_CHECKING:
    FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Shift:
    """What an air adds to each split time [s] (…, 5) and trap speed [m/s] (…, 2) against the reference air.

    Corrected = measured − shift: the figures the car would have made in the reference air.
    """

    times: FloatArray
    speeds: FloatArray

    @property
    def increments(self) -> FloatArray:
        """What the air adds to each time from beam to beam [s] (…, 5)."""
        return np.diff(self.times, axis=-1, prepend=0.0)


def shift(vehicle: Vehicle, air: Air, reference: Air = STANDARD_AIR) -> Shift:
    """Return what this air, or these airs, add to the car's times and speeds compared with the reference air.

    Wind along the track counts as part of the air. Zero for the reference itself; nan where the model doesn't hold
    (``longitudinal.simulate``). The vehicle's power is fixed in ``STANDARD_AIR``, whatever the reference.
    """
    here, there = simulate(vehicle, air), simulate(vehicle, reference)
    return Shift(here.times - there.times, here.speeds - there.speeds)


def sensitivity(vehicle: Vehicle, air: Air) -> Shift:
    """Return the change of times [s] and speeds [m/s] per relative change of air density, dt/(dρ/ρ).

    Density is changed through the pressure alone, temperature, humidity and wind held; central difference over ±0.5 %.
    Multiply by 0.01 for what one per cent more density does. ``increments`` gives it per increment.
    """
    denser, thinner = (replace(air, pressure=air.pressure * factor) for factor in (1.005, 0.995))
    run, other = simulate(vehicle, denser), simulate(vehicle, thinner)
    change = np.log(np.asarray(denser.density) / np.asarray(thinner.density))[..., None]
    return Shift((run.times - other.times) / change, (run.speeds - other.speeds) / change)
