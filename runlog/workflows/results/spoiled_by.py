"""Who spoiled a run, read from the reason that the crew wrote."""

from __future__ import annotations

import re
from typing import Final

CLASSES: Final = ("car", "driver", "track", "timing")
"""what may stand before the colon of a reason, such as ``car: tyre shake``"""
_CAR_WORDS: Final = re.compile(r"\b(?:spin|spins|spinning|spun|shake|shakes|shaking|shook|wheelstands?|parts?)\b")
"""what only the car itself does. Common practice, no source."""


def car_caused(reason: str | None) -> bool:
    """Return whether the car itself lost the run: by the class before the colon, else by the words of the reason."""
    if reason is None:
        return False
    text = reason.lower()
    before, colon, _ = text.partition(":")
    if colon and before.strip() in CLASSES:
        return before.strip() == "car"
    return _CAR_WORDS.search(text) is not None
