"""What one usual step of each adjustable is worth in a car, beside what it is worth across the shop's cars."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.errors import NotFound
from runlog.workflows.lessons.fleet import fleet_page

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.store.connection import Logbook

_KEPT = ("mean_s", "lo90_s", "hi90_s", "verdict")


def worth_part(book: Logbook, effects: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the effect on the elapsed time of one usual step upwards: here, and across all cars of the logbook.

    ``effects`` as in ``effects --json``; empty: nothing is known of the car. No car is named.
    """
    if not effects:
        return []
    try:
        fleet = fleet_page(book)
    except NotFound:
        return worth_content(effects["effects"], [])
    return worth_content(effects["effects"], fleet["effects"])


def worth_content(own: Sequence[Mapping[str, Any]], fleet: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return the rows from a car's effects and the fleet's, each to the longest finish it knows."""
    across = {(row["adjustable"], row["unit"], row["step"]): row for row in _whole(fleet)}
    rows = []
    for row in _whole(own):
        beside = across.get((row["adjustable"], row["unit"], row["step"]))
        tried = len(beside["cars_tried"]) if beside else 0
        rows.append(
            {
                "adjustable": row["adjustable"],
                "step": row["step"],
                "unit": row["unit"],
                "here": {name: row[name] for name in _KEPT} if row["change_made"] else None,
                "across": {**{name: beside[name] for name in _KEPT}, "between_cars_s": beside["between_cars_s"]}
                if beside and tried
                else None,
                "cars_tried": tried,
            }
        )
    return [row for row in rows if row["here"] or row["across"]]


def _whole(rows: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    finish = max((row["to_ft"] for row in rows if row["from_ft"] == 0), default=None)
    return [row for row in rows if row["from_ft"] == 0 and row["to_ft"] == finish]
