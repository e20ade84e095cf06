"""Parts at hand: what is changed by fitting another part can only be planned to the parts that are there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from runlog import catalogue
from runlog.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import Adjustable, Car


Parts = Mapping[str, tuple[float, ...]]
"""values at hand by adjustable, as said on the day"""


def read_parts(car: Car, said: Sequence[str]) -> Parts:
    """Return the values at hand by adjustable, from words such as ``final drive=4.10,4.30``; ``UsageError`` else."""
    found: dict[str, tuple[float, ...]] = {}
    for text in said:
        name, _, listed = text.partition("=")
        item = car.adjustable(" ".join(name.lower().split()))
        if item is None:
            known = ", ".join(other.name for other in car.adjustables) or "none"
            raise UsageError(f"--parts: {name.strip()!r} is no adjustable of {car.name}; there are: {known}")
        found[item.name] = tuple(sorted({_number(item, word) for word in listed.split(",")}))
    return found


def _number(item: Adjustable, word: str) -> float:
    try:
        return float(word)
    except ValueError:
        accepted = f'"{item.name}=NUMBER,NUMBER" in {item.unit}'
        raise UsageError(f"--parts: {word.strip()!r} is not a number of {item.name}; accepted: {accepted}") from None


def needs_part(item: Adjustable, said: Parts) -> bool:
    """Tell whether an adjustable can only be set to the parts that are there."""
    return item.name in said or bool(item.at_hand) or item.name in catalogue.NEEDS_PART


def near(item: Adjustable, now: float, said: Parts, span: tuple[float, float]) -> tuple[float, ...]:
    """Return the part that is in the car and the nearest one at hand on either side of it, within a span.

    What was said on the day goes before the car file.
    """
    values = [value for value in said.get(item.name, item.at_hand) if span[0] <= value <= span[1]]
    lower = [value for value in values if value < now - 1e-9]
    higher = [value for value in values if value > now + 1e-9]
    return (now, *lower[-1:], *higher[:1])


def lacking(item: Adjustable) -> str:
    """Return why an adjustable is left out that no part is known to be at hand of."""
    return f'left out, it takes another part and none is known to be at hand: say it with --parts "{item.name}=…"'
