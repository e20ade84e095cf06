"""What each change did to a car's times, read back as it was computed when the facts came in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.constants import REFERENCE_NAME
from runlog.errors import NotFound
from runlog.store import facts, results
from runlog.workflows.ahead.candidates import never_proposed
from runlog.workflows.ahead.finish_speed import finish_speeds
from runlog.workflows.lessons.current import current_effects, finish_of
from runlog.workflows.release.barred import bar_words
from runlog.workflows.release.page import stands
from runlog.workflows.release.shown import refused

if TYPE_CHECKING:
    import datetime as dt

    from runlog.records import Car
    from runlog.store.connection import Logbook
    from runlog.workflows.release.clearance import Clearance


def effects_page(book: Logbook, car: str) -> dict[str, Any]:
    """Return the effects of a car; ``NotFound`` when there is no car file or no run to learn from."""
    effects = current_effects(book, car)
    if not effects:
        missing = "a run" if car in results.cars_with_file(book) else "a car file"
        raise NotFound(f"nothing is known of {car} yet: import {missing} first")
    return _page(book, effects, None)


def day_page(book: Logbook, car: str, date: dt.date) -> dict[str, Any]:
    """Return what a car's runs of one day alone say, in the same shape; ``NotFound`` without a car file or a run."""
    from runlog.workflows.lessons.fleet import others_of
    from runlog.workflows.lessons.learn import effects_content, subject_of

    known = facts.car(book, car)
    if known is None:
        raise NotFound(f"nothing is known of {car} yet: import a car file first")
    rows = results.run_results(book, car, date)
    if not rows:
        raise NotFound(f"no run of {car} on {date.isoformat()} in the logbook")
    others = others_of(book, car)
    content = effects_content(subject_of(book, known), rows, finish_of(book, rows), others)
    return _page(book, content, date)


def _page(book: Logbook, effects: dict[str, Any], date: dt.date | None) -> dict[str, Any]:
    said = None if date is None else date.isoformat()
    content = {name: value for name, value in effects.items() if name != "others"}
    cleared = stands(book, effects["car"])
    following = {"next": next_steps(book, content, cleared), "next_held": next_held(cleared)}
    return {**content, "day": said, "reference": REFERENCE_NAME, **following}


def next_held(cleared: Clearance) -> list[str]:
    """Return why less may be tried than could be: no next run, or a shorter one, a release step, barred settings."""
    far = "" if cleared.to_ft == 0 else f"next run to {cleared.to_ft} ft at most: "
    return [*(f"{far}{why}" for why in cleared.reasons), *(bar_words(cleared.car, bar) for bar in cleared.bars.bars)]


def next_steps(book: Logbook, effects: dict[str, Any], cleared: Clearance, most: int = 3) -> list[dict[str, Any]]:
    """Return what to try next to learn most: changes that can't be told yet, the nearest to an answer first.

    Nothing while there is no next run or a release step is to be passed, and no setting that is barred or past a limit.

    Each is there and back: the change, then the return, so that drift and the day can't pass for its effect. Items
    that risk the engine are left to the engine builder and never proposed.
    """
    rows = effects["effects"]
    finish = max((row["to_ft"] for row in rows if row["from_ft"] == 0 and row["change_made"]), default=None)
    whole = [row for row in rows if row["from_ft"] == 0 and row["to_ft"] == finish]
    open_ = [row for row in whole if row["verdict"] in ("cannot_tell", "cannot_separate")]
    open_.sort(key=lambda row: (row["runs_needed"] or 0, row["adjustable"]))
    if not open_ or cleared.to_ft == 0 or cleared.release.next is not None:
        return []
    rows_so_far = results.run_results(book, cleared.car.name)
    setup = {entry.item: entry for entry in rows_so_far[-1].setup} if rows_so_far else {}
    too_fast = finish_speeds(book, cleared.car, rows_so_far, setup, cleared.finish_ft)
    steps = [_step(row) for row in open_ if not _never(cleared.car, row["adjustable"])]
    return [
        step for step in steps if not any(refused(cleared, step["adjustable"], at, too_fast) for at in step["path"])
    ][:most]


def _never(car: Car, name: str) -> bool:
    item = car.adjustable(name)
    return item is None or never_proposed(item) is not None


def _step(row: dict[str, Any]) -> dict[str, Any]:
    made = row["change_made"]
    apart = row["verdict"] == "cannot_separate"
    partners = ", ".join(row["inseparable_from"])
    why = made["note"] or (
        f"always moved together with {partners}: move it alone"
        if apart
        else f"not settled: {100 * made['probability_helps']:.0f} % that the change helps"
    )
    return {
        "adjustable": row["adjustable"],
        "unit": row["unit"],
        "from": made["from"],
        "to": made["to"],
        "path": [made["from"], made["to"], made["from"]],
        "runs_needed": row["runs_needed"],
        "why": why,
        "cautions": row["cautions"],
    }
