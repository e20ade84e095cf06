"""What the air is worth to a car: one kind of change at a time, through its own longitudinal model."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import MILE_PER_HOUR
from runlog.physics.atmosphere import Air, FloatOrArray, vapour_pressure
from runlog.physics.correction import Shift, sensitivity
from runlog.physics.longitudinal import simulate

if TYPE_CHECKING:
    from runlog.physics.vehicle import Vehicle

TEN_FAHRENHEIT: Final = 10.0 / 1.8
"""[K]"""
TENTH_INHG: Final = 338.638866667
"""[Pa]"""
FIVE_MPH: Final = 5.0 * MILE_PER_HOUR
"""[m/s]"""
STEPS: Final[dict[str, str]] = {
    "density_1_pct": "one per cent more density, by the pressure alone",
    "temperature_10_f": "10 °F (5.6 °C) warmer, with the same pressure and the same water in the air",
    "pressure_0_10_inhg": "0.10 inHg (3.4 hPa) more pressure, with the same temperature and relative humidity",
    "tailwind_5_mph": "5 mph (2.2 m/s) more wind from behind",
}
"""the changes that ``air_steps`` looks at, and what each holds"""


def air_steps(vehicle: Vehicle, air: Air) -> dict[str, Shift]:
    """Return what each of ``STEPS`` adds to the car's times [s] (5,) and trap speeds [m/s] (2,) in this air.

    Central differences over one step about this air, so the figure is that of the middle; air whose water would
    condense on the cold side is only warmed. Fields of ``air`` are single numbers; nan where the model doesn't hold.
    """
    airs: list[Air] = []
    for below, above in (_warmed(air), _pressed(air), _blown(air)):
        airs += [below, above]
    run = simulate(vehicle, _together(airs))
    made = {"density_1_pct": _scaled(sensitivity(vehicle, air), 0.01)}
    for n, name in enumerate(list(STEPS)[1:]):
        made[name] = Shift(run.times[2 * n + 1] - run.times[2 * n], run.speeds[2 * n + 1] - run.speeds[2 * n])
    return made


def _scaled(change: Shift, factor: float) -> Shift:
    return Shift(change.times * factor, change.speeds * factor)


def _together(airs: list[Air]) -> Air:
    columns = [[air.temperature, air.pressure, air.relative_humidity, air.wind_along] for air in airs]
    return Air(*np.array(columns, dtype=np.float64).T)


def _warmed(air: Air) -> tuple[Air, Air]:
    colder = _at(air, air.temperature - 0.5 * TEN_FAHRENHEIT)
    if colder is None:
        return air, _at(air, air.temperature + TEN_FAHRENHEIT) or air
    return colder, _at(air, air.temperature + 0.5 * TEN_FAHRENHEIT) or air


def _at(air: Air, temperature: FloatOrArray) -> Air | None:
    """Return the air at another temperature with the same water in it; None where some of that would condense."""
    water = vapour_pressure(air.temperature, air.pressure, air.relative_humidity)
    humidity = water / vapour_pressure(temperature, air.pressure, 1.0)
    return None if humidity > 1.0 else replace(air, temperature=temperature, relative_humidity=humidity)


def _pressed(air: Air) -> tuple[Air, Air]:
    low, high = (replace(air, pressure=air.pressure + half * TENTH_INHG) for half in (-0.5, 0.5))
    return low, high


def _blown(air: Air) -> tuple[Air, Air]:
    against, behind = (replace(air, wind_along=air.wind_along + half * FIVE_MPH) for half in (-0.5, 0.5))
    return against, behind
