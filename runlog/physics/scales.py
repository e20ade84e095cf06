"""The conditions a car was scaled under, and whether two weighings may be compared.

A corner weight moves with the driver, the fuel and the tyres, and with anything that ties the axle to the chassis or
the floor. All tolerances are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from runlog import units
from runlog.physics.weights import CORNERS

MASS_TOLERANCE: Final = 0.5
"""[kg] of driver or fuel that still counts as the same"""
PRESSURE_TOLERANCE: Final = 1000.0
"""[Pa] of a tyre that still counts as the same; less than the usual step of a quarter psi"""


@dataclass(frozen=True)
class ScaleConditions:
    """What a weighing was made under; None: not noted. ValueError when a figure can't be."""

    driver_mass: float | None = None
    """[kg] in the seat with all gear, or the ballast in the driver's place; 0: empty seat"""
    fuel: float | None = None
    """[kg] in the tank"""
    tyre_pressures: tuple[float, float, float, float] | None = None
    """[Pa] gauge, in the order of ``weights.CORNERS``"""
    level_pads: bool | None = None
    anti_roll_link_disconnected: bool | None = None
    wheelie_bars_clear: bool | None = None
    settled: bool | None = None
    """the suspension was moved and came to rest, wheels free to roll"""

    def __post_init__(self) -> None:
        figures = {"driver": self.driver_mass, "fuel": self.fuel}
        figures |= dict(zip((f"{name} pressure" for name in CORNERS), self.tyre_pressures or (), strict=False))
        for name, value in figures.items():
            if value is not None and not (math.isfinite(value) and value >= 0.0):
                raise ValueError(f"{name} {value:g} can't be: it is zero or more")
        if self.tyre_pressures is not None and len(self.tyre_pressures) != len(CORNERS):
            raise ValueError(f"{len(self.tyre_pressures)} tyre pressures, expected four: {', '.join(CORNERS)}")


_MUST_HOLD: Final = {
    "level_pads": ("the pads were not level", "whether the pads were level was not noted"),
    "anti_roll_link_disconnected": (
        "the anti-roll link was connected",
        "whether the anti-roll link was disconnected was not noted",
    ),
    "wheelie_bars_clear": ("the wheelie bars touched", "whether the wheelie bars were clear was not noted"),
    "settled": ("the suspension was not settled", "whether the suspension was settled was not noted"),
}
_WHICH: Final = ("first", "second")


def comparable(
    first: ScaleConditions, second: ScaleConditions, mass_unit: str = "lb", pressure_unit: str = "psi"
) -> tuple[str, ...]:
    """Return what forbids comparing two weighings, in plain words; empty when nothing does.

    Driver, fuel and tyre pressures must agree within this module's tolerances. Level pads, disconnected anti-roll link,
    clear wheelie bars and settled suspension must hold in both: two equally wrong weighings are still not comparable,
    since nobody knows how wrong. What was not noted forbids comparing too.
    """
    return (
        *_apart("driver weight", (first.driver_mass, second.driver_mass), MASS_TOLERANCE, mass_unit),
        *_apart("fuel", (first.fuel, second.fuel), MASS_TOLERANCE, mass_unit),
        *_pressures_apart(first, second, pressure_unit),
        *_not_held(first, second),
    )


def _apart(what: str, pair: tuple[float | None, float | None], tolerance: float, unit: str) -> tuple[str, ...]:
    one, other = pair
    if one is None or other is None:
        return (f"{what} was not noted in the {_missing(one, other)}",)
    if abs(one - other) <= tolerance:
        return ()
    shown = units.unit_of(unit)
    return (f"{what} differs: {shown.from_si(one):.1f} {unit} and {shown.from_si(other):.1f} {unit}",)


def _pressures_apart(first: ScaleConditions, second: ScaleConditions, unit: str) -> tuple[str, ...]:
    one, other = first.tyre_pressures, second.tyre_pressures
    if one is None or other is None:
        return (f"tyre pressures were not noted in the {_missing(one, other)}",)
    pairs = zip(CORNERS, zip(one, other, strict=True), strict=True)
    return tuple(text for name, pair in pairs for text in _apart(f"{name} pressure", pair, PRESSURE_TOLERANCE, unit))


def _not_held(first: ScaleConditions, second: ScaleConditions) -> tuple[str, ...]:
    found = []
    for name, (broken, unknown) in _MUST_HOLD.items():
        states = (getattr(first, name), getattr(second, name))
        for wanted, text in ((False, broken), (None, unknown)):
            where = [which for which, state in zip(_WHICH, states, strict=True) if state is wanted]
            if where:
                found.append(f"{text} in the {_weighings(where)}")
    return tuple(found)


def _missing(one: object, other: object) -> str:
    return _weighings([which for which, value in zip(_WHICH, (one, other), strict=True) if value is None])


def _weighings(which: list[str]) -> str:
    return f"{' and '.join(which)} weighing{'s' if len(which) > 1 else ''}"
