"""Changes as the crew writes them, such as ``ballast rear +25`` or ``final drive=4.3``, held to their limits."""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from runlog import catalogue, units
from runlog.errors import RunlogError, UsageError
from runlog.workflows.release.limits import allowed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.records import Adjustable, Car

ACCEPTED: Final = '"NAME +NUMBER", "NAME -NUMBER" or "NAME=VALUE", such as "ballast rear +25" or "final drive=4.3"'

OWN: Final[dict[str, tuple[str, str, str]]] = {
    # what of the car file can be supposed other than an adjustable: name → (unit, dimension, caution letters)
    "race weight": ("lb", "mass", "W"),
    "power": ("hp", "power", "WF"),
    "tyre circumference": ("in", "length", "TR"),
    "final drive": ("1", "ratio", "R"),
    "shift rpm": ("rpm", "angular_speed", "R"),
    "converter stall": ("rpm", "angular_speed", "RJ"),
    "drag area": ("m²", "area", "T"),
}
_WORDS: Final = {"tire circumference": "tyre circumference", "weight": "race weight"}
_CHANGE: Final = re.compile(r"^\s*(?P<name>[A-Za-z][A-Za-z \-]*?)\s*(?P<sign>[=+\-−])\s*(?P<value>[^=]+?)\s*$")


@dataclass(frozen=True)
class Wish:
    """A change of one item, values in ``unit``; ``before`` is None where it isn't known."""

    text: str
    item: str
    unit: str
    before: float | None
    after: float | None
    """None where only the amount of the change is known"""
    amount: float | None
    """what is added; None where what is there now isn't known"""
    cautions: tuple[str, ...]
    low: float | None = None
    high: float | None = None
    adjustable: Adjustable | None = None

    def shown(self, value: float | None) -> float | str | None:
        """Return a value as the crew says it: a hole's label or the number."""
        if value is None or self.adjustable is None or not self.adjustable.holes:
            return None if value is None else round(value, 6)
        return self.adjustable.label(value)


def read_wish(car: Car, present: Mapping[str, float], text: str, *, held: bool = True) -> Wish:
    """Return the change that ``text`` means for this car.

    ``present``: what is in the car now, adjustables in their own unit. ``UsageError`` when it can't be understood,
    ``RunlogError`` that names the limit when it passes one of the car file; without ``held`` it isn't held to them, as
    for what was really done.
    """
    match = _CHANGE.match(text)
    if match is None:
        raise UsageError(f"{text!r} is not a change; accepted: {ACCEPTED}")
    name = _name(match["name"])
    adjustable = car.adjustable(name)
    unit, cautions, low, high = _facts(car, name, adjustable, text)
    before = present.get(name)
    if match["sign"] == "=":
        after: float | None = _value(name, adjustable, unit, match["value"])
        amount = None if before is None or after is None else after - before
    else:
        if match["value"].lstrip()[0] in "+-−":
            raise UsageError(f"{text!r} is not a change; accepted: {ACCEPTED}")
        size = _number(name, unit, match["value"])
        amount = size if match["sign"] == "+" else -size
        after = None if before is None else round(before + amount, 9)
    wish = Wish(text.strip(), name, unit, before, after, amount, cautions, low, high, adjustable)
    if held:
        _hold_to_limits(wish)
    return wish


def _name(words: str) -> str:
    name = " ".join(words.lower().split())
    known = catalogue.BY_NAME.get(name)
    return known.name if known else _WORDS.get(name, name)


def _facts(
    car: Car, name: str, adjustable: Adjustable | None, text: str
) -> tuple[str, tuple[str, ...], float | None, float | None]:
    """Return unit, cautions and limits of an item; ``UsageError`` that lists what is close when there is none."""
    if adjustable is not None:
        low, high = (None if math.isinf(end) else round(end, 6) for end in allowed(car, adjustable))
        return adjustable.unit, catalogue.cautions_for(adjustable.cautions), low, high
    known = catalogue.BY_NAME.get(name)
    if name in OWN:
        unit, _, letters = OWN[name]
        letters = known.cautions if known else letters
        return unit, catalogue.cautions_for(letters), *_own_limits(car, name)
    if known is not None:
        return known.unit, catalogue.cautions_for(known.cautions), None, None
    names = [item.name for item in car.adjustables] + list(OWN) + [item.name for item in catalogue.KNOWN]
    close = difflib.get_close_matches(name, dict.fromkeys(names), n=3, cutoff=0.5) or list(OWN)
    raise UsageError(f"{text!r}: {name!r} is nothing that can be changed on {car.name}; close: {', '.join(close)}")


def _own_limits(car: Car, name: str) -> tuple[float | None, float | None]:
    if name == "shift rpm":
        engine = next((limit.high for limit in car.limits if limit.channel == "engine_speed"), None)
        return None, None if engine is None else round(units.unit_of("rpm").from_si(engine), 6)
    if name != "race weight" or car.minimum_mass is None:
        return None, None
    return units.unit_of("lb").from_si(car.minimum_mass), None


def _value(name: str, adjustable: Adjustable | None, unit: str, text: str) -> float:
    """Return the value that is wished for: a hole by its label, else a number."""
    if adjustable is None or not adjustable.holes:
        return _number(name, unit, text)
    labels = [hole.label.lower() for hole in adjustable.holes]
    if text.strip().lower() not in labels:
        named = ", ".join(hole.label for hole in adjustable.holes)
        raise RunlogError(f"{name}: no hole {text.strip()!r} in the car file; its holes: {named}")
    return float(labels.index(text.strip().lower()))


def _number(name: str, unit: str, text: str) -> float:
    try:
        value, spelling = units.split_quantity(text)
    except ValueError:
        raise UsageError(f"{name}: {text.strip()!r} is not a number of {unit}") from None
    if not spelling:
        return value
    own = units.unit_of(unit)
    found = units.find_unit(spelling, own.dimension)
    if found is None:
        raise UsageError(f"{name}: unit {spelling!r}; accepted: {', '.join(units.units_for(own.dimension))}")
    return round(own.from_si(found.to_si(value)), 9)


def _said(wish: Wish, value: float | None) -> str:
    shown = wish.shown(value)
    return f"{shown:g}" if isinstance(shown, float) else str(shown)


def _hold_to_limits(wish: Wish) -> None:
    """Refuse what ends past a limit of the car file, also on the way back from further beyond it."""
    if wish.after is None:
        if wish.low is not None or wish.high is not None:
            raise RunlogError(
                f"{wish.item} isn't on the setup sheet, so it can't be held to its limits: write {wish.item}=VALUE"
            )
        return
    below = wish.low is not None and wish.after < wish.low - 1e-9
    above = wish.high is not None and wish.after > wish.high + 1e-9
    if below or above:
        limit, word = (wish.low, "low") if below else (wish.high, "high")
        raise RunlogError(
            f"{wish.text}: {wish.item} {_said(wish, wish.after)} passes the car file's {word} limit of "
            f"{_said(wish, limit)} {wish.unit}"
        )
