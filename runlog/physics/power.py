"""What the air does to an engine's power.

The correction factors are those of engine test standards: measured power times factor is the power at the standard's
reference. They hold for naturally aspirated spark ignition; SAE J1349 and ISO 1585 state a range of 0.93 to 1.07. The
standards themselves were not at hand: the formulas are as commonly quoted. What is said here of supercharged,
turbocharged and nitrous engines is common practice without a source, each with its assumption in ``ASSUMPTIONS``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.physics.atmosphere import STANDARD_AIR, Air, FloatOrArray

if TYPE_CHECKING:
    from collections.abc import Callable

MECHANICAL_EFFICIENCY: Final = 0.85
"""assumed by SAE J1349; its coefficients 1.18 and 0.18 are 1/0.85 and 1/0.85 − 1 rounded"""
BOOSTED_MECHANICAL_EFFICIENCY: Final = 0.90
"""friction is a smaller share of a boosted engine's indicated power. Common practice, no source."""
GAUGE_BOOST: Final = 150e3
"""[Pa] held above ambient by the wastegate of a turbocharged engine. Common practice, no source."""
NITROUS_SHARE: Final = 0.25
"""of the power that comes from nitrous oxide and so doesn't depend on the air. Common practice, no source."""

_J1349_PRESSURE: Final = 99e3  # [Pa] dry
_J1349_TEMPERATURE: Final = 298.0  # [K]
_ROUNDED_ZERO: Final = 0.15  # [K] the older standards count kelvin as °C + 273

ASSUMPTIONS: Final[dict[str, str]] = {
    "natural": "SAE J1349: indicated power with dry-air pressure and inverse root of temperature, friction constant",
    "supercharged": (
        "fixed pressure ratio: indicated power with dry-air pressure and inverse root of temperature like natural "
        "aspiration, blower drive along with it, mechanical efficiency 0.90; common practice, no source"
    ),
    "turbocharged": (
        "wastegate holds 150 kPa above ambient, so pressure counts for less; charge temperature follows the air; "
        "mechanical efficiency 0.90; common practice, no source"
    ),
    "nitrous": (
        "a quarter of the power comes from nitrous oxide and doesn't depend on the air, the rest follows SAE J1349; "
        "bottle pressure is not considered; common practice, no source"
    ),
}
"""For each aspiration, what ``power_factor`` takes for granted: to be shown beside corrected figures."""


def sae_j1349_factor(temperature: FloatOrArray, dry_pressure: FloatOrArray) -> FloatOrArray:
    """Return the SAE J1349 correction factor, spark ignition, naturally aspirated: 1.18 (99/p) √(T/298) − 0.18.

    Temperature [K], dry-air pressure [Pa]; 1 at 99 kPa and 25 °C. T is °C + 273, as the formula is quoted.
    """
    return 1.18 / _charge(temperature, dry_pressure) - 0.18


def iso_1585_factor(temperature: FloatOrArray, dry_pressure: FloatOrArray) -> FloatOrArray:
    """Return the ISO 1585 correction factor, positive ignition: (99/p)^1.2 (T/298)^0.6, as a check on J1349."""
    factor: FloatOrArray = (_J1349_PRESSURE / dry_pressure) ** 1.2 * (temperature / _J1349_TEMPERATURE) ** 0.6
    return factor


def din_70020_factor(temperature: FloatOrArray, total_pressure: FloatOrArray) -> FloatOrArray:
    """Return the DIN 70020 factor (1013/p) √(T/293), T in °C + 273; it goes by total, not dry, pressure [Pa]."""
    factor: FloatOrArray = 101300.0 / total_pressure * np.sqrt((temperature - _ROUNDED_ZERO) / 293.0)
    return factor


def sae_j607_factor(temperature: FloatOrArray, dry_pressure: FloatOrArray) -> FloatOrArray:
    """Return the factor of the withdrawn SAE J607: (29.92/p) √(T/520), dry pressure in inHg, T in °F + 460."""
    rankine = (temperature - 273.15) * 1.8 + 32.0 + 460.0
    factor: FloatOrArray = 29.92 * 3386.38866667 / dry_pressure * np.sqrt(rankine / 520.0)
    return factor


