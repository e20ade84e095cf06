"""The setup in force at each run: a full sheet, and changes carried forward until the next."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runlog.results import Change

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from runlog.records import RunKey, Sheet, SheetEntry


def baseline(sheets: Sequence[Sheet]) -> dict[str, SheetEntry]:
    """Return the car's baseline: its first full sheet; empty when there is none."""
    first = next((sheet for sheet in sheets if sheet.full), None)
    return {} if first is None else {entry.item: entry for entry in first.entries}


def in_force(sheets: Sequence[Sheet], keys: Iterable[RunKey]) -> dict[RunKey, dict[str, SheetEntry]]:
    """Return the setup of every run: sheets as ordered by the store, each valid from its run on."""
    state: dict[str, SheetEntry] = {}
    waiting = list(sheets)
    found = {}
    for key in sorted(keys):
        while waiting and _starts(waiting[0], key):
            sheet = waiting.pop(0)
            entries = {entry.item: entry for entry in sheet.entries}
            state = entries if sheet.full else {**state, **entries}
        found[key] = state
    return found


def _starts(sheet: Sheet, key: RunKey) -> bool:
    return sheet.date is None or (sheet.date, sheet.number) <= (key.date, key.number)


def changes(before: Mapping[str, SheetEntry] | None, after: Mapping[str, SheetEntry]) -> tuple[Change, ...]:
    """Return what differs from the run before; nothing for the first run, or where no sheet came before."""
    if not before:
        return ()
    return tuple(
        Change(item, before[item].text if item in before else None, entry.text, entry.unit)
        for item, entry in sorted(after.items())
        if item not in before or (before[item].value, before[item].text) != (entry.value, entry.text)
    )
