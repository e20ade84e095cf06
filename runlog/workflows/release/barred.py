"""Settings that gave a wheelstand, shake, spin or a stop item: barred, also as a return, until released by name."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from runlog.records import RunKey
from runlog.workflows.release.items import STOP
from runlog.workflows.results.spoiled_by import car_caused

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from runlog.records import Adjustable, Car, CrewFact, SheetEntry

_CLOSE: Final = 1e-9


@dataclass(frozen=True)
class Trouble:
    """A run that the setup may be to blame for."""

    key: RunKey
    why: str
    setup: Mapping[str, SheetEntry]
    """in the car at that run"""
    before: Mapping[str, SheetEntry] | None
    """of the last clean run before it; None: there was none, so nothing can be singled out"""
    settings: tuple[str, ...] | None = None
    """the adjustables that the crew names as the cause; None: those that differ from before"""


@dataclass(frozen=True)
class Bar:
    """A setting that isn't to be run; with a direction also every setting beyond it."""

    item: str
    value: float
    """in the adjustable's unit"""
    direction: int
    """+1, -1: the way in which it had been moved; 0: not known"""
    key: RunKey
    why: str
    calm: float | None = None
    """where it stood at the last clean run before; None: not known"""

    def holds(self, value: float) -> bool:
        """Tell whether a setting is barred."""
        return abs(value - self.value) < _CLOSE or (value - self.value) * self.direction > 0


@dataclass(frozen=True)
class Bars:
    """Every setting of a car that is barred."""

    bars: tuple[Bar, ...] = ()
    unexplained: tuple[Trouble, ...] = field(default=())
    """runs for which no setting can be singled out"""

    def of(self, item: str, value: float | None) -> Bar | None:
        """Return what bars a setting of an adjustable; None: nothing does."""
        if value is None:
            return None
        return next((bar for bar in self.bars if bar.item == item and bar.holds(value)), None)


def bars(car: Car, troubles: Iterable[Trouble], facts: Iterable[CrewFact]) -> Bars:
    """Return what is barred, less what someone has released since."""
    releases = [fact for fact in facts if fact.what == "setting_released"]
    found: dict[tuple[str, float, int], Bar] = {}
    unexplained = []
    for trouble in sorted(troubles, key=lambda item: item.key):
        blamed = _blamed(car, trouble)
        if not blamed and trouble.settings is None:
            unexplained.append(trouble)
        for item, value, direction in blamed:
            before = (trouble.before or {}).get(item.name)
            bar = Bar(item.name, value, direction, trouble.key, trouble.why, before.value if before else None)
            if not any(_releases(fact, item, bar) for fact in releases):
                found[item.name, value, direction] = bar
    return Bars(tuple(found.values()), tuple(unexplained))


def _blamed(car: Car, trouble: Trouble) -> list[tuple[Adjustable, float, int]]:
    """Return the settings that a run is laid to: each with the way in which it had been moved."""
    found = []
    for item in car.adjustables:
        now = trouble.setup.get(item.name)
        before = (trouble.before or {}).get(item.name)
        if now is None or now.value is None:
            continue
        was = before.value if before is not None else None
        moved = was is not None and abs(was - now.value) > _CLOSE
        if item.name in trouble.settings if trouble.settings is not None else moved:
            found.append((item, now.value, 0 if was is None or not moved else (1 if now.value > was else -1)))
    return found


def _releases(fact: CrewFact, item: Adjustable, bar: Bar) -> bool:
    """Tell whether a release covers a bar: the same setting, said after the run that barred it."""
    if fact.car != bar.key.car or fact.content["setting"] != bar.item:
        return False
    if not same_setting(item, fact.content["value"], bar.value):
        return False
    return (fact.date, fact.number or 0) >= (bar.key.date, bar.key.number)


def same_setting(item: Adjustable, text: str, value: float) -> bool:
    """Tell whether words such as ``4400`` or ``4400 rpm``, or a hole's label, mean a setting."""
    words = text.strip().lower()
    if item.holes:
        return words == item.label(value).lower()
    try:
        return abs(float(words.removesuffix(item.unit.lower()).strip()) - value) < 1e-6
    except ValueError:
        return False


def troubles_of(
    lost: Iterable[tuple[RunKey, str]], items: Iterable[CrewFact], suspected: Mapping[RunKey, str]
) -> list[tuple[RunKey, str, tuple[str, ...] | None]]:
    """Return (run, why, adjustables named as the cause) of every run that the setup may be to blame for.

    ``lost``: spoiled runs with their reason, of which those count that the car itself lost; ``suspected``: what the
    trace of a run shows, where nobody marked it; of ``items`` the stop items that name their run.
    """
    marked = dict(lost)
    found: list[tuple[RunKey, str, tuple[str, ...] | None]] = [
        (key, reason, None) for key, reason in marked.items() if car_caused(reason)
    ]
    found += [(key, why, None) for key, why in suspected.items() if key not in marked]
    for fact in items:
        if fact.what == "item" and fact.content["due"] == STOP and fact.number is not None:
            named = fact.content["settings"]
            key = RunKey(fact.car, fact.date, fact.number)
            found.append((key, f"stop item: {fact.content['text']}", None if named is None else tuple(named)))
    return found


def bar_words(car: Car, bar: Bar) -> str:
    """Return a bar in words, with its reason."""
    item = car.adjustable(bar.item)
    label, unit = (f"{bar.value:g}", "") if item is None else (item.label(bar.value), item.unit)
    unit = "" if unit in ("1", "hole") else f" {unit}"
    more = {1: " and above", -1: " and below", 0: ""}[bar.direction]
    return f"{bar.item} {label}{unit}{more} is barred since {bar.key}: {bar.why}"


def bar_part(car: Car, bar: Bar) -> dict[str, Any]:
    """Return a bar as the pages' JSON has it."""
    item = car.adjustable(bar.item)
    return {
        "item": bar.item,
        "value": item.label(bar.value) if item and item.holes else bar.value,
        "unit": item.unit if item else "",
        "beyond": {1: "above", -1: "below", 0: None}[bar.direction],
        "since": str(bar.key),
        "why": bar.why,
    }
