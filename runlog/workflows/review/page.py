"""The content of a test day's review, in the shape of ``review --json``: plain values, every unit in its name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from runlog.constants import REFERENCE_NAME
from runlog.errors import NotFound, UsageError
from runlog.store import calibrations, facts, reached, results
from runlog.workflows.air.page import Asked, air_page
from runlog.workflows.lessons.current import current_effects
from runlog.workflows.lessons.page import next_steps
from runlog.workflows.lessons.season import same_setup_spread
from runlog.workflows.record.content import record_part
from runlog.workflows.release.holds import credential_part
from runlog.workflows.release.page import stands
from runlog.workflows.release.shown import after_run
from runlog.workflows.results.first_motion import with_earlier_launches
from runlog.workflows.review.as_left import as_left_part
from runlog.workflows.review.changes import changes_part, effect_part, elapsed_rows
from runlog.workflows.review.method import CAUTIONS, METHOD
from runlog.workflows.review.privacy import without_names
from runlog.workflows.review.summary import summary
from runlog.workflows.review.traced import traces_part
from runlog.workflows.run_content import air_part, flat_run, rounded, trace_part

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Mapping, Sequence

    from runlog.records import RunKey, Track
    from runlog.results import Findings, RunResult
    from runlog.store.connection import Logbook

_TYPED: Final = ("found", "open_items", "clearance", "credentials")
FREE_TEXT: Final = ("note", "spoiled_reason", "start_record", "driver_report", "parts")


def review_page(
    book: Logbook, car: str | None, date: dt.date, *, short: bool = False, laid_over: Sequence[int] = ()
) -> dict[str, Any]:
    """Return the review of one car's day.

    ``short``: for the customer, without what only the shop needs (traces, air, method). ``laid_over``: numbers of the
    runs that are drawn along the track, the first as reference; chosen by themselves where none are given.
    ``NotFound`` where the car didn't run or a run isn't there, ``UsageError`` where several cars ran and none is named.
    """
    rows = results.run_results(book, car, date)
    if not rows:
        raise NotFound(f"no run{f' of {car}' if car else ''} on {date.isoformat()} in the logbook")
    ran = sorted({row.key.car for row in rows})
    if len(ran) > 1:
        raise UsageError(f"several cars ran on {date.isoformat()}: give one of {', '.join(ran)} with --car")
    name = ran[0]
    keys = results.run_keys(book)
    others = {key.car for key in keys} | set(results.cars_with_file(book))
    others.discard(name)
    effects = current_effects(book, name)
    found = {
        key: with_earlier_launches(shown, calibrations.of_run(book, key))
        for key, shown in results.findings(book, name, date).items()
    }
    known = facts.car(book, name)
    cleared = after_run(book, known, rows[-1], rows) if known else None
    # what is proposed is tried from now on, whichever day is summed up
    past = not reached.is_newest(book, rows[-1].key)
    chosen = _chosen(rows, laid_over)
    page = {
        "car": name,
        "date": date.isoformat(),
        "tracks": sorted({row.track for row in rows if row.track}),
        "audience": "customer" if short else "shop",
        "reference": REFERENCE_NAME,
        "best": _best(rows),
        "runs": [{**run_part_of(row, row.key in found), **record_part(book, row)} for row in rows],
        "spread": _spread(rows),
        "changes": changes_part(rows, effects),
        "effects": [
            {"item": row["adjustable"], "unit": row["unit"], **effect_part(row)} for row in elapsed_rows(effects)
        ],
        "learned_from": _learned_from(effects, max(key.date for key in keys if key.car == name)),
        "traces": None if short else traces_part(book, rows, chosen),
        "found": _found(rows, found, facts.tracks(book)),
        "open_items": [item.part() for item in cleared.items] if cleared else [],
        "clearance": cleared.part() if cleared else None,
        "credentials": [credential_part(item, date) for item in known.credentials] if known else [],
        "as_left": as_left_part(book, rows[-1].key),
        "air": None if short else _air(book, rows),
        "next": next_steps(book, dict(effects), stands(book, name) if past else cleared) if effects and cleared else [],
        "method": [{"title": title, "text": text, "source": source} for title, text, source in METHOD],
        "cautions": list(CAUTIONS),
    }
    page = _private(page, others)
    return {**page, "summary": summary(page)}


def _chosen(rows: Sequence[RunResult], numbers: Sequence[int]) -> list[RunResult] | None:
    if not numbers:
        return None
    by_number = {row.key.number: row for row in rows}
    missing = [str(number) for number in numbers if number not in by_number]
    if missing:
        there = ", ".join(map(str, by_number))
        raise NotFound(f"no run {', '.join(missing)} on {rows[0].key.date.isoformat()}; there are: {there}")
    return [by_number[number] for number in dict.fromkeys(numbers)]


def run_part_of(row: RunResult, logged: bool) -> dict[str, Any]:
    """Return a run with its figures, its air and what was changed before it; ``logged``: whether it has a trace."""
    return {
        **flat_run(row),
        "air": air_part(row.air),
        "changes": [
            {"item": change.item, "from": change.before, "to": change.after, "unit": change.unit}
            for change in row.changes
        ],
        "trace": logged,
        "caveats": list(row.caveats),
    }


def _reach(rows: Sequence[RunResult]) -> int | None:
    return max((feet for row in rows if row.clean for feet in row.counted_times()), default=None)


def _best(rows: Sequence[RunResult]) -> dict[str, Any] | None:
    """Return the quickest clean run to the farthest beam that one reached; by corrected times where all have them."""
    reach = _reach(rows)
    if reach is None:
        return None
    there = [row for row in rows if row.clean and reach in row.counted_times()]
    corrected = [row for row in there if reach in row.corrected_times]
    best = (
        min(corrected, key=lambda row: row.corrected_times[reach])
        if len(corrected) == len(there)
        else min(there, key=lambda row: row.times[reach])
    )
    return {
        "run": str(best.key),
        "number": best.key.number,
        "to_ft": reach,
        "measured_s": rounded(best.times[reach]),
        "corrected_s": rounded(best.corrected_times.get(reach)),
    }


def _spread(rows: Sequence[RunResult]) -> dict[str, Any] | None:
    reach = _reach(rows)
    return None if reach is None else same_setup_spread(rows, (0, reach))


def _learned_from(effects: Mapping[str, Any], newest: dt.date) -> dict[str, Any] | None:
    return {"runs": effects["runs_used"], "days": effects["days"], "to": newest.isoformat()} if effects else None


def _found(
    rows: Sequence[RunResult], findings: Mapping[RunKey, Findings], tracks: Mapping[str, Track]
) -> dict[str, Any]:
    """Return what the day's traces showed and what is asked about its data, each with its run."""
    alarms, warnings, missing = [], [], []
    for row in rows:
        part = trace_part(findings.get(row.key), None, row, tracks.get(row.track or ""))
        if part is None:
            continue
        alarms += [{"run": row.key.number, **alarm} for alarm in part["alarms"]]
        warnings += [{"run": row.key.number, "text": text} for text in part["warnings"]]
        missing += part["not_logged"]
    questions = [{"run": row.key.number, "text": question.text} for row in rows for question in row.questions]
    return {
        "alarms": alarms,
        "shake": [row.key.number for row in rows if (findings.get(row.key) or {}).get("shake_suspected")],
        "not_logged": list(dict.fromkeys(missing)),
        "warnings": warnings,
        "questions": questions,
    }


def _air(book: Logbook, rows: Sequence[RunResult]) -> dict[str, Any] | None:
    """Return the day's readings, and when the car ran; None where there are none."""
    key = rows[0].key
    try:
        page = air_page(Asked(car=key.car, day=key.date), book)
    except NotFound:
        return None
    ran = [{"number": row.key.number, "time": row.time.isoformat()} for row in rows if row.time]
    return {"track": page["track"], "series": page["series"], "runs": ran}


def _private(page: dict[str, Any], others: Collection[str]) -> dict[str, Any]:
    """Return the page with no other car named in what somebody typed."""
    runs = [{**run, **without_names({name: run[name] for name in FREE_TEXT}, others)} for run in page["runs"]]
    typed = {name: without_names(page[name], others) for name in _TYPED}
    left = page["as_left"]
    return {**page, "runs": runs, **typed, "as_left": {**left, "sheet": without_names(left["sheet"], others)}}
