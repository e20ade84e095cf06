"""Questions about what a sheet calls a thing: a side that the car has not, another reference point, a direction.

What is stored is never guessed: until it is answered, such an entry stays a reading of its own. Common practice, no
source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from runlog.results import Answer, Question
from runlog.workflows.questions.case import of
from runlog.workflows.release.limits import is_outside

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from runlog.records import Car, SheetEntry
    from runlog.workflows.questions.case import RunCase

_SIDES: Final = {"left": "left", "right": "right", "driver side": "left", "passenger side": "right", "lh": "left",
                 "rh": "right"}  # fmt: skip
_REFERENCES: Final = (
    # words of the item's name, words after it that mean another reference, what the program means
    ("pinion angle", r"ground|level|floor|horizontal|frame|chassis", "to the driveshaft"),
    ("shock", r"full (?:hard|stiff|firm|in|closed)|from (?:hard|stiff|firm)", "in clicks from full soft"),
    ("cross weight", r"left front|lf\b|right rear|rr\b", "right front and left rear together"),
    ("ride height", r"(?:to|at|from) (?:axle|fender|body|wheel)", "from the ground to where the baseline was measured"),
)
SEVERAL: Final = "; "
"""between the items that an answer writes the same value of"""
_FROM_ZERO: Final = {"click", "psi", "rpm", "lb/in", "lb", "hole"}
"""units of what is counted from nothing: there is no less"""


@dataclass(frozen=True)
class Doubt:
    """What is doubtful about an entry of a sheet: in words, and which adjustable may have been meant at which value."""

    text: str
    meant: tuple[str, ...] = ()
    value: float | None = None
    is_change: bool = False
    """the value may be by how much it was changed, rather than where it stands"""


def doubts(car: Car, entries: Iterable[SheetEntry]) -> Iterator[tuple[SheetEntry, Doubt]]:
    """Yield the entries whose words name a side, a reference point or a direction that the car doesn't have so."""
    for entry in entries:
        found = _direction(car, entry) or _reference(car, entry) or _side(car, entry)
        if found is not None:
            yield entry, found


def _direction(car: Car, entry: SheetEntry) -> Doubt | None:
    item = car.adjustable(entry.item)
    if item is None or entry.value is None or entry.value >= 0 or item.unit not in _FROM_ZERO:
        return None
    if item.low is not None and item.low < 0:
        return None
    start = "full soft" if item.unit == "click" else "nothing"
    text = f"{item.name} {entry.text} {item.unit}: it is counted up from {start}; was it a change by so much?"
    return Doubt(text, (item.name,), entry.value, is_change=True)


def _reference(car: Car, entry: SheetEntry) -> Doubt | None:
    if car.adjustable(entry.item) is not None:
        return None
    for name, other, meant in _REFERENCES:
        if name in entry.item and re.search(rf"\b(?:{other})", entry.item.split(name, 1)[1]):
            known = next((item.name for item in car.adjustables if entry.item.startswith(item.name)), None)
            return Doubt(f"the sheet says {entry.item!r}; here {known or name} is meant {meant}: which was it?",
                         (known,) if known else (), entry.value)  # fmt: skip
    return None


def _side(car: Car, entry: SheetEntry) -> Doubt | None:
    """A side of something that the car has no sides of, or none where it has them."""
    if car.adjustable(entry.item) is not None:
        return None
    names = [item.name for item in car.adjustables]
    for word, side in _SIDES.items():
        rest = " ".join(re.sub(rf"\b{word}\b", " ", entry.item).split())
        if rest == entry.item:
            continue
        if f"{rest} {side}" in names:
            sided = f"{rest} {side}"
            return Doubt(f"the sheet says {entry.item!r}: is it {sided}?", (sided,), entry.value)
        if rest in names:
            text = f"the sheet says {entry.item!r}; this car's {rest} has no sides: was it set on both?"
            return Doubt(text, (rest,), entry.value)
    sides = f"{entry.item} left", f"{entry.item} right"
    if set(sides) <= set(names):
        text = f"the sheet says {entry.item!r}; this car has one on each side: which was set?"
        return Doubt(text, sides, entry.value)
    return None


def word_questions(case: RunCase) -> Iterator[Question]:
    """Yield what has to be asked about the words of the sheet that is new at a run."""
    if case.car is None:
        return
    new = [entry for item, entry in case.setup.items() if (case.before or {}).get(item) != entry]
    for entry, doubt in doubts(case.car, new):
        answers = [*_meant(case, case.car, doubt), Answer("k", f"kept as it is, {entry.item} by itself")]
        name = entry.item.replace(" ", "-")
        yield Question(f"words-{name}-{of(entry.item, entry.text)}", doubt.text, (), tuple(answers))


def _meant(case: RunCase, car: Car, doubt: Doubt) -> Iterator[Answer]:
    """Yield the answers that write what was meant into a sheet: of two sides both, or one of them."""
    items = [item for name in doubt.meant if (item := car.adjustable(name)) is not None]
    value = doubt.value
    if doubt.is_change and value is not None and items:
        before = (case.before or {}).get(items[0].name)
        value = None if before is None or before.value is None else before.value + value
        if value is not None and (value < 0 or is_outside(car, items[0], value)):
            value = None
    if value is None or not items:
        return
    keys = {"y": items} if len(items) == 1 else {"b": items, "l": items[:1], "r": items[1:]}
    for key, chosen in keys.items():
        names = SEVERAL.join(item.name for item in chosen)
        effect = {"do": "sheet", "text": names, "value": value, "unit": chosen[0].unit}
        unit = "" if chosen[0].unit in ("hole", "1") else f" {chosen[0].unit}"
        yield Answer(key, f"{names.replace(SEVERAL, ' and ')} {chosen[0].label(value)}{unit}", effect)
