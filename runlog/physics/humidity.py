"""Humidity said in another way: dew point and wet bulb, to relative humidity and back.

Pure functions on floats or arrays that broadcast; temperature [K], pressure [Pa], relative humidity 0…1.

Dew point: the temperature at which air of the same pressure and water content is saturated over water,
x_v p = f(p, t_d) p_sv(t_d), which is how CIPM-2007 takes a dew point in (A. Picard et al., *Metrologia* 45 (2008)
149-155). Below 0 °C it is the dew point over supercooled water, as weather reports give it, not the frost point; the
saturation formula is then used outside its range and lies within 1 % of that of WMO-No. 8 down to −20 °C.

Wet bulb: the thermodynamic one, from the balance of an adiabatic saturation in ASHRAE Handbook—Fundamentals 2017 ch. 1
eq. 33, with this package's saturation pressure. A ventilated wick reads within a few tenths of a kelvin of it, a wick
in still air up to some kelvin too high. Only from 0 °C up: below, nobody knows whether the wick holds water or ice.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from runlog.physics.atmosphere import FloatOrArray, humidity_ratio, vapour_pressure

FREEZING: Final = 273.15
"""[K]"""
READING: Final = 0.05
"""[K] that a dew point or wet bulb may read above the air and still mean saturated air: the rounding of instruments"""

_MASS_RATIO: Final = 18.01528 / 28.96546  # water over dry air, as in CIPM-2007
_NEWTON_STEPS: Final = 8
_HALVINGS: Final = 52


def humidity_from_dew_point(temperature: FloatOrArray, pressure: FloatOrArray, dew_point: FloatOrArray) -> FloatOrArray:
    """Return the relative humidity 0…1 of air with this dew point [K].

    ValueError when the dew point lies above the air's temperature.
    """
    _refuse_above("dew point", dew_point, temperature)
    share = vapour_pressure(dew_point, pressure, 1.0) / vapour_pressure(temperature, pressure, 1.0)
    return _at_most_one(share)


def dew_point(temperature: FloatOrArray, pressure: FloatOrArray, relative_humidity: FloatOrArray) -> FloatOrArray:
    """Return the dew point [K]; nan for air without any water. Inverse of ``humidity_from_dew_point`` to 1e-9 K."""
    vapour = np.asarray(vapour_pressure(temperature, pressure, relative_humidity), dtype=np.float64)
    wanted = np.log(np.where(vapour > 0.0, vapour, np.nan))
    # start: the Magnus formula of WMO-No. 8 annex 4.B, solved for temperature
    magnus = wanted - np.log(611.2)
    guess = 273.15 + 243.12 * magnus / (17.62 - magnus)
    for _ in range(_NEWTON_STEPS):
        slope = 2.0 * 1.2378847e-5 * guess - 1.9121316e-2 + 6.3431645e3 / guess**2  # of the logarithm of p_sv
        guess = guess - (np.log(np.asarray(vapour_pressure(guess, pressure, 1.0))) - wanted) / slope
    return _like(guess)


def humidity_from_wet_bulb(temperature: FloatOrArray, pressure: FloatOrArray, wet_bulb: FloatOrArray) -> FloatOrArray:
    """Return the relative humidity 0…1 of air with this thermodynamic wet bulb [K].

    ValueError for a wet bulb above the air's temperature, below freezing, or so low that the air would hold less than
    no water.
    """
    _refuse_above("wet bulb", wet_bulb, temperature)
    if np.any(np.asarray(wet_bulb) < FREEZING):
        raise ValueError(
            f"a wet bulb of {_celsius(wet_bulb)} °C is below freezing, where water and ice on the wick read "
            "differently: give the relative humidity or the dew point"
        )
    ratio = np.asarray(_balance(temperature, pressure, np.minimum(wet_bulb, temperature)), dtype=np.float64)
    if np.any(ratio < 0.0):
        raise ValueError(
            f"a wet bulb of {_celsius(wet_bulb)} °C in air of {_celsius(temperature)} °C can't be: even dry air cools "
            "the wick less"
        )
    vapour = ratio * np.asarray(pressure) / (_MASS_RATIO + ratio)
    return _at_most_one(vapour / np.asarray(vapour_pressure(temperature, pressure, 1.0)))


def wet_bulb(temperature: FloatOrArray, pressure: FloatOrArray, relative_humidity: FloatOrArray) -> FloatOrArray:
    """Return the thermodynamic wet bulb [K] to 1e-9 K; nan where it lies below freezing."""
    wanted = np.asarray(humidity_ratio(temperature, pressure, relative_humidity), dtype=np.float64)
    shape = np.broadcast_shapes(wanted.shape, np.shape(temperature), np.shape(pressure))
    high = np.broadcast_to(np.asarray(temperature, dtype=np.float64), shape)
    low = np.full(shape, FREEZING)
    known = (high >= FREEZING) & (np.asarray(_balance(temperature, pressure, low)) <= wanted)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        drier = np.asarray(_balance(temperature, pressure, middle)) < wanted
        low, high = np.where(drier, middle, low), np.where(drier, high, middle)
    return _like(np.where(known, 0.5 * (low + high), np.nan))


def _balance(temperature: FloatOrArray, pressure: FloatOrArray, wick: FloatOrArray) -> FloatOrArray:
    """Return the humidity ratio [kg/kg] that keeps a wick at this temperature: ASHRAE 2017 ch. 1 eq. 33, t in °C."""
    t, wet = np.asarray(temperature) - 273.15, np.asarray(wick) - 273.15
    vapour = np.asarray(vapour_pressure(wick, pressure, 1.0))
    saturated = _MASS_RATIO * vapour / (np.asarray(pressure) - vapour)
    ratio: FloatOrArray = ((2501.0 - 2.326 * wet) * saturated - 1.006 * (t - wet)) / (2501.0 + 1.86 * t - 4.186 * wet)
    return ratio


def _refuse_above(name: str, reading: FloatOrArray, temperature: FloatOrArray) -> None:
    if np.any(np.asarray(reading) > np.asarray(temperature) + READING):
        raise ValueError(
            f"a {name} of {_celsius(reading)} °C above the air's {_celsius(temperature)} °C can't be: saturated "
            "air has both alike"
        )


def _celsius(kelvin: FloatOrArray) -> str:
    return f"{float(np.max(kelvin)) - 273.15:.1f}"


def _at_most_one(share: FloatOrArray) -> FloatOrArray:
    return _like(np.minimum(share, 1.0))


def _like(value: FloatOrArray) -> FloatOrArray:
    """Return a float for a single number, the array as it is otherwise."""
    array: NDArray[np.float64] = np.asarray(value, dtype=np.float64)
    return float(array) if array.ndim == 0 else array
