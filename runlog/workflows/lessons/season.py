"""One car day by day: how quick in standard air, how consistent, what was changed, and what that did."""

from __future__ import annotations

import math
import statistics
from itertools import groupby
from typing import TYPE_CHECKING, Any

from runlog.constants import INCREMENTS_FT, REFERENCE_NAME, SPLIT_DISTANCES_FT
from runlog.errors import NotFound
from runlog.learning.mixture import chi_square_quantile
from runlog.store import results
from runlog.workflows.lessons.current import current_effects
from runlog.workflows.lessons.worth import worth_part
from runlog.workflows.run_content import rounded
from runlog.workflows.runs.page import verdicts_part

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from runlog.results import RunResult
    from runlog.store.connection import Logbook

Span = tuple[int, int]
SPANS: tuple[Span, ...] = (*INCREMENTS_FT, *((0, feet) for feet in SPLIT_DISTANCES_FT[1:]))
"""increments, and times from the start; (0, 60) is both"""


def season_page(book: Logbook, car: str) -> dict[str, Any]:
    """Return a car's season in the shape of ``season --json``; ``NotFound`` when it hasn't run."""
    rows = results.run_results(book, car)
    if not rows:
        raise NotFound(f"no run of {car} in the logbook yet: import slips first")
    effects = current_effects(book, car)
    return {**season_content(car, rows, effects), "worth": worth_part(book, effects)}


def season_content(car: str, rows: Sequence[RunResult], effects: Mapping[str, Any]) -> dict[str, Any]:
    """Return the page from a car's runs in their order and its effects; empty: none are known."""
    best: dict[Span, tuple[float, str]] = {}
    days = []
    for date, group in groupby(rows, key=lambda row: row.key.date):
        own = list(group)
        days.append({"date": date.isoformat(), **_day(own), "personal_bests": _improve(best, own)})
    kept = ("from_ft", "to_ft", "sd_s", "lo90_s", "hi90_s", "measured")
    return {
        "car": car,
        "reference": REFERENCE_NAME,
        "days": days,
        "bests": [_best(span, *best[span], None) for span in SPANS if span in best],
        "consistency": [{name: item[name] for name in kept} for item in effects.get("repeatability", [])],
        "verdicts": verdicts_part(dict(effects)),
    }


def span_time(times: Mapping[int, float], span: Span) -> float | None:
    """Return the time [s] between two beams; None where one is missing."""
    start, end = (0.0 if feet == 0 else times.get(feet) for feet in span)
    return None if start is None or end is None else end - start


def _day(rows: Sequence[RunResult]) -> dict[str, Any]:
    reached = max((feet for row in rows for feet in row.corrected_times), default=None)
    return {
        "tracks": sorted({row.track for row in rows if row.track}),
        "runs": len(rows),
        "clean": sum(row.clean for row in rows),
        "increments": [_times(rows, span) for span in INCREMENTS_FT],
        "elapsed": None if reached is None else _times(rows, (0, reached)),
        "spread": None if reached is None else same_setup_spread(rows, (0, reached)),
        "changes": [
            {"run": row.key.number, "item": change.item, "from": change.before, "to": change.after, "unit": change.unit}
            for row in rows
            for change in row.changes
        ],
    }


def _times(rows: Sequence[RunResult], span: Span) -> dict[str, Any]:
    """Return best and median of what counts, in standard air."""
    times = [time for row in rows if (time := span_time(row.corrected_times, span)) is not None]
    return {
        "from_ft": span[0],
        "to_ft": span[1],
        "runs": len(times),
        "best_s": rounded(min(times, default=None)),
        "typical_s": rounded(statistics.median(times)) if times else None,
    }


def same_setup_spread(rows: Iterable[RunResult], span: Span) -> dict[str, Any] | None:
    """Return the sd [s] of a day's clean runs of one setup, setups pooled; None where no setup ran twice.

    The 90 % interval is that of χ² (NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.3).
    """
    groups: dict[tuple[Any, ...], list[float]] = {}
    for row in rows:
        time = span_time(row.corrected_times, span)
        if time is not None and row.clean:
            groups.setdefault(tuple((entry.item, entry.value, entry.text) for entry in row.setup), []).append(time)
    degrees = sum(len(times) - 1 for times in groups.values())
    if not degrees:
        return None
    squares = sum((time - statistics.fmean(times)) ** 2 for times in groups.values() for time in times)
    low, high = (math.sqrt(squares / chi_square_quantile(level, degrees)) for level in (0.95, 0.05))
    sd = math.sqrt(squares / degrees)
    return {"sd_s": rounded(sd, 4), "lo90_s": rounded(low, 4), "hi90_s": rounded(high, 4), "degrees": degrees}


def _improve(best: dict[Span, tuple[float, str]], rows: Sequence[RunResult]) -> list[dict[str, Any]]:
    """Bring the bests up to date with a day and return those that it set; a car's first times have nothing to beat."""
    made = []
    for span in SPANS:
        found = [(time, str(row.key)) for row in rows if (time := span_time(row.corrected_times, span)) is not None]
        before = best.get(span)
        if not found or (before is not None and min(found)[0] >= before[0]):
            continue
        best[span] = min(found)
        made.append(_best(span, *best[span], before and before[0]))
    return made


def _best(span: Span, time: float, run: str, before: float | None) -> dict[str, Any]:
    return {"from_ft": span[0], "to_ft": span[1], "time_s": rounded(time), "run": run, "before_s": rounded(before)}
