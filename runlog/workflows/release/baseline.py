"""The way back to the baseline: what differs from it, in an order in which it can be done, with its checks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from runlog import catalogue
from runlog.errors import NotFound
from runlog.store import facts
from runlog.workflows.release.barred import bar_words
from runlog.workflows.release.page import stands
from runlog.workflows.setup import baseline, in_force

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.records import Adjustable, Car, SheetEntry
    from runlog.store.connection import Logbook
    from runlog.workflows.release.clearance import Clearance

_ORDER: Final = (
    "final drive", "converter stall", "clutch base pressure", "rear tyre set", "spring", "ride height", "hole",
    "pinion angle", "upper-link preload", "anti-roll bar preload", "front travel limiter", "wheelie-bar height",
    "shock", "ballast", "front toe", "brake bias", "wing angle", "tyre pressure",
)  # fmt: skip
"""words of names, in the order of the work: what others are measured from comes first, pressures last, then what is
set at a desk. Common practice, no source."""
_RAISED: Final = (
    "hole", "spring", "ride height", "pinion", "preload", "converter", "clutch", "final drive", "tyre set", "limiter",
)  # fmt: skip
"""words of names of what is worked at with the car off the ground. Common practice, no source."""
_STANCE: Final = ("hole", "spring", "ride height", "preload", "ballast", "tyre set")
"""words of names of what moves weight between the wheels. Common practice, no source."""
RAISED: Final = "Nobody in or under a raised car that isn't on stands on level ground, wheels chocked."
SCALE: Final = (
    "weigh the car again: level pads, the same driver weight, fuel and tyre pressures, anti-roll link off, "
    "wheelie bars clear, suspension settled"
)


def baseline_page(book: Logbook, name: str) -> dict[str, Any]:
    """Return how to undo all changes of a car in the shape of ``back-to-baseline --json``.

    ``NotFound`` without a car file or a full sheet.
    """
    found = stands(book, name)
    sheets = facts.sheets(book, name)
    base = baseline(sheets)
    if not base:
        raise NotFound(f"no full setup sheet for {name} in the logbook: import its baseline first")
    now = in_force(sheets, [found.key])[found.key]
    moved = [item for item in found.car.adjustables if _differs(base.get(item.name), now.get(item.name))]
    steps = [_step(found, item, now, base) for item in sorted(moved, key=lambda item: place(item.name))]
    return {
        "car": name,
        "run": str(found.key),
        "steps": steps,
        "minutes": sum(step["minutes"] for step in steps),
        "also_differs": _others(found.car, base, now),
        "checks": checks_after([item.name for item in moved]),
        "cautions": _cautions(moved),
    }


def _differs(base: SheetEntry | None, now: SheetEntry | None) -> bool:
    if base is None or now is None:
        return False
    return (base.value, base.text) != (now.value, now.text)


def _others(car: Car, base: Mapping[str, SheetEntry], now: Mapping[str, SheetEntry]) -> list[str]:
    """Return what else reads differently, such as weights or heights: to be measured, not set."""
    return sorted(
        item for item, entry in base.items() if car.adjustable(item) is None and _differs(entry, now.get(item))
    )


def place(name: str) -> tuple[int, str]:
    """Return where an item stands in the order of the work."""
    return next((n for n, words in enumerate(_ORDER) if words in name), len(_ORDER)), name


def _step(
    found: Clearance, item: Adjustable, now: Mapping[str, SheetEntry], base: Mapping[str, SheetEntry]
) -> dict[str, Any]:
    entry, target = now[item.name], base[item.name]
    barred = found.bars.of(item.name, target.value)
    return {
        "item": item.name,
        "from": _shown(item, entry),
        "to": _shown(item, target),
        "unit": item.unit,
        "minutes": item.minutes,
        "barred": bar_words(found.car, barred) if barred else None,
        "cautions": list(catalogue.cautions_for(item.cautions)),
    }


def _shown(item: Adjustable, entry: SheetEntry) -> float | str:
    return entry.text if item.holes or entry.value is None else entry.value


def _has(names: Sequence[str], words: Sequence[str]) -> bool:
    return any(word in name for name in names for word in words)


def checks_after(names: Sequence[str]) -> list[str]:
    """Return what has to be looked at after these items were set."""
    if not names:
        return []
    checks = ["every jam nut, bolt and pin that was loosened: tight, marked and looked at by a second person"]
    if _has(names, _STANCE):
        checks.append(SCALE)
    if _has(names, ("hole", "pinion", "ride height")):
        checks.append("driveshaft and links free through the whole travel, pinion angle measured again")
    return [*checks, "write down what was really done: runlog add change --to-baseline"]


def _cautions(moved: Sequence[Adjustable]) -> list[str]:
    letters = dict.fromkeys(letter for item in moved for letter in item.cautions)
    texts = [catalogue.CAUTIONS[letter] for letter in letters]
    if _has([item.name for item in moved], _RAISED):
        texts.insert(0, RAISED)
    return texts
