"""The car as it was left at the end of a day, and the way back to its baseline."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from runlog import catalogue
from runlog.errors import RunlogError
from runlog.records import RunKey
from runlog.store import facts
from runlog.workflows.chassis.page import chassis_page
from runlog.workflows.release.baseline import checks_after, place
from runlog.workflows.setup import baseline, in_force

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.records import Car, SheetEntry
    from runlog.store.connection import Logbook

_AFTER: Final = 1_000_000
"""a run number after any run of a day: sheets written after the last run count too"""


def as_left_part(book: Logbook, last: RunKey) -> dict[str, Any]:
    """Return the sheet in force after a day's last run, what differs from the baseline, weights and links.

    ``chassis`` is in the shape of ``chassis --json`` with the setup of the last run; None where the logbook has too
    little of the car for it.
    """
    sheets = facts.sheets(book, last.car)
    car = facts.car(book, last.car)
    end = RunKey(last.car, last.date, _AFTER)
    state, base = in_force(sheets, [end])[end], baseline(sheets)
    back = sorted(_moved(state, base), key=lambda one: place(one[0]))
    later = [sheet for sheet in sheets if sheet.date == last.date and sheet.number > last.number]
    return {
        "run": str(last),
        "changed_after_last_run": bool(later),
        "baseline_known": bool(base),
        "sheet": [_line(entry, base) for entry in state.values()],
        "back_to_baseline": [_step(item, state.get(item), entry, car) for item, entry in back],
        "checks": checks_after([item for item, _ in back]),
        "chassis": _chassis(book, last) if car else None,
    }


def _line(entry: SheetEntry, base: Mapping[str, SheetEntry]) -> dict[str, Any]:
    first = base.get(entry.item)
    return {
        "item": entry.item,
        "value": entry.text,
        "unit": entry.unit,
        "baseline": first.text if first else None,
        "differs": first is not None and _differs(entry, first),
    }


def _differs(entry: SheetEntry | None, first: SheetEntry) -> bool:
    return entry is None or (entry.value, entry.text) != (first.value, first.text)


def _moved(state: Mapping[str, SheetEntry], base: Mapping[str, SheetEntry]) -> list[tuple[str, SheetEntry]]:
    return [(item, first) for item, first in base.items() if _differs(state.get(item), first)]


def _step(item: str, now: SheetEntry | None, first: SheetEntry, car: Car | None) -> dict[str, Any]:
    adjustable = car.adjustable(item) if car else None
    return {
        "item": item,
        "from": now.text if now else None,
        "to": first.text,
        "unit": first.unit,
        "minutes": adjustable.minutes if adjustable else None,
        "cautions": list(catalogue.cautions_for(adjustable.cautions)) if adjustable else [],
    }


def _chassis(book: Logbook, last: RunKey) -> dict[str, Any] | None:
    try:
        return chassis_page(book, last.car, last)
    except RunlogError:
        # scale readings that can't be: the chassis page says which, the document goes without the drawing
        return None