def rating_to_reference(standard: str) -> float:
    """Return by what a power rated to this standard is multiplied to get the engine's power in ``STANDARD_AIR``.

    Knows SAE J1349, ISO 1585, DIN 70020 and SAE J607 in any case; any other name is taken as SAE J1349.
    """
    rated = _RATINGS.get(standard.strip().lower(), _RATINGS["sae j1349"])
    return float(1.0 / rated(STANDARD_AIR))


_RATINGS: Final[dict[str, Callable[[Air], FloatOrArray]]] = {
    "sae j1349": lambda air: sae_j1349_factor(air.temperature, air.dry_pressure),
    "iso 1585": lambda air: iso_1585_factor(air.temperature, air.dry_pressure),
    "din 70020": lambda air: din_70020_factor(air.temperature, air.pressure),
    "sae j607": lambda air: sae_j607_factor(air.temperature, air.dry_pressure),
}


def power_factor(aspiration: str, air: Air, reference: Air = STANDARD_AIR) -> FloatOrArray:
    """Return the engine's power in this air as a share of its power in the reference air.

    ``aspiration`` is ``natural``, ``supercharged``, ``turbocharged`` or ``nitrous``; ValueError for another. What each
    takes for granted is in ``ASSUMPTIONS``.
    """
    relative = _RELATIVE_POWER.get(aspiration)
    if relative is None:
        raise ValueError(f"unknown aspiration {aspiration!r}; known: {', '.join(_RELATIVE_POWER)}")
    return relative(air) / relative(reference)


STATED_RANGE: Final = (0.93, 1.07)
"""of the factor, within which SAE J1349 and ISO 1585 claim validity; from memory"""


def caveat(aspiration: str, air: Air) -> str | None:
    """Return what has to be said beside figures corrected from this air, or from any of these airs; None: nothing.

    Air outside the range of the standard is told first, then an aspiration that no standard covers.
    """
    said = []
    factor = np.asarray(sae_j1349_factor(air.temperature, air.dry_pressure), dtype=np.float64)
    outside = factor[(factor < STATED_RANGE[0]) | (factor > STATED_RANGE[1])]
    if outside.size:
        worst = float(outside.flat[np.argmax(np.abs(outside - 1.0))])
        low, high = STATED_RANGE
        said.append(f"SAE J1349 factor {worst:.3f}, outside the standard's {low} to {high}")
    if aspiration != "natural":
        said.append(f"{aspiration}: {ASSUMPTIONS[aspiration]}")
    return "; ".join(said) or None


def _charge(temperature: FloatOrArray, dry_pressure: FloatOrArray) -> FloatOrArray:
    """Return the indicated power as a share of that at the J1349 reference: pressure over root of temperature."""
    warmth = (temperature - _ROUNDED_ZERO) / _J1349_TEMPERATURE
    charge: FloatOrArray = dry_pressure / _J1349_PRESSURE / np.sqrt(warmth)
    return charge


def _brake(charge: FloatOrArray, efficiency: float) -> FloatOrArray:
    """Take friction off in the manner of J1349, for any mechanical efficiency."""
    return 1.0 / (1.0 / efficiency / charge - (1.0 / efficiency - 1.0))


def _natural(air: Air) -> FloatOrArray:
    return 1.0 / sae_j1349_factor(air.temperature, air.dry_pressure)


def _supercharged(air: Air) -> FloatOrArray:
    return _brake(_charge(air.temperature, air.dry_pressure), BOOSTED_MECHANICAL_EFFICIENCY)


def _turbocharged(air: Air) -> FloatOrArray:
    # water vapour displaces dry air by the same share before and after the compressor
    manifold = air.dry_pressure / air.pressure * (air.pressure + GAUGE_BOOST)
    share = manifold / (_J1349_PRESSURE + GAUGE_BOOST) * _J1349_PRESSURE
    return _brake(_charge(air.temperature, share), BOOSTED_MECHANICAL_EFFICIENCY)


def _nitrous(air: Air) -> FloatOrArray:
    breathing = _natural(air) / _natural(STANDARD_AIR)
    return NITROUS_SHARE + (1.0 - NITROUS_SHARE) * breathing


_RELATIVE_POWER: Final[dict[str, Callable[[Air], FloatOrArray]]] = {
    "natural": _natural,
    "supercharged": _supercharged,
    "turbocharged": _turbocharged,
    "nitrous": _nitrous,
}
