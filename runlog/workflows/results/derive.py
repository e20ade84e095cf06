"""From facts to results: whatever new facts have made out of date is computed again."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from runlog.constants import SPEED_DISTANCES_FT, SPLIT_DISTANCES_FT
from runlog.physics.atmosphere import STANDARD_AIR, Air
from runlog.physics.car_vehicle import vehicle_of
from runlog.physics.correction import shift
from runlog.physics.vehicle_fit import fit
from runlog.records import USUAL_TRAPS, RunKey
from runlog.results import AirState, Findings, RunResult
from runlog.store import calibrations, facts, results, traces
from runlog.workflows import setup
from runlog.workflows.air.of_run import caveats
from runlog.workflows.lessons.current import PENDING, computed_effects
from runlog.workflows.lessons.fleet import make_member
from runlog.workflows.lessons.learn import Subject, expected_splits
from runlog.workflows.questions.answers import in_their_unit
from runlog.workflows.questions.of_slip import WRONG_SLIP
from runlog.workflows.results import calibrate
from runlog.workflows.results.analyses import TraceTask, analysed
from runlog.workflows.results.case import Case, gather
from runlog.workflows.results.run_rows import row_of, rows_of, with_kept
from runlog.workflows.results.traced import setting_of
from runlog.workflows.results.usual import LOOK_BACK
from runlog.workflows.workers import spread

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Mapping, Sequence
    from concurrent.futures import Executor

    from runlog.physics.vehicle import Vehicle
    from runlog.physics.vehicle_fit import VehicleFit
    from runlog.records import Car, FloatArray, SheetEntry, Trap
    from runlog.store.connection import Logbook


_REOPENED_AFTER: Final = 20
"""traces analysed, after which the logbook is opened again so that memory stays flat"""


def refresh(book: Logbook, progress: Callable[[str], None] | None = None, executor: Executor | None = None) -> None:
    """Bring all results up to date with the facts, each car or run in a transaction that also clears its mark.

    With an executor the traces of a car are analysed in its workers: the same numbers.
    """
    marks = results.stale_marks(book)
    if marks:
        _compute(book, marks, progress, executor)
    # last, so that it doesn't matter which car came first: what others have tried is a car's prior
    for car in results.cars_with_effects(book, PENDING):
        with book.transaction():
            results.save_effects(book, car, computed_effects(book, car))


def _compute(
    book: Logbook,
    marks: Sequence[tuple[str | None, dt.date | None, int | None, bool]],
    progress: Callable[[str], None] | None,
    executor: Executor | None,
) -> None:
    """Compute all but the effects of what is marked; those are left pending."""
    whole, single = _split(book, marks)
    single = {key for key in single if key.car not in whole}
    if any(not of_trace for *_, of_trace in marks):
        with book.transaction():
            results.drop_strangers(book)
            results.clear_stale(book)
            for car in whole:
                results.mark_stale(book, car)
            for key in single:
                results.mark_stale(book, key.car, key.date, key.number, trace_only=True)
    analysed = 0
    for car in sorted(whole):
        if progress:
            progress(f"computing {car}")
        with book.transaction():
            analysed += _whole_car(book, car, executor)
            results.clear_stale(book, car)
        analysed = _rested(book, analysed)
    done: set[str] = set()
    for key in sorted(single):
        if key.car in done:
            continue
        with book.transaction():
            if _one_trace(book, key):
                results.clear_stale(book, key.car, key)
                analysed += 1
            else:
                analysed += _whole_car(book, key.car, executor)
                results.clear_stale(book, key.car)
                done.add(key.car)
        analysed = _rested(book, analysed)


def _rested(book: Logbook, analysed: int) -> int:
    """Open the logbook again after many traces; return how many were analysed since."""
    if analysed < _REOPENED_AFTER:
        return analysed
    book.reopen()
    return 0


def _split(
    book: Logbook, marks: Sequence[tuple[str | None, dt.date | None, int | None, bool]]
) -> tuple[set[str], set[RunKey]]:
    """Return the cars to be computed whole, and the runs of which only the trace is new."""
    single = {RunKey(car, date, number) for car, date, number, trace in marks if trace and car and date and number}
    whole = {car for car, date, number, trace in marks if not (trace and car and date and number)}
    if not whole:
        return set(), single
    everyone = {slip.car for slip in facts.slips(book)} | {key.car for key in traces.runs_with_trace(book)}
    return everyone if None in whole else {car for car in whole if car in everyone}, single


def _whole_car(book: Logbook, name: str, executor: Executor | None = None) -> int:
    """Compute everything of a car; return how many traces were analysed for it."""
    case = gather(book, name)
    found = results.findings(book, name)
    fresh = sorted(traces.runs_with_trace(book, name) - set(found))
    found |= _analyse(book, case, fresh, executor)
    carrying = calibrate.Carrying(case.car, case.sheets, case.slips)
    carried = {
        key: carrying.step(slip, case.counts(slip, own), own)
        for key, slip in case.slips.items()
        if (own := case.found_of(key, found)) is not None
    }
    calibrations.replace_all(book, name, list(carried.values()))
    rows = rows_of(case, found, carried)
    fitted = None
    if case.car is not None:
        rollouts = [case.rollout_of(slip) for slip in case.slips.values()]
        fitted = _fitted(case, case.car, rows, float(np.median(rollouts)))
        rows = _corrected(fitted.vehicle, rows)
    rows = _with_setups(case, rows)
    effects: dict[str, Any] = {}
    member: dict[str, Any] | None = None
    if case.car is not None and fitted is not None:
        subject = Subject(case.car, case.sheets, fitted.vehicle)
        rows = _with_expectations(subject, rows)
        finish = max((case.finish_of(slip) for slip in case.slips.values()), default=SPLIT_DISTANCES_FT[-1])
        effects = dict(PENDING)
        member = make_member(subject, rows, finish).plain()
    results.drop_run_results(book, name)
    results.save_run_results(book, rows)
    results.save_car_result(book, name, dataclasses.asdict(fitted) if fitted else {}, effects)
    results.save_fleet_statistics(book, name, member)
    return len(fresh)


def _one_trace(book: Logbook, key: RunKey) -> bool:
    """Bring one run up to date where only its trace is new; return whether that was enough.

    It isn't when the trace shows that the run counts less far, or when later runs have traces: their splits rest on it.
    """
    before = {row.key: row for row in results.run_results(book, key.car, key.date)}
    if key not in before or calibrations.any_after(book, key):
        return False
    case = gather(book, key.car, key)
    found = _analyse(book, case, [key], None)[key]
    slip = case.slips[key]
    carrying = calibrate.carry(book, case.car, case.sheets, key)
    carried = carrying.step(slip, case.counts(slip, found), found)
    row = row_of(case, slip, found, carried, results.earlier_findings(book, key, LOOK_BACK), case.usual())
    if (row.valid_to_ft, row.coasted) != (before[key].valid_to_ft, before[key].coasted):
        return False
    row = with_kept(row, before[key])
    results.save_run_results(book, [row])
    calibrations.save(book, carried)
    return True


def _task(book: Logbook, case: Case, key: RunKey) -> TraceTask:
    slip = case.slips[key]
    if case.car is None:
        return TraceTask(case.name, {}, None, slip.times)
    samples = in_their_unit(traces.samples(book, key), case.answers.effects(key))
    # a slip that is another run's must not calibrate this one
    times = {} if slip.spoiled == WRONG_SLIP else slip.times
    return TraceTask(case.name, samples, setting_of(case.car, case.track_of(slip)), times)


def _analyse(book: Logbook, case: Case, keys: Sequence[RunKey], executor: Executor | None) -> dict[RunKey, Findings]:
    """Analyse the traces of runs with what car and track files tell, and keep what they show."""
    done: dict[RunKey, Findings] = {}
    tasks = (_task(book, case, key) for key in keys)
    for key, found in zip(keys, spread(analysed, tasks, executor), strict=True):
        results.save_findings(book, key, found)
        done[key] = found
    return done


def _air(states: Sequence[AirState | None]) -> Air:
    """Return the airs of runs as arrays; the reference stands in where there is none."""
    reference = (STANDARD_AIR.temperature, STANDARD_AIR.pressure, STANDARD_AIR.relative_humidity, 0.0)
    columns = np.array(
        [
            (s.temperature, s.station_pressure, s.relative_humidity, s.wind_along or 0.0) if s else reference
            for s in states
        ],
        dtype=float,
    ).reshape(-1, 4)
    return Air(*columns.T)


def _fitted(case: Case, car: Car, rows: Sequence[RunResult], rollout: float) -> VehicleFit:
    """Fit the longitudinal model, in the car's baseline setup, to the figures of clean runs that count."""
    base = {item: entry.value for item, entry in setup.baseline(case.sheets).items() if entry.value is not None}
    traps = _usual_traps(case)
    vehicle = dataclasses.replace(vehicle_of(car, rollout, base), traps=tuple(trap.span for trap in traps))
    usable = [row for row in rows if row.clean and row.air and row.valid_to_ft]
    times = np.array([[row.counted_times().get(feet, np.nan) for feet in SPLIT_DISTANCES_FT] for row in usable])
    # a speed over other traps than the model's is another quantity
    alike = [row.counted_speeds() if case.traps_of(case.slips[row.key]) == traps else {} for row in usable]
    speeds = np.array([[found.get(feet, np.nan) for feet in SPEED_DISTANCES_FT] for found in alike])
    times, speeds = times.reshape(-1, len(SPLIT_DISTANCES_FT)), speeds.reshape(-1, len(SPEED_DISTANCES_FT))
    return fit(vehicle, times, speeds, _air([row.air for row in usable]))


