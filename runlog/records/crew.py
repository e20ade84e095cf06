"""What the crew says beside figures: open items, ticked checks, sign-offs, reports, answers."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

STEPS = ("fire-up", "burnout", "60", "330", "660", "full")
"""the release steps of a first day, in order; the later ones go by the distance [ft] that they allow"""


@dataclass(frozen=True)
class CrewFact:
    """One thing that the crew said of a car. Its identity is its content, so the same said twice is one fact."""

    id: str
    """of the content, twelve hexadecimal digits"""
    what: str
    """the kind of thing said, one of ``readers.crew.MODELS``"""
    car: str
    date: dt.date
    """the day that it is about"""
    number: int | None
    """the run of that day that it is about; None: no run in particular"""
    at: dt.datetime
    """local time at which it was said"""
    by: str
    """who said it; empty: not told"""
    content: Mapping[str, Any] = field(default_factory=dict)
    """what it says beside that, with its defaults; the keys are those of its model"""

    @property
    def order(self) -> tuple[dt.date, dt.datetime, str]:
        """What facts are put in order by: the same in every logbook, however they came in."""
        return self.date, self.at, self.id
