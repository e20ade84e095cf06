"""Computed results: written when facts change, read back by the pages."""

from __future__ import annotations

import dataclasses
import json
from typing import TYPE_CHECKING, Any

from runlog.constants import SPEED_DISTANCES_FT, SPLIT_DISTANCES_FT
from runlog.records import RunKey, SheetEntry
from runlog.results import AirState, Answer, Change, Findings, Question, RunResult

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from runlog.store.connection import Logbook

_AIR = tuple(item.name for item in dataclasses.fields(AirState))
_PLAIN = ("time", "track", "lane", "purpose", "reaction", "clean", "spoiled", "note", "valid_to_ft")
_COUNT = len(SPLIT_DISTANCES_FT)


def mark_stale(
    book: Logbook,
    car: str | None = None,
    date: dt.date | None = None,
    number: int | None = None,
    *,
    trace_only: bool = False,
) -> None:
    """Note, in the transaction that writes facts, what they make out of date."""
    book.insert("stale", [(car, date, number, trace_only)])


def forget_findings(book: Logbook, car: str | None = None, keys: Collection[RunKey] | None = None) -> None:
    """Drop what was found in traces of a car, of these runs, or in all: what they were computed with has changed."""
    where = "? is null or car = ?" if keys is None else _IN_KEYS
    book.rows(
        f"delete from book.main.trace_result where body in (select body from book.main.trace_fact where {where})",
        [car, car] if keys is None else _columns(keys),
    )


_IN_KEYS = "(car, date, number) in (select unnest(?::varchar[]), unnest(?::date[]), unnest(?::integer[]))"
"""One statement for many runs: a delete for each would go through the whole table each time."""


def _columns(keys: Collection[RunKey]) -> list[list[Any]]:
    """Return the parameters of ``_IN_KEYS``."""
    return [[key.car for key in keys], [key.date for key in keys], [key.number for key in keys]]


def stale_marks(book: Logbook) -> list[tuple[str | None, dt.date | None, int | None, bool]]:
    """Return what is out of date: (car, date, number, trace only)."""
    return [tuple(row) for row in book.rows("select distinct * from book.main.stale")]


def clear_stale(book: Logbook, car: str | None = None, key: RunKey | None = None) -> None:
    """Note that everything is up to date, or a car, or one of its runs."""
    book.rows(
        "delete from book.main.stale where (? is null or car = ?) and (? is null or (date = ? and number = ?))",
        [car, car, key and key.date, key and key.date, key and key.number],
    )


def save_findings(book: Logbook, key: RunKey, findings: Findings) -> None:
    """Write what the newest trace of a run shows, in the place of what traces before it did."""
    run = [key.car, key.date, key.number]
    bodies = book.rows("select body from book.main.trace_fact where car = ? and date = ? and number = ?", run)
    if len(bodies) > 1:
        book.rows("delete from book.main.trace_result where list_contains(?, body)", [[body for (body,) in bodies]])
    book.rows(
        "insert into book.main.trace_result select body, ? from book.main.trace "
        "where car = ? and date = ? and number = ?",
        [json.dumps(findings), *run],
    )


def findings(book: Logbook, car: str, date: dt.date | None = None) -> dict[RunKey, Findings]:
    """Return what the traces of a car show, or those of one day, as far as it has been computed."""
    rows = book.rows(
        "select car, date, number, findings from book.main.trace join book.main.trace_result "
        "on trace_result.body = trace.body where car = ? and (? is null or date = ?)",
        [car, date, date],
    )
    return {RunKey(car, date, number): json.loads(text) for car, date, number, text in rows}


def earlier_findings(book: Logbook, key: RunKey, count: int) -> list[Findings]:
    """Return what the newest ``count`` traced runs before a run show, as far as it has been computed, in order."""
    rows = book.rows(
        "select findings from book.main.trace join book.main.trace_result on trace_result.body = trace.body "
        "where car = ? and (date, number) < (?, ?) order by date desc, number desc limit ?",
        [key.car, key.date, key.number, count],
    )
    return [json.loads(text) for (text,) in reversed(rows)]


def save_run_results(book: Logbook, results: Sequence[RunResult]) -> None:
    """Replace the results of these runs."""
    book.rows(f"delete from book.main.run_result where {_IN_KEYS}", _columns([result.key for result in results]))
    book.insert("run_result", [_row(result) for result in results])


def drop_run_results(book: Logbook, car: str | None = None) -> None:
    """Drop the results of a car, or of all."""
    book.rows("delete from book.main.run_result where ? is null or car = ?", [car, car])


