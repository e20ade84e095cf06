"""Open items: something found that must be dealt with, until someone says that it was."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

    from runlog.records import CrewFact

STOP: Final = "stop"
DUES: Final = (STOP, "before next run", "at the shop")
"""by when an item must be dealt with, the most urgent first"""


@dataclass(frozen=True)
class OpenItem:
    """An item, and how it was closed; ``closed`` is None while it is open."""

    fact: CrewFact
    closed: CrewFact | None = None

    @property
    def due(self) -> str:
        """By when it must be dealt with."""
        return str(self.fact.content["due"])

    @property
    def text(self) -> str:
        """What was found."""
        return str(self.fact.content["text"])

    def part(self) -> dict[str, Any]:
        """Return it as every page's JSON has it."""
        return {
            "id": self.fact.id,
            "due": self.due,
            "text": self.text,
            "date": self.fact.date.isoformat(),
            "run": self.fact.number,
            "by": self.fact.by or None,
            "settings": self.fact.content["settings"],
            "closed": None
            if self.closed is None
            else {
                "date": self.closed.date.isoformat(),
                "text": self.closed.content["text"],
                "by": self.closed.by or None,
            },
        }


def all_items(facts: Iterable[CrewFact]) -> tuple[OpenItem, ...]:
    """Return every item, open ones first, the most urgent and then the oldest first."""
    told = sorted(facts, key=lambda fact: fact.order)
    closings = {fact.content["item"]: fact for fact in reversed(told) if fact.what == "item_closed"}
    items = [OpenItem(fact, closings.get(fact.id)) for fact in told if fact.what == "item"]
    return tuple(sorted(items, key=lambda item: (item.closed is not None, DUES.index(item.due), item.fact.order)))


def open_items(facts: Iterable[CrewFact]) -> tuple[OpenItem, ...]:
    """Return the items that nobody has closed, the most urgent first."""
    return tuple(item for item in all_items(facts) if item.closed is None)
