"""A change that only moves the clock's start is named, one that makes the car quicker isn't."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from runlog.records import RunKey, SheetEntry
from runlog.results import RunResult
from runlog.workflows.lessons.clock import on_the_clock

DAY = dt.date(2032, 5, 1)
NOISE = (0.003, -0.002, 0.001, -0.003, 0.002, -0.001)


def runs(slip_gain: float, ground_gain: float, noise: float = 1.0) -> list[RunResult]:
    """Six runs, the last three with more air in the front tyres."""
    made = []
    for n, error in enumerate(NOISE):
        later = n >= 3
        entry = SheetEntry("front tyre pressure", 36.0 if later else 32.0, "psi", "36" if later else "32")
        ground = 1.58 - (ground_gain if later else 0.0) + noise * error
        slip = 1.41 - (slip_gain if later else 0.0)
        made.append(
            RunResult(
                RunKey("sedge", DAY, n + 1), valid_to_ft=60, times={60: slip}, first_motion_60=(ground, 0.004),
                setup=(entry,),
            )
        )  # fmt: skip
    return made


def effect(mean: float) -> dict[str, Any]:
    made = {"from": 32.0, "to": 36.0, "mean_s": mean}
    return {"adjustable": "front tyre pressure", "from_ft": 0, "to_ft": 60, "change_made": made}


@pytest.mark.parametrize(
    ("slip_gain", "ground_gain", "named"),
    [(0.02, 0.0, True), (0.02, 0.02, False), (0.02, 0.015, False), (0.0, 0.0, False), (-0.02, 0.0, False)],
)
def test_only_a_gain_of_the_clock_alone_is_named(slip_gain, ground_gain, named):
    found = on_the_clock(runs(slip_gain, ground_gain), [effect(-slip_gain)])
    assert bool(found) is named
    if named:
        assert found[0]["ground_s"] == pytest.approx(0.0, abs=0.004)
        assert "gains on the clock, not on the ground" in found[0]["text"]


def test_within_the_doubt_of_the_first_motion_nothing_is_named():
    assert on_the_clock(runs(0.004, 0.0), [effect(-0.004)]) == []
    assert on_the_clock(runs(0.02, 0.0, noise=8.0), [effect(-0.02)]) == []


def test_runs_without_a_trace_say_nothing():
    bare = [RunResult(run.key, valid_to_ft=60, times=run.times, setup=run.setup) for run in runs(0.02, 0.0)]
    assert on_the_clock(bare, [effect(-0.02)]) == []
