"""Which adjustables a plan may move, and to which settings: steps from what is in the car, never past a limit."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from runlog import units
from runlog.errors import RunlogError, UsageError
from runlog.learning import Candidate
from runlog.workflows.ahead.parts import lacking, near, needs_part
from runlog.workflows.release.barred import Bars, bar_words
from runlog.workflows.release.limits import allowed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from runlog.records import Adjustable, Car
    from runlog.workflows.ahead.next_run import Standing
    from runlog.workflows.ahead.parts import Parts

    TooFast = Callable[[Adjustable, float], str | None]

ENGINE: Final = "F"
"""caution letter of what risks the engine: left to the engine builder, never proposed"""
_SIDES: Final = (" left", " right")


def candidates(
    stand: Standing,
    names: Sequence[str],
    barred: Bars | None = None,
    too_fast: TooFast | None = None,
    parts: Parts | None = None,
) -> tuple[tuple[Candidate, ...], list[str]]:
    """Return what may be moved, of these adjustables or of all, and why others may not.

    ``barred``: settings that aren't proposed until someone releases them; ``too_fast`` says why a setting would pass a
    limit at the finish line, None where it doesn't; ``parts``: what is at hand of what takes another part.

    ``UsageError`` for a name that the car doesn't have; ``RunlogError`` for one that is never proposed.
    """
    chosen, notes = [], []
    for item in _named(stand.car, names):
        now, why = stand.value(item), never_proposed(item)
        if why is None and now is None:
            why = "left out, no setup sheet tells its setting"
        if why is not None or now is None:
            if names:
                raise RunlogError(f"{item.name}: {why}")
            notes.append(f"{item.name}: {why}")
            continue
        candidate, texts = _candidate(stand, item, now, _Gate(barred or Bars(), too_fast, parts or {}))
        if needs_part(item, parts or {}) and len(candidate.levels) == 1 and candidate.allowed(stand.steps(item, now)):
            reasons = texts or [f"{item.name}: {lacking(item)}"]
            if names:
                raise RunlogError("; ".join(reasons))
            notes += reasons
            continue
        chosen.append(candidate)
        notes += texts
    return tuple(chosen), notes


def never_proposed(item: Adjustable) -> str | None:
    """Return why an adjustable is never proposed; None: it may be. Common practice, no source."""
    if ENGINE in item.cautions:
        return "risks the engine, for the engine builder only: never proposed"
    if item.holes and item.name.endswith(_SIDES):
        return "a link's hole on one side alone may make the car pull: never proposed"
    return None


def _named(car: Car, names: Sequence[str]) -> list[Adjustable]:
    if not names:
        return list(car.adjustables)
    found = []
    for name in dict.fromkeys(" ".join(name.lower().split()) for name in names):
        item = car.adjustable(name)
        if item is None:
            known = ", ".join(item.name for item in car.adjustables) or "none"
            raise UsageError(f"{name!r} is no adjustable of {car.name}; there are: {known}")
        found.append(item)
    return found


@dataclass(frozen=True)
class _Gate:
    """What a setting has to pass beside the car file's limits."""

    barred: Bars
    too_fast: TooFast | None
    parts: Parts


def _candidate(stand: Standing, item: Adjustable, value: float, gate: _Gate) -> tuple[Candidate, list[str]]:
    """Return what may be proposed of an adjustable, and in words what may not."""
    now = stand.steps(item, value)
    low, high = limits(stand, item)
    wanted = [0.0, now, now + 1.0, now - 1.0]
    if needs_part(item, gate.parts):
        wanted = [stand.steps(item, part) for part in near(item, value, gate.parts, (low, high))]
    barred, too_fast = gate.barred, gate.too_fast
    in_car = barred.of(item.name, value)
    if in_car is not None and in_car.calm is not None:
        wanted.append(stand.steps(item, in_car.calm))
    levels = tuple(dict.fromkeys(round(level, 9) for level in wanted))
    blocked, notes = [], []
    for level in levels:
        setting = stand.own_unit(item, level)
        bar = barred.of(item.name, setting)
        fast = too_fast(item, setting) if too_fast and low <= setting <= high and bar is None else None
        if bar is not None:
            notes.append(f"{bar_words(stand.car, bar)}: not proposed until someone releases it by name")
        if fast:
            notes.append(f"{item.name} {item.label(setting)}: not proposed, {fast}")
        if bar is not None or fast:
            blocked.append(level)
    candidate = Candidate(
        name=item.name,
        minutes=item.minutes,
        low=None if math.isinf(low) else stand.steps(item, low),
        high=None if math.isinf(high) else stand.steps(item, high),
        blocked=tuple(sorted(blocked)),
        cautions=item.cautions,
    )
    return replace(candidate, levels=tuple(level for level in levels if candidate.allowed(level))), [
        *dict.fromkeys(notes)
    ]


def limits(stand: Standing, item: Adjustable) -> tuple[float, float]:
    """Return the lowest and the highest setting that may be proposed, in the adjustable's unit.

    What the car file allows; and as little ballast as leaves the car at its class's weight, even if all ballast that
    can be moved were taken off.
    """
    car = stand.car
    low, high = allowed(car, item)
    value = stand.value(item)
    if is_ballast(item) and car.minimum_mass is not None and value is not None and not _may_lighten(stand):
        low = max(low, value)
    return low, high


def is_ballast(item: Adjustable) -> bool:
    """Tell whether an adjustable is weight that can be bolted on."""
    return item.name.startswith("ballast") and units.unit_of(item.unit).dimension == "mass"


def _may_lighten(stand: Standing) -> bool:
    """Tell whether the car stays at its class's weight with one step less, or the baseline's, of every ballast."""
    mass = stand.car.race_mass
    for item in stand.car.adjustables:
        value = stand.value(item)
        if not is_ballast(item) or value is None:
            continue
        base = stand.lesson.baseline[item.name]
        least = min(value - item.step, base)
        mass += units.unit_of(item.unit).to_si(least - base)
    return mass >= (stand.car.minimum_mass or 0.0)
