"""One row a run: its figures as far as they count, what its trace shows, and what has to be asked."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

from runlog.results import RunResult
from runlog.workflows.air.of_run import air_at
from runlog.workflows.midnight import moment_of
from runlog.workflows.questions.asking import questions
from runlog.workflows.questions.case import RunCase
from runlog.workflows.record.of_runs import damp_surface
from runlog.workflows.results import calibrate
from runlog.workflows.results.first_motion import with_earlier_launches
from runlog.workflows.results.usual import LOOK_BACK, alarms_against

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.records import RunKey, Slip
    from runlog.results import AirState, Findings
    from runlog.store.calibrations import CalibrationRow
    from runlog.workflows.results.case import Case


def rows_of(case: Case, found: Mapping[RunKey, Findings], carried: Mapping[RunKey, CalibrationRow]) -> list[RunResult]:
    """Return the car's runs in order, each held against those before it."""
    rows: list[RunResult] = []
    earlier: list[Findings] = []
    usual = case.usual()
    for key, slip in case.slips.items():
        own = case.found_of(key, found)
        rows.append(row_of(case, slip, own, carried.get(key), earlier[-LOOK_BACK:], usual))
        if own is not None:
            earlier.append(own)
    return rows


def row_of(
    case: Case,
    slip: Slip,
    found: Findings | None,
    carried: CalibrationRow | None,
    earlier: Sequence[Findings],
    usual: Mapping[int, float],
) -> RunResult:
    """Return one run's row; ``usual`` [s] are the car's usual times by distance."""
    track, key = case.track_of(slip), slip.key
    found = None if found is None else with_earlier_launches(found, carried)
    moment = None if slip.time is None else moment_of(key, slip.time, case.late)
    air = air_at(case.air[(key.date, slip.track)], key.date, moment, track)
    valid_to = case.counts(slip, found)
    splits, contradicted = calibrate.opinion(found, carried, slip.times) if found and carried else ({}, ())
    asked = RunCase(
        slip=slip,
        car=case.car,
        track=track,
        finish_ft=case.finish_of(slip),
        rollout=case.rollout_of(slip),
        air=air,
        found=found,
        earlier=earlier,
        setup=case.setups[key],
        before=case.before(key),
        sheets=case.sheets,
        others=case.beside(slip),
        usual=usual,
        started_at=case.started_at.get(key),
        columns=case.close_calls.get(key),
        moment=moment,
        valid_to_ft=valid_to,
        contradicted=() if slip.spoiled else contradicted,
    )
    wheels, clock = ((calibrate.taught(carried, name) if carried else None) for name in ("circumference", "rollout"))
    return RunResult(
        **{name: getattr(slip, name) for name in _AS_TOLD},
        clean=slip.spoiled is None,
        valid_to_ft=valid_to,
        coasted=case.coasted(slip, found),
        air=air,
        trace_splits=splits,
        first_motion_60=calibrate.from_first_motion(found, carried) if found and carried else None,
        alarms=alarms_against(found, earlier) if found else (),
        record=_recorded(case.records.get(key, {}), air),
        questions=questions(asked, wheels, {*case.answers.to(key), *case.answers.of_the_car()}, clock),
    )


def _recorded(record: Mapping[str, Any], air: AirState | None) -> dict[str, Any]:
    """Return a run's record with the caution that its surface and air ask for."""
    damp = damp_surface(record.get("surface_k"), air)
    return {**record, "damp": damp} if damp else dict(record)


_AS_TOLD = ("key", "time", "track", "lane", "purpose", "reaction", "spoiled", "note", "times", "speeds")


def with_kept(row: RunResult, kept: RunResult) -> RunResult:
    """Return a row whose trace is new with everything that a trace doesn't change as it was."""
    return dataclasses.replace(row, **{name: getattr(kept, name) for name in _KEPT})


_KEPT = ("corrected_times", "corrected_speeds", "caveats", "setup", "changes", "expected")
