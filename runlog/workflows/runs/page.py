"""One run on one page: what it ran, whether that was expected, what changed, what the trace shows, what to mind."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog import catalogue
from runlog.constants import REFERENCE_NAME, SPLIT_DISTANCES_FT
from runlog.store import calibrations, facts, proposals, results
from runlog.workflows.lessons.current import current_effects
from runlog.workflows.questions.content import question_part
from runlog.workflows.record.content import record_part
from runlog.workflows.release.shown import after_run, planned_within
from runlog.workflows.run_content import (
    air_part,
    increments_part,
    rounded,
    run_part,
    speeds_part,
    trace_part,
)
from runlog.workflows.runs.off_plan import off_plan

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.records import Car, RunKey
    from runlog.results import RunResult
    from runlog.store.connection import Logbook

ALWAYS = "Figures are measurements and estimates, not permission: rules, makers' limits and inspection come first."


def run_page(book: Logbook, key: RunKey) -> dict[str, Any]:
    """Return the page of a run in the shape of ``show --json``; ``explain.explanation`` makes what is left null."""
    day = results.run_results(book, key.car, key.date)
    row = next(row for row in day if row.key == key)
    car = facts.car(book, key.car)
    found = results.findings(book, key.car, key.date).get(key)
    cleared = after_run(book, car, row, day) if car else None
    planned = plan_part(book, key)
    if cleared is not None:
        planned = planned_within(planned, cleared)
    effects = current_effects(book, key.car)
    return {
        "run": run_part(row),
        "air": air_part(row.air),
        "reference": REFERENCE_NAME,
        "caveats": list(row.caveats),
        "splits": _splits(row, _expected(book, car, row)),
        "increments": increments_part(row, results.corrected_runs(book, key.car)),
        "speeds": speeds_part(row),
        "trace": trace_part(found, calibrations.of_run(book, key), row, facts.tracks(book).get(row.track or "")),
        "changes": [
            {"item": change.item, "from": change.before, "to": change.after, "unit": change.unit}
            for change in row.changes
        ],
        "verdicts": verdicts_part(effects),
        "on_the_clock": [item["text"] for item in effects.get("on_the_clock", [])],
        "questions": [question.text for question in row.questions],
        "asked": [question_part(question) for question in row.questions],
        **record_part(book, row),
        "open_items": [item.part() for item in cleared.items] if cleared else [],
        "clearance": cleared.part() if cleared else None,
        "plan": planned,
        "off_plan": off_plan(book, car, row),
        "cautions": _cautions(car, row, planned),
        "explanation": None,
    }


def plan_part(book: Logbook, key: RunKey) -> dict[str, Any] | None:
    """Return the run that the day's plan has after this one; None where it has none, or there is no plan."""
    found = proposals.plan(book, key.car, key.date)
    if found is None or key.number < found.key.number - 1:
        return None
    steps = found.content["steps"]
    following = next((step for step in steps if step["run"] > key.number), None)
    return None if following is None else {"steps": len(steps), "next": following}


def _splits(row: RunResult, expected: Mapping[int, tuple[float, float]]) -> list[dict[str, Any]]:
    part = []
    for feet in SPLIT_DISTANCES_FT:
        trace, trace_sd = row.trace_splits.get(feet, (None, None))
        mean, sd = expected.get(feet, (None, None))
        part.append(
            {
                "distance_ft": feet,
                "measured_s": rounded(row.times.get(feet)),
                "corrected_s": rounded(row.corrected_times.get(feet)),
                "counts": feet <= (row.valid_to_ft or 0),
                "trace_s": rounded(trace),
                "trace_sd_s": rounded(trace_sd),
                "expected_s": rounded(mean),
                "expected_sd_s": rounded(sd),
            }
        )
    return part


def _expected(book: Logbook, car: Car | None, row: RunResult) -> Mapping[int, tuple[float, float]]:
    """Return what the car's runs before this one led to expect of it, in its air and setup."""
    if row.expected is not None:
        return row.expected
    if car is None:
        return {}
    # an earlier day's run: the one case where the page computes, so numpy and the regression are loaded only here
    from runlog.workflows.lessons.learn import expected_splits, subject_of

    return expected_splits(subject_of(book, car), results.run_results(book, car.name), row)


def verdicts_part(effects: dict[str, Any]) -> list[dict[str, Any]]:
    """Return what is known so far of each adjustable that moved, on the elapsed time of the change really made.

    ``held_back``: runs that the car itself lost at the setting that a claim, here or on an increment, would favour.
    """
    rows = effects.get("effects", [])
    finish = max((row["to_ft"] for row in rows if row["from_ft"] == 0 and row["change_made"]), default=None)
    held = {
        row["adjustable"]: row["change_made"]["held_back"]
        for row in rows
        if row["change_made"] and row["change_made"]["held_back"]
    }
    return [
        {
            "adjustable": row["adjustable"],
            "unit": row["unit"],
            **{name: row["change_made"][name] for name in ("from", "to", "mean_s", "lo90_s", "hi90_s")},
            "probability_helps": row["change_made"]["probability_helps"],
            "verdict": row["change_made"]["verdict"],
            "inseparable_from": row["inseparable_from"],
            "runs_needed": row["runs_needed"],
            "held_back": held.get(row["adjustable"]),
        }
        for row in rows
        if row["from_ft"] == 0 and row["to_ft"] == finish and row["change_made"]
    ]


def _cautions(car: Car | None, row: RunResult, planned: dict[str, Any] | None) -> list[str]:
    """Return the cautions of what was changed or is planned to be changed next, and the one that always stands."""
    letters: dict[str, list[str]] = {}
    names = [change.item for change in row.changes] + [
        line["item"] for line in (planned["next"]["set"] if planned else [])
    ]
    for name in dict.fromkeys(names):
        item = car.adjustable(name) if car else None
        for letter in item.cautions if item else "":
            letters.setdefault(letter, []).append(name)
    texts: dict[tuple[str, ...], list[str]] = {}
    for letter, items in letters.items():
        texts.setdefault(tuple(items), []).append(catalogue.CAUTIONS[letter])
    damp = [row.record["damp"]] if "damp" in row.record else []
    return [*damp, *(f"{', '.join(items)}: {'; '.join(said)}" for items, said in texts.items()), ALWAYS]
