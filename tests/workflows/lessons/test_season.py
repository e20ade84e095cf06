"""A car's season from runs made by hand, worked out beside the code with numpy and scipy."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from scipy import stats

from runlog.errors import NotFound
from runlog.records import RunKey, SheetEntry
from runlog.results import Change, RunResult
from runlog.store.connection import Logbook
from runlog.workflows.lessons.season import same_setup_spread, season_content, season_page, span_time


def run(day: int, number: int, t60: float, t330: float | None = None, rpm: float = 4200.0, **more: object) -> RunResult:
    corrected = {60: t60} if t330 is None else {60: t60, 330: t330}
    return RunResult(
        key=RunKey("teal", dt.date(2031, 4, day), number),
        corrected_times=corrected,
        setup=(SheetEntry("launch rpm", rpm, "rpm", f"{rpm:g}"),),
        **more,  # type: ignore[arg-type]
    )


ROWS = [
    run(12, 1, 1.42, 3.85, track="lowfield"),
    run(12, 2, 1.40, 3.86),
    run(12, 3, 1.44, 3.80, rpm=4400.0, changes=(Change("launch rpm", "4200", "4400", "rpm"),)),
    run(12, 4, 1.41, rpm=4400.0, clean=False, spoiled="driver: lift"),
    run(19, 1, 1.39, 3.84, track="upfell"),
    run(19, 2, 1.43, 3.88),
]


def test_best_and_typical_of_each_day() -> None:
    first, second = season_content("teal", ROWS, {})["days"]
    assert [first["date"], first["runs"], first["clean"], first["tracks"]] == ["2031-04-12", 4, 3, ["lowfield"]]
    row = first["increments"][0]
    assert (row["best_s"], row["typical_s"], row["runs"]) == (
        1.40,
        1.415,
        4,
    )
    row = first["increments"][1]
    assert (row["best_s"], row["typical_s"], row["runs"]) == (2.36, 2.43, 3)
    assert first["increments"][4] == {"from_ft": 1000, "to_ft": 1320, "runs": 0, "best_s": None, "typical_s": None}
    assert (first["elapsed"]["to_ft"], first["elapsed"]["best_s"], first["elapsed"]["typical_s"]) == (330, 3.80, 3.85)
    assert second["elapsed"]["typical_s"] == 3.86
    assert first["changes"] == [{"run": 3, "item": "launch rpm", "from": "4200", "to": "4400", "unit": "rpm"}]


def test_personal_bests_fall_day_by_day() -> None:
    page = season_content("teal", ROWS, {})
    first, second = (day["personal_bests"] for day in page["days"])
    assert {(best["to_ft"], best["before_s"]) for best in first} == {(60, None), (330, None)}
    assert second == [{"from_ft": 0, "to_ft": 60, "time_s": 1.39, "run": "teal/2031-04-19/1", "before_s": 1.40}]
    bests = {(best["from_ft"], best["to_ft"]): (best["time_s"], best["run"]) for best in page["bests"]}
    assert bests == {
        (0, 60): (1.39, "teal/2031-04-19/1"),
        (60, 330): (2.36, "teal/2031-04-12/3"),
        (0, 330): (3.80, "teal/2031-04-12/3"),
    }


def test_same_setup_spread_against_numpy_and_scipy() -> None:
    """Two setups pooled: 3 + 2 clean runs, one spoiled run left out; interval from scipy's chi-square."""
    a, b = [1.40, 1.43, 1.41], [1.50, 1.46]
    rows = [run(12, n, time) for n, time in enumerate(a, 1)]
    rows += [run(12, n, time, rpm=4400.0) for n, time in enumerate(b, 4)]
    rows.append(run(12, 6, 1.9, clean=False, spoiled="car: spin"))
    found = same_setup_spread(rows, (0, 60))
    assert found is not None
    squares = 2 * np.var(a, ddof=1) + np.var(b, ddof=1)
    assert found["degrees"] == 3
    assert found["sd_s"] == pytest.approx(np.sqrt(squares / 3), abs=5e-5)
    assert [found["lo90_s"], found["hi90_s"]] == pytest.approx(
        np.sqrt(squares / stats.chi2.ppf([0.95, 0.05], 3)), abs=1e-4
    )


def test_no_spread_without_a_repeat() -> None:
    assert same_setup_spread([run(12, 1, 1.4), run(12, 2, 1.5, rpm=4400.0)], (0, 60)) is None
    assert span_time({60: 1.4}, (60, 330)) is None


def test_runs_without_any_corrected_time() -> None:
    page = season_content("teal", [RunResult(RunKey("teal", dt.date(2031, 4, 12), 1))], {})
    assert (page["days"][0]["elapsed"], page["days"][0]["spread"], page["bests"]) == (None, None, [])


def test_a_car_that_has_not_run(book: Logbook) -> None:
    with pytest.raises(NotFound, match="no run of teal"):
        season_page(book, "teal")
