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
_FROM_ZERO: Final = {"click", "psi", "rpm", "lb/in", "lb", "hole"}
"""units of what is counted from nothing: there is no less"""


@dataclass(frozen=True)
class Doubt:
    """What is doubtful about an entry of a sheet: in words, and which adjustable may have been meant at which value."""

    text: str
    meant: str | None = None
    value: float | None = None


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
    return Doubt(text)


def _reference(car: Car, entry: SheetEntry) -> Doubt | None:
    if car.adjustable(entry.item) is not None:
        return None
    for name, other, meant in _REFERENCES:
        if name in entry.item and re.search(rf"\b(?:{other})", entry.item.split(name, 1)[1]):
            known = next((item.name for item in car.adjustables if entry.item.startswith(item.name)), None)
            return Doubt(f"the sheet says {entry.item!r}; here {known or name} is meant {meant}: which was it?", known,
                         entry.value)  # fmt: skip
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
            return Doubt(f"the sheet says {entry.item!r}: is it {sided}?", sided, entry.value)
        if rest in names:
            text = f"the sheet says {entry.item!r}; this car's {rest} has no sides: was it set on both?"
            return Doubt(text, rest, entry.value)
    if {f"{entry.item} left", f"{entry.item} right"} <= set(names):
        return Doubt(f"the sheet says {entry.item!r}; this car has one on each side: which was set?")
    return None


def word_questions(case: RunCase) -> Iterator[Question]:
    """Yield what has to be asked about the words of the sheet that is new at a run."""
    if case.car is None:
        return
    new = [entry for item, entry in case.setup.items() if (case.before or {}).get(item) != entry]
    for entry, doubt in doubts(case.car, new):
        answers = [Answer("k", f"kept as it is, {entry.item} by itself")]
        item = case.car.adjustable(doubt.meant) if doubt.meant else None
        if item is not None and doubt.value is not None:
            effect = {"do": "sheet", "text": item.name, "value": doubt.value, "unit": item.unit}
            unit = "" if item.unit in ("hole", "1") else f" {item.unit}"
            answers.insert(0, Answer("y", f"{item.name} {item.label(doubt.value)}{unit}", effect))
        name = entry.item.replace(" ", "-")
        yield Question(f"words-{name}-{of(entry.item, entry.text)}", doubt.text, (), tuple(answers))
