"""Changes entered as what was really done: typed, as planned, or back to the baseline; kept as a setup sheet."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

from runlog import catalogue
from runlog.errors import NotFound, UsageError
from runlog.records import Given, RunKey
from runlog.store import facts, proposals
from runlog.workflows.intake.ingest import add_typed
from runlog.workflows.release.barred import bar_words
from runlog.workflows.release.baseline import baseline_page
from runlog.workflows.release.limits import is_outside, outside_words
from runlog.workflows.release.page import stands
from runlog.workflows.setup import in_force
from runlog.workflows.suppose.changes import read_wish

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import Adjustable
    from runlog.store.connection import Logbook
    from runlog.workflows.release.clearance import Clearance


def planned(book: Logbook, key: RunKey) -> list[str]:
    """Return the changes that the day's plan has before a run, as ``NAME=VALUE``. ``NotFound`` where it has none."""
    found = proposals.plan(book, key.car, key.date)
    steps = found.content["steps"] if found else []
    step = next((step for step in steps if step["run"] == key.number), None)
    if step is None:
        raise NotFound(f"no accepted plan has a run {key}: 'runlog plan --accept' makes one")
    return [f"{line['item']}={line['value']}" for line in step["set"]]


def to_baseline(book: Logbook, name: str) -> list[str]:
    """Return the changes that bring a car back to its baseline, as ``NAME=VALUE``."""
    return [f"{step['item']}={step['to']}" for step in baseline_page(book, name)["steps"]]


def standing(book: Logbook, key: RunKey) -> list[dict[str, Any]]:
    """Return {item, value, unit} of every adjustable of a car as it stands before a run; None where no sheet tells."""
    found = stands(book, key.car)
    now = in_force(facts.sheets(book, key.car), [key])[key]
    values = {item.name: now[item.name].value if item.name in now else None for item in found.car.adjustables}
    return [
        {"item": item.name, "value": None if value is None else item.label(value), "unit": item.unit}
        for item in found.car.adjustables
        for value in [values[item.name]]
    ]


def read_changes(book: Logbook, key: RunKey, texts: Sequence[str]) -> dict[str, Any]:
    """Return changes before a run as they will be kept, in the shape of ``add change --json``.

    What was really done is kept also where it passes a limit or is barred: the page warns. ``UsageError`` for what
    isn't a change of an adjustable of the car, or changes nothing.
    """
    found = stands(book, key.car)
    now = in_force(facts.sheets(book, key.car), [key])[key]
    values = {name: entry.value for name, entry in now.items() if entry.value is not None}
    changes: list[dict[str, Any]] = []
    warnings: list[str] = []
    moved: list[Adjustable] = []
    for text in texts:
        wish = read_wish(found.car, values, text, held=False)
        item = wish.adjustable
        if item is None:
            raise UsageError(f"{text!r}: {wish.item} is no adjustable of {key.car}")
        if wish.after is None:
            raise UsageError(f"{text!r}: no sheet tells where {item.name} stood: write {item.name}=VALUE")
        if any(change["item"] == item.name for change in changes):
            raise UsageError(f"{item.name} is changed twice: write it once")
        changes.append(
            {"item": item.name, "from": wish.shown(wish.before), "to": wish.shown(wish.after), "unit": item.unit}
        )
        warnings += _warnings(found, item, wish.after)
        moved.append(item)
    if not changes:
        raise UsageError('nothing was changed: say what, such as "launch rpm=4400"')
    cautions = dict.fromkeys(text for item in moved for text in catalogue.cautions_for(item.cautions))
    return {
        "car": key.car,
        "run": str(key),
        "changes": changes,
        "warnings": [*warnings, *_too_early(found, key)],
        "cautions": list(cautions),
    }


def _warnings(found: Clearance, item: Adjustable, value: float) -> list[str]:
    texts = []
    if is_outside(found.car, item, value):
        texts.append(outside_words(found.car, item, value))
    bar = found.bars.of(item.name, value)
    if bar is not None:
        texts.append(f"{bar_words(found.car, bar)}; it is kept as done, but no run is proposed with it")
    return texts


def _too_early(found: Clearance, key: RunKey) -> list[str]:
    """Say so when a car is changed before its release, or before its unchanged runs."""
    if found.key != key:
        return []
    if found.release.next is not None:
        return [f"{key.car} is still at a release step: what a change does now can't be told from its settling in"]
    return [text for text in found.notes if "before the first change" in text]


def keep_changes(book: Logbook, key: RunKey, changes: Sequence[dict[str, Any]]) -> None:
    """Keep changes as a setup sheet that holds from a run on: its text is the original."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["car", "date", "run", "item", "value", "unit"])
    for change in changes:
        unit = "" if change["unit"] == "hole" else change["unit"]
        writer.writerow([key.car, key.date.isoformat(), key.number, change["item"], change["to"], unit])
    add_typed(book, "sheet", text.getvalue().encode(), f"typed changes {key}", Given())


def next_key(book: Logbook, name: str) -> RunKey:
    """Return a car's next run, which changes are entered for where nobody says. ``NotFound`` without a car file."""
    return stands(book, name).key