def drop_strangers(book: Logbook) -> None:
    """Drop the results of cars that no longer have any run, as when their slips were withdrawn."""
    for table in ("calibration_result", "run_result", "car_result", "fleet_result"):
        book.rows(
            f"delete from book.main.{table} where car not in "
            "(select car from book.main.slip_fact union select car from book.main.trace_fact)"
        )


def drop_all(book: Logbook) -> None:
    """Drop every result; they are computed anew from the facts."""
    for table in ("trace_result", "calibration_result", "run_result", "car_result", "fleet_result", "stale"):
        book.rows(f"delete from book.main.{table}")


def _row(result: RunResult) -> tuple[Any, ...]:
    air = result.air
    splits = [result.trace_splits.get(feet, (None, None)) for feet in SPLIT_DISTANCES_FT]
    return (
        result.key.car, result.key.date, result.key.number, result.time, result.track, result.lane, result.purpose,
        result.reaction, result.clean, result.spoiled, result.note, result.valid_to_ft,
        *(getattr(air, name) if air else None for name in _AIR),
        *(result.times.get(feet) for feet in SPLIT_DISTANCES_FT),
        *(result.speeds.get(feet) for feet in SPEED_DISTANCES_FT),
        *(result.corrected_times.get(feet) for feet in SPLIT_DISTANCES_FT),
        *(result.corrected_speeds.get(feet) for feet in SPEED_DISTANCES_FT),
        *(time for time, _ in splits), *(sd for _, sd in splits),
        json.dumps(result.caveats, ensure_ascii=False),
        None if result.expected is None else json.dumps(result.expected),
        _dump(result.setup), _dump(result.changes), _dump(result.questions),
        *(result.first_motion_60 or (None, None)), json.dumps(result.alarms) if result.alarms else None,
        json.dumps(result.record, ensure_ascii=False) if result.record else None,
        json.dumps(result.coasted) if result.coasted else None,
    )  # fmt: skip


def _dump(records: Iterable[Any]) -> str:
    return json.dumps([dataclasses.asdict(record) for record in records], ensure_ascii=False)


def run_results(book: Logbook, car: str | None = None, date: dt.date | None = None) -> list[RunResult]:
    """Return runs with their results in order of car, date and number."""
    rows = book.rows(
        "select * from book.main.run_result where (? is null or car = ?) and (? is null or date = ?) "
        "order by car, date, number",
        [car, car, date, date],
    )
    return [result_from(row) for row in rows]


def corrected_runs(book: Logbook, car: str) -> list[RunResult]:
    """Return a car's runs in order with nothing but whether they are clean and their corrected times: quick to read."""
    columns = ", ".join(f"corrected_t{feet}" for feet in SPLIT_DISTANCES_FT)
    rows = book.rows(
        f"select car, date, number, clean, {columns} from book.main.run_result where car = ? order by date, number",
        [car],
    )
    return [
        RunResult(
            RunKey(*row[:3]),
            clean=row[3],
            corrected_times={
                feet: time for feet, time in zip(SPLIT_DISTANCES_FT, row[4:], strict=True) if time is not None
            },
        )
        for row in rows
    ]


def result_from(row: Sequence[Any]) -> RunResult:
    """Return the result that a row of run_result holds."""

    def keyed(distances: Sequence[int], start: int) -> dict[int, float]:
        pairs = zip(distances, row[start : start + len(distances)], strict=True)
        return {feet: value for feet, value in pairs if value is not None}

    *row, first_motion, first_motion_sd, alarms, record, coasted = row
    speeds, corrected = 21 + _COUNT, 21 + _COUNT + 2
    trace = corrected + _COUNT + 2
    times = keyed(SPLIT_DISTANCES_FT, trace)
    sds = keyed(SPLIT_DISTANCES_FT, trace + _COUNT)
    setup, changes, questions = (json.loads(text) for text in row[-3:])
    return RunResult(
        RunKey(*row[:3]),
        **dict(zip(_PLAIN, row[3:12], strict=True)),
        air=AirState(*row[12:21]) if row[12] is not None else None,
        times=keyed(SPLIT_DISTANCES_FT, 21),
        speeds=keyed(SPEED_DISTANCES_FT, speeds),
        corrected_times=keyed(SPLIT_DISTANCES_FT, corrected),
        corrected_speeds=keyed(SPEED_DISTANCES_FT, corrected + _COUNT),
        caveats=tuple(json.loads(row[-5])),
        expected=None if row[-4] is None else {int(feet): tuple(pair) for feet, pair in json.loads(row[-4]).items()},
        trace_splits={feet: (time, sds[feet]) for feet, time in times.items()},
        setup=tuple(SheetEntry(**item) for item in setup),
        changes=tuple(Change(**item) for item in changes),
        questions=tuple(_question(item) for item in questions),
        first_motion_60=None if first_motion is None else (first_motion, first_motion_sd),
        alarms=tuple(json.loads(alarms)) if alarms else (),
        record=json.loads(record) if record else {},
        coasted=tuple(json.loads(coasted)) if coasted else (),
    )  # fmt: skip


