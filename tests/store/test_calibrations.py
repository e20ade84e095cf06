"""Carried calibration in the logbook: exact, replaced, and found from the runs before."""

from __future__ import annotations

import datetime as dt

from runlog.records import RunKey
from runlog.store import calibrations
from runlog.store.calibrations import CalibrationRow

DAY = dt.date(2031, 4, 12)
THIRD = 1.0 / 3.0


def row(number: int, tyres: str = "", value: float = THIRD, car: str = "heron") -> CalibrationRow:
    return CalibrationRow(RunKey(car, DAY, number), tyres, True, {"mean": [value]}, {"mean": [2 * value]})


def test_a_row_comes_back_exactly_and_is_replaced(book):
    calibrations.save(book, row(3))
    assert calibrations.of_run(book, RunKey("heron", DAY, 3)) == row(3)
    calibrations.save(book, row(3, value=0.1))
    assert calibrations.of_run(book, RunKey("heron", DAY, 3)) == row(3, value=0.1)
    assert calibrations.of_run(book, RunKey("heron", DAY, 4)) is None


def test_the_last_of_each_set_of_tyres_before_a_run(book):
    for number, tyres in ((1, "A"), (2, "B"), (3, "A"), (5, "B")):
        calibrations.save(book, row(number, tyres))
    calibrations.save(book, row(4, "A", car="plover"))
    before = calibrations.before(book, RunKey("heron", DAY, 4))
    assert [(found.key.number, found.tyres) for found in before] == [(2, "B"), (3, "A")]
    assert calibrations.before(book, RunKey("heron", DAY, 1)) == []
    assert calibrations.any_after(book, RunKey("heron", DAY, 4))
    assert not calibrations.any_after(book, RunKey("heron", DAY, 5))
    assert calibrations.any_after(book, RunKey("heron", DAY - dt.timedelta(1), 9))


def test_replacing_a_car_leaves_others(book):
    calibrations.save(book, row(1))
    calibrations.save(book, row(1, car="plover"))
    calibrations.replace_all(book, "heron", [row(2)])
    assert calibrations.of_run(book, RunKey("heron", DAY, 1)) is None
    assert calibrations.of_run(book, RunKey("heron", DAY, 2)) == row(2)
    assert calibrations.of_run(book, RunKey("plover", DAY, 1)) is not None
