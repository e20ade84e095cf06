"""What each plot shows, as plain values: parts of the pages that have the same figures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from runlog.errors import NotFound, UsageError
from runlog.store import results, traces
from runlog.workflows.air.page import Asked, air_page
from runlog.workflows.chassis.page import chassis_page
from runlog.workflows.find import find_car, find_day, find_run
from runlog.workflows.lessons.page import effects_page
from runlog.workflows.review.changes import effect_part, elapsed_rows
from runlog.workflows.review.page import run_part_of
from runlog.workflows.review.traced import MOST, choose, traces_part

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Sequence

    from runlog.results import RunResult
    from runlog.store.connection import Logbook


def plot_content(book: Logbook, kind: str, what: Sequence[str]) -> dict[str, Any]:
    """Return what a plot of one of ``KINDS`` shows of the day, runs or car that ``what`` names; the newest by default.

    ``UsageError`` for what can't be meant, ``NotFound`` where there is nothing to plot.
    """
    return {"kind": kind, **KINDS[kind](book, what)}


def _increments(book: Logbook, what: Sequence[str]) -> dict[str, Any]:
    rows = _day_rows(book, what)
    found = results.findings(book, rows[0].key.car, rows[0].key.date)
    return {**_of_day(rows), "runs": [run_part_of(row, row.key in found) for row in rows]}


def _traces(book: Logbook, what: Sequence[str]) -> dict[str, Any]:
    if len(what) > MOST:
        raise UsageError(f"at most {MOST} runs can be told apart on one plot, {len(what)} given")
    if what:
        keys = [find_run(book, text) for text in what]
        rows = [row for key in keys for row in results.run_results(book, key.car, key.date) if row.key == key]
    else:
        rows = choose(_day_rows(book, ()), traces.runs_with_trace(book))
    part = traces_part(book, rows, rows)
    if part is None:
        named = ", ".join(str(row.key) for row in rows) or "the newest day"
        raise NotFound(f"nothing to plot: no trace of {named} tells speed and distance")
    others = [str(row.key) for row in rows if str(row.key) != part["reference"]]
    return {"about": ", ".join([part["reference"], *others]), "traces": part}


def _effects(book: Logbook, what: Sequence[str]) -> dict[str, Any]:
    car = find_car(book, _one(what, "a car"))
    page = effects_page(book, car)
    rows = [{"item": row["adjustable"], "unit": row["unit"], **effect_part(row)} for row in elapsed_rows(page)]
    if not rows:
        raise NotFound(f"nothing to plot: no adjustable of {car} has been moved yet")
    return {"about": car, "effects": rows}


def _air(book: Logbook, what: Sequence[str]) -> dict[str, Any]:
    text = _one(what, "a day")
    car, date = (None, None) if text is None else find_day(book, text)
    page = air_page(Asked(car=car, day=date), book)
    if not page["series"] or len(page["series"]) < 2:
        raise NotFound("nothing to plot: fewer than two readings of the air on that day")
    runs = [{**run, "number": run["key"].rpartition("/")[2]} for run in page["runs"]]
    return {"about": page["day"], "air": {"track": page["track"], "series": page["series"], "runs": runs}}


def _chassis(book: Logbook, what: Sequence[str]) -> dict[str, Any]:
    text = _one(what, "a car or a run")
    run = find_run(book, text) if text is not None and "/" in text else None
    car = run.car if run else find_car(book, text)
    return {"about": car, "chassis": chassis_page(book, car, run)}


KINDS: Final[dict[str, Callable[[Logbook, Sequence[str]], dict[str, Any]]]] = {
    "increments": _increments,
    "traces": _traces,
    "effects": _effects,
    "air": _air,
    "chassis": _chassis,
}
"""kind of plot → what it shows"""


def _one(what: Sequence[str], named: str) -> str | None:
    if len(what) > 1:
        raise UsageError(f"this plot is of {named}, {len(what)} given: {', '.join(what)}")
    return what[0] if what else None


def _day_rows(book: Logbook, what: Sequence[str]) -> list[RunResult]:
    text = _one(what, "a day")
    car: str | None
    date: dt.date
    if text is None:
        newest = find_run(book, None)
        car, date = newest.car, newest.date
    else:
        car, date = find_day(book, text)
    rows = results.run_results(book, car, date)
    ran = sorted({row.key.car for row in rows})
    if len(ran) > 1:
        raise UsageError(f"several cars ran on {date.isoformat()}: give one of them as car/{date.isoformat()}, "
                         f"car being {', '.join(ran)}")  # fmt: skip
    return rows


def _of_day(rows: Sequence[RunResult]) -> dict[str, Any]:
    return {"about": f"{rows[0].key.car}/{rows[0].key.date.isoformat()}"}