def _question(content: Mapping[str, Any]) -> Question:
    answers = tuple(Answer(**answer) for answer in content["answers"])
    return Question(**{**content, "evidence": tuple(content["evidence"]), "answers": answers})


def asked(book: Logbook, car: str | None = None, date: dt.date | None = None) -> list[tuple[RunKey, list[Question]]]:
    """Return the runs with a question that may be answered, in order, with all their questions."""
    rows = book.rows(
        "select car, date, number, questions from book.main.run_result where (? is null or car = ?) "
        "and (? is null or date = ?) and system.main.contains(questions, ?) order by date, car, number",
        [car, car, date, date, '"answers": [{'],
    )
    return [(RunKey(*row[:3]), [_question(item) for item in json.loads(row[3])]) for row in rows]


def cars_asked(book: Logbook, dates: Iterable[dt.date], kind: str) -> set[str]:
    """Return the cars with an open question of a kind, which its id begins with, about a run on one of these dates."""
    rows = book.rows(
        "select distinct car from book.main.run_result where system.main.list_contains(?::date[], date) "
        "and system.main.contains(questions, ?)",
        [list(dates), f'"id": "{kind}'],
    )
    return {car for (car,) in rows}


def save_car_result(book: Logbook, car: str, vehicle: Mapping[str, Any], effects: Mapping[str, Any]) -> None:
    """Replace a car's fitted model and effects."""
    book.rows("delete from book.main.car_result where car = ?", [car])
    book.insert("car_result", [(car, json.dumps(vehicle), json.dumps(effects, ensure_ascii=False))])


def car_result(book: Logbook, car: str) -> tuple[dict[str, Any], dict[str, Any]] | None:
    """Return (fitted model, effects) of a car, or None when nothing has been computed."""
    row = book.row("select vehicle, effects from book.main.car_result where car = ?", [car])
    return None if row is None else (json.loads(row[0]), json.loads(row[1]))


def save_fleet_statistics(book: Logbook, car: str, statistics: Mapping[str, Any] | None) -> None:
    """Replace what the fleet knows of a car; None: nothing."""
    book.rows("delete from book.main.fleet_result where car = ?", [car])
    if statistics is not None:
        book.insert("fleet_result", [(car, json.dumps(statistics, ensure_ascii=False))])


def fleet_statistics(book: Logbook) -> dict[str, dict[str, Any]]:
    """Return what the fleet knows of each car."""
    return {car: json.loads(text) for car, text in book.rows("select * from book.main.fleet_result order by car")}


def fleet_digest(book: Logbook, car: str) -> str:
    """Return what tells whether anything that the fleet knows of cars other than this one has changed."""
    row = book.row(
        "select count(*), md5(coalesce(string_agg(car || chr(31) || statistics, chr(30) order by car), '')) "
        "from book.main.fleet_result where car <> ?",
        [car],
    )
    return "" if row is None or not row[0] else str(row[1])


def save_effects(book: Logbook, car: str, effects: Mapping[str, Any]) -> None:
    """Replace a car's effects; its fitted model stays."""
    text = json.dumps(effects, ensure_ascii=False)
    book.rows("update book.main.car_result set effects = ? where car = ?", [text, car])


def cars_with_effects(book: Logbook, effects: Mapping[str, Any]) -> list[str]:
    """Return the cars whose stored effects are exactly these."""
    text = json.dumps(effects, ensure_ascii=False)
    return [car for (car,) in book.rows("select car from book.main.car_result where effects = ? order by car", [text])]


def run_keys(book: Logbook) -> list[RunKey]:
    """Return the keys of all runs."""
    return [RunKey(*row) for row in book.rows("select car, date, number from book.main.run_result")]


def newest_run(book: Logbook) -> RunKey:
    """Return the key of the newest run by date, clock time and number; there must be one."""
    rows = book.rows(
        "select car, date, number from book.main.run_result "
        "order by date desc, time desc nulls last, number desc limit 1"
    )
    return RunKey(*rows[0])


def cars_with_file(book: Logbook) -> list[str]:
    """Return the names of all cars that have a car file."""
    return [name for (name,) in book.rows("select distinct name from book.main.car_fact")]
