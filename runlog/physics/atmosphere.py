"""The air: standard atmosphere, moist-air density, altitudes, pressures, wind.

Pure functions on floats or arrays that broadcast. SI throughout: temperature [K], pressure [Pa], density [kg/m³],
relative humidity 0…1, altitude and elevation [m].

Sources: ISO 2533:1975 for the standard atmosphere; A. Picard, R. S. Davis, M. Gläser, K. Fujii, *Metrologia* 45 (2008)
149-155 (CIPM-2007) for moist air, with 400 ppm carbon dioxide. CIPM-2007 states its accuracy for about 600-1100 hPa and
15-27 °C; outside, up to 40 °C, it stays within 1e-4 of a real-gas equation of state.

CIPM-2007 counts that air is not quite an ideal gas while ISO 2533 takes it as one, so the density of dry air at the
ISO sea-level state comes out at 1.2255, not 1.2250 kg/m³, and its density altitude at about −5 m.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from runlog.constants import STANDARD_GRAVITY

FloatOrArray: TypeAlias = float | NDArray[np.float64]
Number = TypeVar("Number", float, NDArray[np.float64], float | NDArray[np.float64])

SEA_LEVEL_TEMPERATURE: Final = 288.15
"""[K] ISO 2533"""
SEA_LEVEL_PRESSURE: Final = 101325.0
"""[Pa] ISO 2533"""
LAPSE_RATE: Final = 0.0065
"""[K/m] fall of temperature with geopotential altitude, ISO 2533, -2000 to 11000 m"""
AIR_GAS_CONSTANT: Final = 287.05287
"""[J/(kg K)] dry air, ISO 2533"""
LOWEST_ALTITUDE: Final = -2000.0
HIGHEST_ALTITUDE: Final = 11000.0

_EXPONENT: Final = STANDARD_GRAVITY / (AIR_GAS_CONSTANT * LAPSE_RATE)
_SEA_LEVEL_DENSITY: Final = SEA_LEVEL_PRESSURE / (AIR_GAS_CONSTANT * SEA_LEVEL_TEMPERATURE)

_MOLAR_GAS_CONSTANT: Final = 8.314472  # [J/(mol K)], the value CIPM-2007 was fitted with
_MOLAR_MASS_DRY: Final = 28.96546e-3  # [kg/mol] at 400 ppm carbon dioxide
_MOLAR_MASS_WATER: Final = 18.01528e-3  # [kg/mol]
_MASS_RATIO: Final = _MOLAR_MASS_WATER / _MOLAR_MASS_DRY


# --- the standard atmosphere ----------------------------------------------------------------------------------------


def standard_atmosphere(geopotential_altitude: Number) -> tuple[Number, Number, Number]:
    """Return temperature [K], pressure [Pa] and density [kg/m³] of the standard atmosphere.

    Linear layer of ISO 2533:1975, -2000 to 11000 m of geopotential altitude [m]; ValueError outside.
    """
    altitude = geopotential_altitude
    if not np.all((np.asarray(altitude) >= LOWEST_ALTITUDE) & (np.asarray(altitude) <= HIGHEST_ALTITUDE)):
        raise ValueError(f"altitude must lie within {LOWEST_ALTITUDE:g} and {HIGHEST_ALTITUDE:g} m, got {altitude}")
    temperature = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * altitude
    pressure = SEA_LEVEL_PRESSURE * (temperature / SEA_LEVEL_TEMPERATURE) ** _EXPONENT
    return temperature, pressure, pressure / (AIR_GAS_CONSTANT * temperature)


def density_altitude(density: Number) -> Number:
    """Return the geopotential altitude [m] at which the standard atmosphere has this density [kg/m³].

    Exact inverse of ``standard_atmosphere``; valid for the densities of its layer, 0.364 to 1.478 kg/m³.
    """
    share: Number = (density / _SEA_LEVEL_DENSITY) ** (1.0 / (_EXPONENT - 1.0))
    return (SEA_LEVEL_TEMPERATURE / LAPSE_RATE) * (1.0 - share)


def pressure_altitude(pressure: Number) -> Number:
    """Return the geopotential altitude [m] at which the standard atmosphere has this pressure [Pa].

    Exact inverse of ``standard_atmosphere``; valid for 226 to 1278 hPa.
    """
    share: Number = (pressure / SEA_LEVEL_PRESSURE) ** (1.0 / _EXPONENT)
    return (SEA_LEVEL_TEMPERATURE / LAPSE_RATE) * (1.0 - share)


def station_pressure(altimeter_setting: Number, elevation: Number) -> Number:
    """Return the pressure [Pa] that a barometer at this elevation [m] feels.

    The altimeter setting [Pa] is what the station's pressure becomes when it is reduced to sea level with the
    standard atmosphere; the elevation is taken as geopotential (0.4 m off at 1500 m). Exact in ISO 2533, without the
    0.3 hPa that some meteorological services add for the height of the barometer.
    """
    power = 1.0 / _EXPONENT
    fall = SEA_LEVEL_PRESSURE**power * LAPSE_RATE / SEA_LEVEL_TEMPERATURE * elevation
    pressure: Number = (altimeter_setting**power - fall) ** _EXPONENT
    return pressure


def altimeter_setting(station_pressure: Number, elevation: Number) -> Number:
    """Return the altimeter setting [Pa] at a station with this pressure [Pa]: inverse of ``station_pressure``."""
    power = 1.0 / _EXPONENT
    fall = SEA_LEVEL_PRESSURE**power * LAPSE_RATE / SEA_LEVEL_TEMPERATURE * elevation
    setting: Number = (station_pressure**power + fall) ** _EXPONENT
    return setting


# --- moist air --------------------------------------------------------------------------------------------------------


def saturation_vapour_pressure(temperature: Number) -> Number:
    """Return the saturation pressure [Pa] of pure water vapour over water, CIPM-2007 eq. A1.1 (0-60 °C used here)."""
    exponent = 1.2378847e-5 * temperature**2 - 1.9121316e-2 * temperature + 33.93711047 - 6.3431645e3 / temperature
    saturation: Number = np.exp(exponent)
    return saturation


def vapour_pressure(temperature: Number, pressure: Number, relative_humidity: Number) -> Number:
    """Return the partial pressure [Pa] of the water vapour in air, with the enhancement factor (CIPM-2007 eq. A1.2).

    The factor, about 1.004, is what real air holds more than empty space; plain tables of moist air leave it out.
    """
    celsius = temperature - 273.15
    enhancement = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * celsius**2
    return relative_humidity * enhancement * saturation_vapour_pressure(temperature)


def dry_air_pressure(temperature: Number, pressure: Number, relative_humidity: Number) -> Number:
    """Return the partial pressure [Pa] of the dry air: total less water vapour. It is what an engine burns with."""
    return pressure - vapour_pressure(temperature, pressure, relative_humidity)


def humidity_ratio(temperature: Number, pressure: Number, relative_humidity: Number) -> Number:
    """Return the mass of water vapour per mass of dry air [kg/kg]."""
    vapour = vapour_pressure(temperature, pressure, relative_humidity)
    return _MASS_RATIO * vapour / (pressure - vapour)


def virtual_temperature(temperature: Number, pressure: Number, relative_humidity: Number) -> Number:
    """Return the temperature [K] at which dry air of the same pressure is as dense, both taken as ideal gases."""
    fraction = vapour_pressure(temperature, pressure, relative_humidity) / pressure
    return temperature / (1.0 - fraction * (1.0 - _MASS_RATIO))


def moist_air_density(temperature: Number, pressure: Number, relative_humidity: Number) -> Number:
    """Return the density of moist air [kg/m³], CIPM-2007 with 400 ppm carbon dioxide."""
    celsius = temperature - 273.15
    fraction = vapour_pressure(temperature, pressure, relative_humidity) / pressure
    ratio = pressure / temperature
    compressibility = (
        1.0
        - ratio
        * (
            (1.58123e-6 - 2.9331e-8 * celsius + 1.1043e-10 * celsius**2)
            + (5.707e-6 - 2.051e-8 * celsius) * fraction
            + (1.9898e-4 - 2.376e-6 * celsius) * fraction**2
        )
        + ratio**2 * (1.83e-11 - 0.765e-8 * fraction**2)
    )
    molar_mass = _MOLAR_MASS_DRY * (1.0 - fraction * (1.0 - _MASS_RATIO))
    return ratio * molar_mass / (compressibility * _MOLAR_GAS_CONSTANT)


# --- wind, and a common mistake -----------------------------------------------------------------------------------


def wind_along(wind_speed: Number, wind_from_deg: Number, heading_deg: Number) -> Number:
    """Return the component of the wind [m/s] along the direction of travel; positive is a tailwind.

    Both directions in degrees clockwise from true north: ``wind_from_deg`` where the wind comes from, as weather
    reports give it, ``heading_deg`` where the car goes to.
    """
    along: Number = -wind_speed * np.cos(np.radians(wind_from_deg - heading_deg))
    return along


TELLING_ELEVATION: Final = 150.0
"""[m] below it, an altimeter setting and a station pressure differ by less than the weather does"""
HIGHEST_USUAL_SETTING: Final = 104000.0
"""[Pa] a sea-level pressure above it is rarer than a mistaken reading. Common practice, no source."""
LOWEST_USUAL_SETTING: Final = 98000.0
"""[Pa] the same at the low end. Common practice, no source."""


def wrong_pressure_kind(pressure: float, elevation: float) -> str | None:
    """Return a warning when a reading given as station pressure looks like an altimeter setting, else None.

    It looks like one when the track lies above ``TELLING_ELEVATION``, the reading [Pa] is an ordinary sea-level
    pressure as it stands, and as a station pressure at this elevation [m] it would mean a sea-level pressure above
    ``HIGHEST_USUAL_SETTING``. Common practice, no source. Below about 500 m only the higher settings can be told
    apart (from 220 m on the standard 1013 hPa), so silence proves nothing there.
    """
    if elevation <= TELLING_ELEVATION or not LOWEST_USUAL_SETTING <= pressure <= HIGHEST_USUAL_SETTING:
        return None
    implied = altimeter_setting(pressure, elevation)
    if implied <= HIGHEST_USUAL_SETTING:
        return None
    meant = station_pressure(pressure, elevation)
    return (
        f"{pressure / 100:.1f} hPa given as station pressure at {elevation:.0f} m would be {implied / 100:.1f} hPa at "
        f"sea level, which weather hardly brings; it looks like an altimeter setting or a pressure reduced to sea "
        f"level. If so, the station pressure is {meant / 100:.1f} hPa; left as it is, the air is taken as "
        f"{100 * (pressure / meant - 1):.1f} % too dense"
    )


def wrong_setting_kind(setting: float, elevation: float) -> str | None:
    """Return a warning when a reading given as altimeter setting looks like a station pressure, else None.

    It looks like one when the track lies above ``TELLING_ELEVATION``, the reading [Pa] is lower than weather brings to
    sea level (``LOWEST_USUAL_SETTING``), and as the station pressure at this elevation [m] it would be ordinary.
    Common practice, no source. Below about 280 m of elevation in ordinary weather nothing can be told.
    """
    if elevation <= TELLING_ELEVATION or setting >= LOWEST_USUAL_SETTING:
        return None
    implied = altimeter_setting(setting, elevation)
    if not LOWEST_USUAL_SETTING <= implied <= HIGHEST_USUAL_SETTING:
        return None
    taken = station_pressure(setting, elevation)
    return (
        f"an altimeter setting of {setting / 100:.1f} hPa is lower than weather brings to sea level; it looks like a "
        f"station pressure at {elevation:.0f} m, whose setting would be {implied / 100:.1f} hPa. Left as it is, the "
        f"air is taken as {100 * (1 - taken / setting):.1f} % too thin"
    )


# --- a state of the air -----------------------------------------------------------------------------------------------

_TEMPERATURES: Final = (223.15, 333.15)
_PRESSURES: Final = (50000.0, 110000.0)


def _require(name: str, value: FloatOrArray, bounds: tuple[float, float], unit: str) -> None:
    array = np.asarray(value, dtype=np.float64)
    if np.any((array < bounds[0]) | (array > bounds[1])):
        raise ValueError(f"{name} must lie within {bounds[0]:g} and {bounds[1]:g}{unit}, got {value}")


@dataclass(frozen=True)
class Air:
    """Air at the track: temperature [K], station pressure [Pa], humidity 0…1, wind along the travel [m/s, + tailwind].

    Fields are floats or arrays that broadcast. ValueError when a value lies outside 223-333 K, 500-1100 hPa or 0…1,
    which a wrong unit (°C, hPa, per cent) always does; nan passes.
    """

    temperature: FloatOrArray
    pressure: FloatOrArray
    relative_humidity: FloatOrArray
    wind_along: FloatOrArray = 0.0

    def __post_init__(self) -> None:
        _require("temperature", self.temperature, _TEMPERATURES, " K")
        _require("pressure", self.pressure, _PRESSURES, " Pa")
        _require("relative humidity", self.relative_humidity, (0.0, 1.0), "")

    @property
    def density(self) -> FloatOrArray:
        """Density of the moist air [kg/m³]."""
        return moist_air_density(self.temperature, self.pressure, self.relative_humidity)

    @property
    def dry_pressure(self) -> FloatOrArray:
        """Partial pressure of the dry air [Pa]."""
        return dry_air_pressure(self.temperature, self.pressure, self.relative_humidity)

    @property
    def density_ratio(self) -> FloatOrArray:
        """Density as a share of that of ``STANDARD_AIR``."""
        return self.density / STANDARD_AIR.density


STANDARD_AIR: Final = Air(SEA_LEVEL_TEMPERATURE, SEA_LEVEL_PRESSURE, 0.0)
"""What everything is corrected to: the sea level of ISO 2533, dry and still."""
