"""Settings and the program's own sentences in the units of the page: the one home of both.

Inside, and in ``--json``, a setting stays in the unit that the car file gives it; a metric page turns it on its
way out. Distances along the track keep the names of the trade (60 ft, 330 ft …) in every system of units.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from runlog import configuration
from runlog.constants import SPLIT_DISTANCES_FT
from runlog.units import unit_of

if TYPE_CHECKING:
    from collections.abc import Sequence

NOTHING = "–"

_METRIC: Final = {
    # symbol: metric symbol, decimals
    "psi": ("kPa", 1), "inHg": ("hPa", 1), "lb": ("kg", 1), "lbf": ("N", 0), "in": ("mm", 1), "ft": ("m", 0),
    "mi": ("km", 2), "mph": ("km/h", 1), "ft/s": ("m/s", 2), "ft/s²": ("m/s²", 2), "°F": ("°C", 1), "hp": ("kW", 1),
    "lb/in": ("N/mm", 1), "lbf·ft": ("N·m", 0), "ft²": ("m²", 3),
}  # fmt: skip
_NAMES: Final = {0, *SPLIT_DISTANCES_FT}
"""[ft] distances that are names"""
BARE: Final = ("1", "hole", "")
"""units that aren't said"""


def metric() -> bool:
    """Tell whether the pages are to speak metric."""
    return configuration.units() == "metric"


def symbol(unit: str) -> str:
    """Return the unit in which the page shows what is in ``unit``."""
    return _METRIC[unit][0] if metric() and unit in _METRIC else unit


def setting(value: float | str | None, unit: str) -> str:
    """Return a setting without its unit, as the crew says it: a hole's label, or a number without needless zeros."""
    if value is None:
        return NOTHING
    number = _number(value)
    if number is None or not metric() or unit not in _METRIC:
        return value if isinstance(value, str) else f"{value:g}"
    return _turned(number, unit)


def amount(value: float | str | None, unit: str, *, sign: bool = False) -> str:
    """Return a setting with its unit; holes and bare ratios have none."""
    text = setting(value, unit)
    number = _number(value)
    if sign and number is not None and not text.startswith(("+", "-")):
        text = f"+{text}"
    return text if unit in BARE else f"{text} {symbol(unit)}"


def change(before: float | str | None, after: float | str | None, unit: str) -> str:
    """Return a change of a setting: ``7 → 6.5 psi``."""
    return path([before, after], unit)


def path(values: Sequence[float | str | None], unit: str) -> str:
    """Return the settings of an item one after the other: ``7 → 6.5 → 7 psi``."""
    steps = " → ".join(setting(value, unit) for value in values)
    return steps if unit in BARE else f"{steps} {symbol(unit)}"


def place(feet: float) -> str:
    """Return a place along the track: a beam by its name, any other as a distance."""
    return f"{feet:.0f} ft" if feet in _NAMES or not metric() else f"{feet * 0.3048:.0f} m"


def speed_number(mph: float | None, digits: int = 1, *, sign: bool = False) -> str:
    """Return a speed without its unit, which ``symbol("mph")`` says."""
    if mph is None:
        return NOTHING
    value = mph * 1.609344 if metric() else mph
    return f"{value:+.{digits}f}" if sign else f"{value:.{digits}f}"


_FIGURE: Final = r"[+-]?\d[\d,]*(?:\.\d+)?"
_PROSE: Final = re.compile(
    rf"(?P<figures>{_FIGURE}(?:\s?(?:→|<|>|to|and|–|±)\s?{_FIGURE})*)\s?"
    # "in" is a word too: inches only where nothing follows that could make it one
    r"(?P<unit>psi|lb/in|lb|ft|mph|inHg|°F|hp|in(?=[,;:.)\]]|$))(?![\w/·²])"
)


def prose(text: str) -> str:
    """Return a sentence of the program with its quantities in the units of the page.

    Not for what people wrote: their words stay as they are.
    """
    return _PROSE.sub(_quantity, text) if metric() else text


def _quantity(found: re.Match[str]) -> str:
    unit, figures = found["unit"], found["figures"]
    numbers = [float(figure.replace(",", "")) for figure in re.findall(_FIGURE, figures)]
    if unit == "ft" and all(abs(number) in _NAMES for number in numbers):
        return found[0]
    turned = re.sub(_FIGURE, lambda one: _turned(float(one[0].replace(",", "")), unit, one[0][0] in "+-"), figures)
    return f"{turned} {symbol(unit)}"


def _turned(number: float, unit: str, signed: bool = False) -> str:
    """Return a number in metric units; a temperature with a sign is a difference."""
    wanted, digits = _METRIC[unit]
    old, new = unit_of(unit), unit_of(wanted)
    value = number * old.factor / new.factor if signed else new.from_si(old.to_si(number))
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    text = "0" if text in ("-0", "") else text
    return f"+{text}" if signed and number > 0 else text


def _number(value: float | str | None) -> float | None:
    try:
        return None if value is None else float(value)
    except ValueError:
        return None
