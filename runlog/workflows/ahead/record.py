"""The shop's own calibration: every forecast that was kept, held against the run that it was made for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from runlog.constants import SPLIT_DISTANCES_FT
from runlog.store import facts, proposals, results
from runlog.workflows.ahead.scores import BINS, Outcome, score
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.records import Car, RunKey
    from runlog.results import RunResult
    from runlog.store.connection import Logbook
    from runlog.store.proposals import Proposal

OTHER_AIR: Final = 0.02
"""share of the density by which an air that was supposed may be off before its forecast is one of another run"""


@dataclass(frozen=True)
class _Scored:
    """A run with the forecast of it, or with what its earlier runs led to expect."""

    row: RunResult
    finish_ft: int
    foretold: Mapping[int, tuple[float, float]]
    """distance in feet → mean and sd [s]"""
    chance_not_clean: float | None = None

    def outcome(self, distance_ft: int) -> Outcome | None:
        """Return the outcome at a distance, where it counts and something was foretold."""
        time, told = self.row.counted_times().get(distance_ft), self.foretold.get(distance_ft)
        return None if time is None or told is None else Outcome(time, *told)


def record_page(book: Logbook, car: str | None, *, look_back: bool = False) -> dict[str, Any]:
    """Return how right the forecasts of a car, or of all, were, in the shape of ``forecast --record --json``.

    ``look_back``: score also what the runs before each run led to expect of it, in the air and setup that it had, as
    the run page shows it: not a forecast that anybody asked for, but one that didn't know the run either.
    """
    rows = {row.key: row for row in results.run_results(book, car)}
    cars = facts.cars(book)
    told = proposals.first_told(book)
    kept = proposals.forecasts(book, car)
    scored: dict[RunKey, _Scored] = {}
    waiting, aside = 0, []
    for forecast in kept:
        row = rows.get(forecast.key)
        if row is None or forecast.key not in told or not row.times:
            waiting += 1
            continue
        why = _why_not(forecast, row, told[forecast.key], cars.get(forecast.key.car))
        if why is not None:
            aside.append({"run": str(forecast.key), "why": why})
            continue
        if forecast.key in scored:
            aside.append({"run": str(forecast.key), "why": "an earlier one of the same run: the last counts"})
        scored[forecast.key] = _of_forecast(forecast, row)
    return {
        "car": car,
        "forecasts": len(kept),
        "waiting": waiting,
        "set_aside": aside,
        **_content(list(scored.values())),
        "look_back": _content(_expectations(book, rows, cars)) if look_back else None,
    }


def _of_forecast(forecast: Proposal, row: RunResult) -> _Scored:
    content = forecast.content
    splits = {split["distance_ft"]: (split["mean_s"], split["sd_s"]) for split in content["splits"]}
    known = {feet: pair for feet, pair in splits.items() if None not in pair}
    return _Scored(row, content["finish_ft"], known, content["chance_not_clean"])


def _why_not(forecast: Proposal, row: RunResult, told: int, car: Car | None) -> str | None:
    """Return why a forecast isn't one of the run as it was made; None: it is."""
    content = forecast.content
    if forecast.entry > told:
        return "made after the run was stored"
    if content["lane"] is not None and row.lane is not None and content["lane"] != row.lane:
        return "made for the other lane"
    run = {entry.item: entry for entry in row.setup}
    for line in content["setup"]:
        item = car.adjustable(line["item"]) if car else None
        entry = run.get(line["item"])
        if item is None or entry is None or entry.value is None:
            continue
        if (item.label(entry.value) if item.holes else entry.value) != line["value"]:
            return f"made for another setup: {line['item']}"
    air = content["air"]
    if air is not None and row.air is not None and air["source"].startswith("as said"):
        off = abs(air["density_ratio"] / row.air.density_ratio - 1.0)
        if off > OTHER_AIR:
            return f"made for other air: {off:.1%} off in density"
    return None


def _expectations(book: Logbook, rows: Mapping[RunKey, RunResult], cars: Mapping[str, Car]) -> list[_Scored]:
    from runlog.workflows.lessons.learn import expected_splits, subject_of

    tracks = facts.tracks(book)
    made = []
    for name, car in cars.items():
        own = [row for key, row in rows.items() if key.car == name]
        subject = subject_of(book, car)
        for row in own:
            track = tracks.get(row.track) if row.track else None
            finish = track.finish_ft if track else SPLIT_DISTANCES_FT[-1]
            expected = row.expected if row.expected is not None else expected_splits(subject, own, row)
            made.append(_Scored(row, finish, expected))
    return made


def _content(scored: Sequence[_Scored]) -> dict[str, Any]:
    """Return the scores by distance, over the days, and of the runs that weren't clean."""
    used = [run for run in scored if run.foretold]
    lost = [run.chance_not_clean for run in used if run.chance_not_clean is not None]
    return {
        "scored": len(used),
        "distances": [_distance(feet, used) for feet in SPLIT_DISTANCES_FT],
        "days": _days(used),
        "not_clean": {
            "runs": len(lost),
            "count": sum(not run.row.clean for run in used if run.chance_not_clean is not None),
            "expected": rounded(math.fsum(lost), 2),
        },
    }


def _distance(feet: int, scored: Sequence[_Scored]) -> dict[str, Any]:
    outcomes = [outcome for outcome in (run.outcome(feet) for run in scored) if outcome is not None]
    if not outcomes:
        nothing = dict.fromkeys(("share_inside50", "share_inside90", "mean_error_s", "rms_error_s"))
        return {
            "distance_ft": feet,
            "count": 0,
            "inside50": 0,
            "inside90": 0,
            **nothing,
            "pit": [0] * BINS,
            "words": [],
        }
    found = score(outcomes)
    return {
        "distance_ft": feet,
        "count": found.count,
        "inside50": found.inside50,
        "inside90": found.inside90,
        "share_inside50": rounded(found.inside50 / found.count),
        "share_inside90": rounded(found.inside90 / found.count),
        "mean_error_s": rounded(found.mean_error),
        "rms_error_s": rounded(found.rms_error),
        "pit": list(found.histogram),
        "words": list(found.words),
    }


def _days(scored: Sequence[_Scored]) -> list[dict[str, Any]]:
    """Return the error at the finish, day by day."""
    grouped: dict[tuple[str, str], list[Outcome]] = {}
    for run in sorted(scored, key=lambda run: (run.row.key.date, run.row.key.car, run.row.key.number)):
        outcome = run.outcome(run.finish_ft)
        if outcome is not None:
            grouped.setdefault((run.row.key.date.isoformat(), run.row.key.car), []).append(outcome)
    part = []
    for (date, car), outcomes in grouped.items():
        found = score(outcomes)
        errors = {"mean_error_s": rounded(found.mean_error), "rms_error_s": rounded(found.rms_error)}
        part.append({"date": date, "car": car, "count": found.count, **errors})
    return part
