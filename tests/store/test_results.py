"""Results come back as they were computed, replace each other, and what is out of date is known."""

from __future__ import annotations

import datetime as dt

import pytest

from runlog.records import RunKey, SheetEntry, Slip
from runlog.results import AirState, Answer, Change, Question, RunResult
from runlog.store import facts, results

DAY = dt.date(2031, 4, 12)
KEY = RunKey("heron", DAY, 3)
FULL = RunResult(
    key=KEY,
    time=dt.time(13, 32),
    track="lowfield",
    lane="left",
    purpose="full",
    reaction=0.293,
    clean=False,
    spoiled="car: tyre shake",
    note="größer",
    valid_to_ft=330,
    air=AirState(290.0, 0.5, 1e5, 1.19, 0.97, 300.0, -1.5, None, "station pressure"),
    times={60: 1.419, 330: 3.842, 1320: 9.066},
    speeds={660: 54.2},
    corrected_times={60: 1.41, 330: 3.8},
    corrected_speeds={660: 54.0},
    trace_splits={60: (1.42, 0.004)},
    setup=(SheetEntry("launch rpm", 4200.0, "rpm", "4200"), SheetEntry("tyres", None, "", "fresh")),
    changes=(Change("launch rpm", None, "4200", "rpm"),),
    questions=(Question("a-1", "is it?", ("so",), (Answer("y", "yes", {"do": "no_lift"}),)),),
)


@pytest.mark.parametrize("result", [FULL, RunResult(KEY)], ids=["everything", "nothing"])
def test_a_result_comes_back(book, result):
    results.save_run_results(book, [result])
    assert results.run_results(book) == [result]


def test_a_result_replaces_the_one_before(book):
    results.save_run_results(book, [RunResult(KEY, note="old"), RunResult(RunKey("heron", DAY, 4))])
    results.save_run_results(book, [RunResult(KEY, note="new")])
    assert [(row.key.number, row.note) for row in results.run_results(book, "heron", DAY)] == [(3, "new"), (4, None)]


def test_only_the_car_and_day_asked_for(book):
    keys = [KEY, RunKey("plover", DAY, 1), RunKey("heron", dt.date(2031, 4, 13), 1)]
    results.save_run_results(book, [RunResult(key) for key in keys])
    assert [row.key for row in results.run_results(book, "heron")] == [keys[0], keys[2]]
    assert [row.key for row in results.run_results(book, "plover", DAY)] == [keys[1]]
    results.drop_run_results(book, "heron")
    assert results.run_keys(book) == [keys[1]]


def test_the_newest_run_is_that_of_the_latest_clock(book):
    results.save_run_results(
        book,
        [
            RunResult(RunKey("heron", DAY, 9), time=dt.time(10, 0)),
            RunResult(RunKey("plover", DAY, 2), time=dt.time(12, 0)),
            RunResult(RunKey("plover", DAY, 1)),
        ],
    )
    assert str(results.newest_run(book)) == "plover/2031-04-12/2"


def test_what_is_out_of_date(book):
    results.mark_stale(book, "heron")
    results.mark_stale(book, "heron")
    results.mark_stale(book, "heron", DAY, 3, trace_only=True)
    results.mark_stale(book)
    assert sorted(results.stale_marks(book), key=str) == sorted(
        [("heron", None, None, False), ("heron", DAY, 3, True), (None, None, None, False)], key=str
    )
    results.clear_stale(book)
    assert results.stale_marks(book) == []


def test_findings_belong_to_the_newest_trace_and_can_be_dropped(book):
    for entry, car in ((1, "heron"), (2, "plover")):
        book.insert("trace_fact", [(entry, car, DAY, 3, None, "", entry)])
        results.save_findings(book, RunKey(car, DAY, 3), {"peak_slip": 0.1})
    assert results.findings(book, "heron") == {KEY: {"peak_slip": 0.1}}
    results.forget_findings(book, keys=[RunKey("heron", DAY, 4)])
    assert results.findings(book, "heron") != {}
    results.forget_findings(book, keys=[KEY])
    assert results.findings(book, "heron") == {}
    assert results.findings(book, "plover") != {}
    results.forget_findings(book)
    assert results.findings(book, "plover") == {}


def test_findings_of_an_older_trace_do_not_count(book):
    book.insert("trace_fact", [(1, "heron", DAY, 3, None, "", 1)])
    results.save_findings(book, KEY, {"peak_slip": 0.1})
    book.insert("trace_fact", [(2, "heron", DAY, 3, None, "", 2)])
    assert results.findings(book, "heron") == {}


def test_a_cars_model_and_effects(book):
    assert results.car_result(book, "heron") is None
    results.save_car_result(book, "heron", {"a": 1.5}, {"b": [None]})
    results.save_car_result(book, "heron", {"a": 2.5}, {})
    assert results.car_result(book, "heron") == ({"a": 2.5}, {})


def test_views_show_splits_and_increments(book):
    results.save_run_results(book, [FULL])
    assert book.rows("select key, distance_ft, measured from book.main.split where measured is not null") == [
        (str(KEY), 60, 1.419), (str(KEY), 330, 3.842), (str(KEY), 1320, 9.066),
    ]  # fmt: skip
    increments = {row[0]: row[1] for row in book.rows("select to_ft, measured from book.main.increment")}
    # 3.842 − 1.419 = 2.423; no 660 and no 1000 time, so nothing after 330
    assert increments == {60: 1.419, 330: pytest.approx(2.423), 660: None, 1000: None, 1320: None}
    assert book.rows("select item, value, text from book.main.setup") == [
        ("launch rpm", 4200.0, "4200"), ("tyres", None, "fresh"),
    ]  # fmt: skip


def test_dropping_results_leaves_the_facts(book):
    facts.save_slips(book, 1, [Slip(KEY, times={60: 1.4})])
    results.save_run_results(book, [FULL])
    results.drop_all(book)
    assert results.run_results(book) == []
    assert set(facts.slips(book)) == {KEY}
