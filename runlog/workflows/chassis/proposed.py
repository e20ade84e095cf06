"""What a proposed change of holes, ballast, ride height or pinion angle would make of a chassis."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from runlog import catalogue, units
from runlog.errors import UsageError
from runlog.records import SheetEntry
from runlog.workflows.chassis.as_set import in_si
from runlog.workflows.chassis.weights import is_ballast

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import Adjustable
    from runlog.workflows.chassis.as_set import Chassis

HEIGHT: Final = "rear ride height"
PINION: Final = "pinion angle"


@dataclass(frozen=True)
class Proposal:
    """One change: from what is in the car, if that is known, to what is supposed."""

    adjustable: Adjustable
    before: str | None
    after: str


def suppose(chassis: Chassis, texts: Sequence[str]) -> tuple[Chassis, tuple[Proposal, ...]]:
    """Return the chassis with all the changes, each written ``name=value``.

    ``UsageError`` that names the limit when a value is outside the car file's, and when the chassis has no opinion.
    """
    proposals = []
    for text in texts:
        adjustable, entry = _read(chassis, text)
        before = chassis.setup.get(adjustable.name)
        proposals.append(Proposal(adjustable, before.text if before else None, entry.text))
        if adjustable.name == HEIGHT:
            chassis = replace(
                chassis, frame_lowered=chassis.frame_lowered - _change(adjustable, before, entry, "length")
            )
        if adjustable.name == PINION:
            chassis = replace(chassis, axle_turned=chassis.axle_turned + _change(adjustable, before, entry, "angle"))
        chassis = replace(chassis, setup={**chassis.setup, adjustable.name: entry})
    return chassis, tuple(proposals)


def _read(chassis: Chassis, text: str) -> tuple[Adjustable, SheetEntry]:
    name, equals, wanted = (part.strip() for part in text.partition("="))
    if not equals or not name or not wanted:
        raise UsageError(f'--suppose {text!r}: accepted: NAME=VALUE such as "upper link front hole=2"')
    known = catalogue.BY_NAME.get(name.lower())
    name = known.name if known else name.lower()
    usable = [item for item in chassis.car.adjustables if _matters(chassis, item)]
    adjustable = next((item for item in usable if item.name == name), None)
    if adjustable is None:
        names = [item.name for item in usable]
        close = difflib.get_close_matches(name, names, n=3, cutoff=0.6) or names
        why = "has no bearing on the chassis figures" if chassis.car.adjustable(name) else "isn't in the car file"
        accepted = ", ".join(close) or "nothing in this car file"
        raise UsageError(f"--suppose {text!r}: {name!r} {why}; accepted: {accepted}")
    entry = _hole(adjustable, wanted) if adjustable.holes else _number(adjustable, wanted)
    _inside(adjustable, entry)
    return adjustable, entry


def _matters(chassis: Chassis, adjustable: Adjustable) -> bool:
    place = adjustable.name.removesuffix(" left").removesuffix(" right")
    return place in chassis.places or is_ballast(adjustable) or adjustable.name in (HEIGHT, PINION)


def _hole(adjustable: Adjustable, wanted: str) -> SheetEntry:
    labels = [hole.label for hole in adjustable.holes]
    if wanted not in labels:
        named = ", ".join(labels)
        raise UsageError(f"{adjustable.name}: no hole {wanted!r} in the car file; its holes: {named}")
    return SheetEntry(adjustable.name, float(labels.index(wanted)), "hole", wanted)


def _number(adjustable: Adjustable, wanted: str) -> SheetEntry:
    try:
        value, spelling = units.split_quantity(wanted)
    except ValueError:
        raise UsageError(f"{adjustable.name}: {wanted!r} is not a number of {adjustable.unit}") from None
    own = units.unit_of(adjustable.unit)
    if spelling:
        unit = units.find_unit(spelling, own.dimension)
        if unit is None:
            accepted = ", ".join(units.units_for(own.dimension))
            raise UsageError(f"{adjustable.name}: unit {spelling!r}; accepted: {accepted}")
        value = round(own.from_si(unit.to_si(value)), 9)
    return SheetEntry(adjustable.name, value, adjustable.unit, f"{value:g}")


def _inside(adjustable: Adjustable, entry: SheetEntry) -> None:
    value, low, high = entry.value or 0.0, adjustable.low, adjustable.high
    for limit, word, passed in (
        (low, "low", low is not None and value < low),
        (high, "high", high is not None and value > high),
    ):
        if passed and limit is not None:
            raise UsageError(
                f"{adjustable.name} {entry.text} passes the car file's {word} limit of "
                f"{adjustable.label(limit)} {adjustable.unit}"
            )


def _change(adjustable: Adjustable, before: SheetEntry | None, after: SheetEntry, dimension: str) -> float:
    old, new = in_si(before, dimension), in_si(after, dimension)
    if old is None or new is None:
        raise UsageError(f"{adjustable.name} isn't in the setup as a {dimension}, so what a change does isn't known")
    return new - old
