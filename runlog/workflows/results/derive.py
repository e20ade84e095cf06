"""From facts to results: whatever new facts have made out of date is computed again."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from runlog.constants import FOOT, SPEED_DISTANCES_FT, SPLIT_DISTANCES_FT
from runlog.physics.atmosphere import STANDARD_AIR, Air
from runlog.physics.car_vehicle import vehicle_of
from runlog.physics.correction import shift
from runlog.physics.vehicle_fit import fit
from runlog.records import RunKey, Slip
from runlog.results import AirState, Findings, RunResult
from runlog.store import calibrations, facts, results, traces
from runlog.workflows import setup
from runlog.workflows.air.of_run import air_at, caveats, pressure_question
from runlog.workflows.lessons.fleet import make_member
from runlog.workflows.lessons.learn import Subject, effects_content, expected_splits
from runlog.workflows.midnight import after_midnight, moment_of
from runlog.workflows.results import calibrate
from runlog.workflows.results.analyses import TraceTask, analysed
from runlog.workflows.results.counting import counts_to
from runlog.workflows.results.spoiling import proposals
from runlog.workflows.results.traced import DEFAULT_ROLLOUT, setting_of
from runlog.workflows.results.usual import LOOK_BACK, alarms_against
from runlog.workflows.workers import spread

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Mapping, Sequence
    from concurrent.futures import Executor

    from runlog.physics.vehicle import Vehicle
    from runlog.physics.vehicle_fit import VehicleFit
    from runlog.records import AirReading, Car, FloatArray, Sheet, Track
    from runlog.store.calibrations import CalibrationRow
    from runlog.store.connection import Logbook


def refresh(book: Logbook, progress: Callable[[str], None] | None = None, executor: Executor | None = None) -> None:
    """Bring all results up to date with the facts, each car or run in a transaction that also clears its mark.

    With an executor the traces of a car are analysed in its workers: the same numbers.
    """
    marks = results.stale_marks(book)
    if not marks:
        return
    whole, single = _split(book, marks)
    single = {key for key in single if key.car not in whole}
    with book.transaction():
        results.drop_strangers(book)
        results.clear_stale(book)
        for car in whole:
            results.mark_stale(book, car)
        for key in single:
            results.mark_stale(book, key.car, key.date, key.number, trace_only=True)
    for car in sorted(whole):
        if progress:
            progress(f"computing {car}")
        with book.transaction():
            _whole_car(book, car, executor)
            results.clear_stale(book, car)
    done: set[str] = set()
    for key in sorted(single):
        if key.car in done:
            continue
        with book.transaction():
            if _one_trace(book, key):
                results.clear_stale(book, key.car, key)
            else:
                _whole_car(book, key.car, executor)
                results.clear_stale(book, key.car)
                done.add(key.car)


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


@dataclass(frozen=True)
class _Case:
    """Everything that is known of a car, gathered once."""

    car: Car | None
    name: str
    tracks: Mapping[str, Track]
    slips: Mapping[RunKey, Slip]
    sheets: Sequence[Sheet]
    air: Mapping[tuple[dt.date, str | None], Sequence[AirReading]]
    late: frozenset[RunKey]
    """runs made after midnight"""

    def track_of(self, slip: Slip) -> Track | None:
        return self.tracks.get(slip.track) if slip.track else None

    def rollout_of(self, slip: Slip) -> float:
        track = self.track_of(slip)
        return track.rollout if track else DEFAULT_ROLLOUT

    def finish_of(self, slip: Slip) -> int:
        track = self.track_of(slip)
        return track.finish_ft if track else SPLIT_DISTANCES_FT[-1]


def _gather(book: Logbook, name: str, key: RunKey | None = None) -> _Case:
    """Return what is known of a car; with ``key`` the air of that run's day only."""
    slips = facts.slips(book, name)
    for logged in traces.runs_with_trace(book, name):
        slips.setdefault(logged, Slip(logged))
    slips = dict(sorted(slips.items()))
    days = {(slip.key.date, slip.track) for slip in slips.values() if key in (None, slip.key)}
    return _Case(
        facts.cars(book).get(name),
        name,
        facts.tracks(book),
        slips,
        facts.sheets(book, name),
        {(date, track): facts.air(book, date, track) for date, track in days},
        after_midnight({slip.key: slip.time for slip in slips.values()}),
    )


def _whole_car(book: Logbook, name: str, executor: Executor | None = None) -> None:
    case = _gather(book, name)
    found = results.findings(book, name)
    found |= _analyse(book, case, sorted(traces.runs_with_trace(book, name) - set(found)), executor)
    carrying = calibrate.Carrying(case.car, case.sheets, case.slips)
    carried = {
        key: carrying.step(slip, _counts(case, slip, found[key])[0], found[key])
        for key, slip in case.slips.items()
        if key in found
    }
    calibrations.replace_all(book, name, list(carried.values()))
    rows = _rows(case, found, carried)
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
        effects = effects_content(subject, rows, finish)
        member = make_member(subject, rows, finish).plain()
    results.drop_run_results(book, name)
    results.save_run_results(book, rows)
    results.save_car_result(book, name, dataclasses.asdict(fitted) if fitted else {}, effects)
    results.save_fleet_statistics(book, name, member)


