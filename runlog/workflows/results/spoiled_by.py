"""Who spoiled a run, read from the reason that the crew wrote."""

from __future__ import annotations

import re
from typing import Final

CLASSES: Final = ("car", "driver", "track", "timing")
"""what may stand before the colon of a reason, such as ``car: tyre shake``"""
_WORDS: Final = {
    "car": r"spin|spins|spinning|spun|shake|shakes|shaking|shook|wheelstands?|parts?",
    "timing": r"slip|timing|clock|beams?|column",
    "driver": r"driver|lift|lifted|pedalled|missed|late",
    "track": r"track|oil|rain|damp|wet|surface|wind|gust",
}
"""by which a reason without a class is told, the first that fits. Common practice, no source."""


def whose(reason: str | None) -> str | None:
    """Return who spoiled a run, one of ``CLASSES``: by the class before the colon, else by the words of the reason.

    None for a clean run and where the words don't tell.
    """
    if reason is None:
        return None
    text = reason.lower()
    before, colon, _ = text.partition(":")
    if colon and before.strip() in CLASSES:
        return before.strip()
    return next((name for name, words in _WORDS.items() if re.search(rf"\b(?:{words})\b", text)), None)


def car_caused(reason: str | None) -> bool:
    """Return whether the car itself lost the run."""
    return whose(reason) == "car"