def _usual_traps(case: Case) -> tuple[Trap, ...]:
    """Return the speed traps that most of the car's runs went through, of equally many the newest."""
    seen = [case.traps_of(slip) for slip in case.slips.values()]
    return max(reversed(seen), key=seen.count, default=USUAL_TRAPS)


def _corrected(vehicle: Vehicle, rows: Sequence[RunResult]) -> list[RunResult]:
    if not rows:
        return []
    change = shift(vehicle, _air([row.air for row in rows]))
    done = []
    for n, row in enumerate(rows):
        if row.air:
            times = _minus(row.times, SPLIT_DISTANCES_FT, change.times[n], row.valid_to_ft or 0)
            speeds = _minus(row.counted_speeds(), SPEED_DISTANCES_FT, change.speeds[n], row.valid_to_ft or 0)
            said = caveats(vehicle.aspiration, row.air) if times else []
            row = dataclasses.replace(row, corrected_times=times, corrected_speeds=speeds, caveats=tuple(said))
        done.append(row)
    return done


def _minus(
    measured: Mapping[int, float], distances: Sequence[int], change: FloatArray, valid_to_ft: int
) -> dict[int, float]:
    return {
        feet: measured[feet] - float(value)
        for feet, value in zip(distances, change, strict=True)
        if feet in measured and feet <= valid_to_ft and np.isfinite(value)
    }


def _with_setups(case: Case, rows: Sequence[RunResult]) -> list[RunResult]:
    done: list[RunResult] = []
    before: Mapping[str, SheetEntry] | None = None
    for row in rows:
        state = case.setups[row.key]
        changed = setup.changes(before, state)
        entries = tuple(state[item] for item in sorted(state))
        done.append(dataclasses.replace(row, setup=entries, changes=changed))
        before = state
    return done


def _with_expectations(subject: Subject, rows: Sequence[RunResult]) -> list[RunResult]:
    """Fill in what was expected of the runs of the newest day, whose pages are looked at in the pits.

    Those of earlier days are computed by the same function when somebody looks.
    """
    newest = rows[-1].key.date if rows else None
    return [
        dataclasses.replace(row, expected=expected_splits(subject, rows, row)) if row.key.date == newest else row
        for row in rows
    ]