def _one_trace(book: Logbook, key: RunKey) -> bool:
    """Bring one run up to date where only its trace is new; return whether that was enough.

    It isn't when the trace shows that the run counts less far, or when later runs have traces: their splits rest on it.
    """
    stored = results.car_result(book, key.car)
    before = {row.key: row for row in results.run_results(book, key.car, key.date)}
    if stored is None or key not in before or calibrations.any_after(book, key):
        return False
    case = _gather(book, key.car, key)
    found = _analyse(book, case, [key], None)[key]
    slip = case.slips[key]
    carrying = calibrate.carry(book, case.car, case.sheets, key)
    carried = carrying.step(slip, _counts(case, slip, found)[0], found)
    row = _row(case, slip, found, carried, results.earlier_findings(book, key, LOOK_BACK))
    if row.valid_to_ft != before[key].valid_to_ft:
        return False
    kept = before[key]
    row = dataclasses.replace(
        row,
        corrected_times=kept.corrected_times,
        corrected_speeds=kept.corrected_speeds,
        caveats=kept.caveats,
        setup=kept.setup,
        changes=kept.changes,
        expected=kept.expected,
    )
    results.save_run_results(book, [row])
    calibrations.save(book, carried)
    return True


def _task(book: Logbook, case: _Case, key: RunKey) -> TraceTask:
    slip = case.slips[key]
    if case.car is None:
        return TraceTask(case.name, {}, None, slip.times)
    return TraceTask(case.name, traces.samples(book, key), setting_of(case.car, case.track_of(slip)), slip.times)


def _analyse(book: Logbook, case: _Case, keys: Sequence[RunKey], executor: Executor | None) -> dict[RunKey, Findings]:
    """Analyse the traces of runs with what car and track files tell, and keep what they show."""
    done: dict[RunKey, Findings] = {}
    tasks = (_task(book, case, key) for key in keys)
    for key, found in zip(keys, spread(analysed, tasks, executor), strict=True):
        results.save_findings(book, key, found)
        done[key] = found
    return done


def _counts(case: _Case, slip: Slip, found: Findings | None) -> tuple[int, tuple[str, ...]]:
    return counts_to(slip, case.finish_of(slip), found["lift_distance"] if found else None)


def _rows(case: _Case, found: Mapping[RunKey, Findings], carried: Mapping[RunKey, CalibrationRow]) -> list[RunResult]:
    """Return the car's runs in order, each held against those before it."""
    rows, earlier = [], list[Findings]()
    for key, slip in case.slips.items():
        rows.append(_row(case, slip, found.get(key), carried.get(key), earlier[-LOOK_BACK:]))
        if key in found:
            earlier.append(found[key])
    return rows


def _row(
    case: _Case,
    slip: Slip,
    found: Findings | None,
    carried: CalibrationRow | None,
    earlier: Sequence[Findings],
) -> RunResult:
    track = case.track_of(slip)
    moment = None if slip.time is None else moment_of(slip.key, slip.time, case.late)
    air = air_at(case.air[(slip.key.date, slip.track)], slip.key.date, moment, track)
    valid_to, notes = _counts(case, slip, found)
    splits, contradicted = calibrate.opinion(found, carried, slip.times) if found and carried else ({}, ())
    questions = [*notes, *contradicted]
    if found:
        questions += proposals(found["events"], slip.spoiled, case.rollout_of(slip) + valid_to * FOOT)
    wrong = pressure_question(air, track)
    if wrong:
        questions.append(wrong)
    if air is None:
        questions.append("no air reading within reach of this run: nothing is corrected")
    if case.car is None:
        questions.append(f"no car file for {case.name}: nothing is corrected, nothing is learned")
    if slip.track and track is None:
        questions.append(f"no track file for {slip.track}: wind and elevation are not used")
    return RunResult(
        key=slip.key,
        time=slip.time,
        track=slip.track,
        lane=slip.lane,
        purpose=slip.purpose,
        reaction=slip.reaction,
        clean=slip.spoiled is None,
        spoiled=slip.spoiled,
        note=slip.note,
        valid_to_ft=valid_to,
        air=air,
        times=slip.times,
        speeds=slip.speeds,
        trace_splits=splits,
        first_motion_60=calibrate.from_first_motion(found, carried) if found and carried else None,
        alarms=alarms_against(found, earlier) if found else (),
        questions=tuple(questions),
    )


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


def _fitted(case: _Case, car: Car, rows: Sequence[RunResult], rollout: float) -> VehicleFit:
    """Fit the longitudinal model, in the car's baseline setup, to the figures of clean runs that count."""
    base = {item: entry.value for item, entry in setup.baseline(case.sheets).items() if entry.value is not None}
    vehicle = vehicle_of(car, rollout, base)
    usable = [row for row in rows if row.clean and row.air and row.valid_to_ft]
    times = np.array([[row.counted_times().get(feet, np.nan) for feet in SPLIT_DISTANCES_FT] for row in usable])
    speeds = np.array(
        [
            [row.speeds.get(feet, np.nan) if feet <= (row.valid_to_ft or 0) else np.nan for feet in SPEED_DISTANCES_FT]
            for row in usable
        ]
    )
    times, speeds = times.reshape(-1, len(SPLIT_DISTANCES_FT)), speeds.reshape(-1, len(SPEED_DISTANCES_FT))
    return fit(vehicle, times, speeds, _air([row.air for row in usable]))


def _corrected(vehicle: Vehicle, rows: Sequence[RunResult]) -> list[RunResult]:
    if not rows:
        return []
    change = shift(vehicle, _air([row.air for row in rows]))
    done = []
    for n, row in enumerate(rows):
        if row.air:
            times = _minus(row.times, SPLIT_DISTANCES_FT, change.times[n], row.valid_to_ft or 0)
            speeds = _minus(row.speeds, SPEED_DISTANCES_FT, change.speeds[n], row.valid_to_ft or 0)
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


def _with_setups(case: _Case, rows: Sequence[RunResult]) -> list[RunResult]:
    states = setup.in_force(case.sheets, [row.key for row in rows])
    done: list[RunResult] = []
    before: dict[str, Any] | None = None
    for row in rows:
        state = states[row.key]
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
