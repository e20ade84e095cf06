"""A setup is carried forward until something changes it."""

from __future__ import annotations

import datetime as dt

from runlog.records import RunKey, Sheet, SheetEntry
from runlog.results import Change
from runlog.workflows.setup import baseline, changes, in_force

ONE, TWO = dt.date(2031, 4, 12), dt.date(2031, 4, 13)


def entry(item: str, value: float) -> SheetEntry:
    return SheetEntry(item, value, "", f"{value:g}")


def sheet(date: dt.date | None, number: int, full: bool, **values: float) -> Sheet:
    return Sheet("heron", date, number, full, tuple(entry(item, value) for item, value in values.items()))


def runs(*places: tuple[dt.date, int]) -> list[RunKey]:
    return [RunKey("heron", date, number) for date, number in places]


def values(state: dict[str, SheetEntry]) -> dict[str, float | None]:
    return {item: line.value for item, line in state.items()}


SHEETS = [
    sheet(None, 1, True, a=1, b=1),
    sheet(ONE, 2, False, a=2),
    sheet(ONE, 4, False, b=3),
    sheet(TWO, 1, True, a=9),
    sheet(TWO, 1, False, c=5),
]


def test_changes_stay_until_the_next_and_a_full_sheet_starts_anew():
    keys = runs((ONE, 1), (ONE, 2), (ONE, 3), (ONE, 5), (TWO, 1), (TWO, 7))
    found = in_force(SHEETS, reversed(keys))
    assert [values(found[key]) for key in keys] == [
        {"a": 1, "b": 1},
        {"a": 2, "b": 1},
        {"a": 2, "b": 1},
        {"a": 2, "b": 3},  # from run 4 on, though run 4 left no slip
        {"a": 9, "c": 5},
        {"a": 9, "c": 5},
    ]


def test_before_any_sheet_nothing_is_known():
    (key,) = runs((ONE, 1))
    assert in_force([], [key]) == {key: {}}
    assert in_force([sheet(ONE, 2, True, a=1)], [key]) == {key: {}}


def test_the_baseline_is_the_first_full_sheet():
    assert values(baseline(SHEETS)) == {"a": 1, "b": 1}
    assert baseline([sheet(ONE, 1, False, a=1)]) == {}


def test_what_changed_between_two_runs():
    before, after = (
        {"a": entry("a", 1), "b": entry("b", 1)},
        {"a": entry("a", 2), "b": entry("b", 1), "c": entry("c", 3)},
    )
    assert changes(before, after) == (Change("a", "1", "2", ""), Change("c", None, "3", ""))
    assert changes(None, after) == changes({}, after) == ()
    assert changes(after, after) == ()
