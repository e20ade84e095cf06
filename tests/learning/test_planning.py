"""Plans: the guards, the clock, and that the search finds what counting every sequence finds."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from runlog.learning import Candidate, Request, Settings, fit_car, lookahead, plan
from runlog.learning.forecast import forecast
from runlog.learning.lookahead import make_lookahead
from runlog.learning.sequences import CHANGE_COST, Space, change_and_stay, search, stay, there_and_back


@pytest.fixture
def fit(garage):
    return fit_car(garage.runs(np.zeros((3, 3)), hour=[9, 9.75, 10.5]), garage.levers(3))


def ask(runs=6, levers=2, **more):
    candidates = more.pop("candidates", tuple(Candidate(f"lever {p}", 10, cautions="W") for p in range(levers)))
    return Request(runs, candidates, np.zeros(3), 0, 10.5, **more)


def path(result, start=None):
    now = dict.fromkeys(("lever 0", "lever 1", "lever 2"), 0.0) | (start or {})
    rows = []
    for step in result.steps:
        now |= dict(step.changes)
        rows.append(tuple(now.values()))
    return np.array(rows)


# --- the covariance of runs to come -----------------------------------------------------------------------------------


def test_covariance_of_planned_runs_is_that_of_the_runs_once_made(garage, monkeypatch):
    monkeypatch.setattr(lookahead, "QUADRATIC_DRIFT", 1e-9)
    one = Settings(
        repeatability_range=(1.0, 1.0, 1), day_level_of_one_day=0.6, drift_rates=(0.2,), widenings=(1.0,),
        widening_weights=(1.0,), spoiled_share=1e-14,
    )  # fmt: skip
    before = np.array([[0.0, 0], [1, 0], [0, 0]])
    after = np.array([[0.0, 1], [1, 1], [2, 0]])
    hours = np.array([9.0, 12, 12, 10, 11, 12])  # the mean hour, where the day's level is defined, stays the same
    levers = garage.levers(2, curved=(0,))
    fit = fit_car(garage.runs(before, hour=hours[:3]), levers, one)
    ahead = make_lookahead(fit, 0, 11.0, np.zeros(5))
    found = ahead.variances(after[None], hours[None, 3:], np.array([5, 5, 5]))[0]
    made = fit_car(garage.runs(np.concatenate([before, after]), hour=hours), levers, one)
    for k in range(5):
        for p in range(2):
            effect = made.effects[6 * p + k]
            assert np.sqrt(found[k, p]) == pytest.approx(effect.sd_s, rel=1e-6)


def test_a_short_hit_informs_its_own_segments_only(fit):
    ahead = make_lookahead(fit, 0, 10.5, np.zeros(5))
    now = ahead.variances(np.zeros((1, 0, 3)), np.zeros((1, 0)), np.zeros(0, dtype=int))[0]
    hit = ahead.variances(np.ones((1, 1, 3)), np.array([[11.0]]), np.array([1]))[0]
    assert (hit[0] < now[0]).all()
    assert hit[1:] == pytest.approx(now[1:])


def test_there_and_back_beats_change_and_stay(garage):
    """Published for drifting processes in general; the direction is what is checked."""
    fit = fit_car(garage.runs(np.zeros((0, 1))), garage.levers(1))
    ahead = make_lookahead(fit, 0, 9.0, np.zeros(5))
    sequences = np.array([[0, 1, 1, 0, 0, 1, 1, 0], [0, 0, 0, 0, 1, 1, 1, 1]], dtype=float)[:, :, None]
    hours = np.tile(9 + 0.75 * np.arange(8), (2, 1))
    back, stayed = ahead.variances(sequences, hours, np.full(8, 5))[:, 0, 0]
    assert back < stayed


# --- guards -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("runs", [3, 4, 6, 8])
@pytest.mark.parametrize("per_gap", [1, 2])
def test_one_change_per_gap_with_a_return(fit, runs, per_gap):
    result = plan(fit, ask(runs, changes_per_gap=per_gap))
    assert len(result.steps) == runs
    assert all(len(step.changes) <= per_gap for step in result.steps)
    rows = np.concatenate([np.zeros((4, 3)), path(result)])
    moved = [p for p in range(3) if np.ptp(rows[:, p])]
    assert moved
    assert 2 not in moved
    for p in moved:
        turns = (np.diff(rows[:, p]) != 0).sum()
        assert turns >= len(np.unique(rows[:, p])), "changed and left"


def test_limits_blocked_levels_and_missing_parts(fit):
    candidates = (
        Candidate("lever 0", 5, levels=(-1.0, 0.0, 1.0, 2.0), low=-1.0, high=1.0, blocked=(1.0,)),
        Candidate("lever 1", 5, available=False),
        Candidate("lever 2", 5, high=0.5),
    )
    result = plan(fit, ask(6, candidates=candidates))
    rows = path(result)
    assert set(rows[:, 0]) == {-1.0, 0.0}
    assert not rows[:, 1:].any()
    notes = " | ".join(result.notes)
    assert "lever 0: +1 steps isn't proposed" in notes
    assert "lever 0: +2 steps isn't proposed" in notes
    assert "lever 1: left out, it needs a part" in notes
    assert "lever 2: left out, fewer than two settings" in notes


def test_a_car_that_stands_outside_its_limits_is_put_right_first(fit):
    request = replace(ask(4, candidates=(Candidate("lever 0", 30, high=1.0),)), settings=np.array([3.0, 0, 0]))
    result = plan(fit, request)
    assert set(path(result)[:, 0]) <= {0.0, 1.0}
    assert result.steps[0].changes[0][1] <= 1.0
    assert result.steps[0].minutes >= 30
    assert "put right first" in result.notes[0]
    assert "puts right" in result.steps[0].why


def test_shakedown_steps_come_first_and_as_the_car_stands(fit):
    result = plan(fit, ask(6, shakedown_ft=(60, 330)))
    assert [step.to_ft for step in result.steps] == [60, 330, 1320, 1320, 1320, 1320]
    assert not path(result)[:2].any()
    assert path(result)[2:].any()
    assert "shakedown" in result.steps[0].why
    with pytest.raises(ValueError, match="no split at 100 ft"):
        plan(fit, ask(6, shakedown_ft=(100,)))


def test_the_owner_leaves_with_what_was_asked(fit):
    for leave in (np.zeros(3), np.array([1.0, 0, 0]), np.array([1.0, 1.0, 0])):
        result = plan(fit, ask(6, leave_with=leave))
        assert path(result)[-1].tolist() == leave.tolist()
        assert path(result)[:-1].any()


def test_the_clock(fit):
    slow = tuple(Candidate(f"lever {p}", minutes) for p, minutes in enumerate((90, 5)))
    result = plan(fit, ask(6, candidates=slow, turnaround_minutes=40))
    hours = [10.5, *(step.hour for step in result.steps)]
    for step, before, now in zip(result.steps, hours[:-1], hours[1:], strict=True):
        assert (now - before) * 60 == pytest.approx(max(40, step.minutes))
        assert step.minutes == pytest.approx(sum({"lever 0": 90, "lever 1": 5}[name] for name, _ in step.changes))
    limited = plan(fit, ask(6, candidates=slow, turnaround_minutes=40, minutes_left=200))
    assert len(limited.steps) == 5
    assert (limited.steps[-1].hour - 10.5) * 60 <= 200 + 1e-6
    assert all(name == "lever 1" for step in limited.steps for name, _ in step.changes)
    assert "5 of 6 runs fit into 200 minutes" in limited.notes


def test_no_time_no_plan_and_no_levers_no_changes(fit):
    assert plan(fit, ask(6, minutes_left=10)).steps == ()
    assert plan(fit, ask(0)).steps == ()
    assert not path(plan(fit, ask(3, candidates=()))).any()
    with pytest.raises(ValueError, match="no adjustable 'wing'"):
        plan(fit, ask(3, candidates=(Candidate("wing", 5),)))


def test_cautions_stand_beside_what_is_changed(fit):
    result = plan(fit, ask(6, levers=1))
    assert any("lever 0: the front may rise" in text for text in result.cautions)
    assert any("limits, rules, inspection and makers come first" in text for text in result.cautions)
    assert not any("lever 1" in text for text in result.cautions)


def test_the_same_question_has_the_same_answer(fit):
    assert plan(fit, ask(6)) == plan(fit, ask(6))


def test_expected_knowledge(fit):
    result = plan(fit, ask(8))
    assert {(e.adjustable, e.from_ft, e.to_ft) for e in result.expected} >= {("lever 0", 0, 60), ("lever 1", 0, 1320)}
    effects = {(e.adjustable, e.from_ft, e.to_ft): e for e in fit.effects}
    for e in result.expected:
        assert e.sd_now_s == effects[e.adjustable, e.from_ft, e.to_ft].sd_s
        for outlook in (e.plan, e.there_and_back, e.change_and_stay):
            assert 0 < outlook.sd_after_s <= e.sd_now_s * (1 + 1e-9)
            assert 0 <= outlook.chance_of_verdict <= 1
    total = {way: sum(getattr(e, way).sd_after_s ** 2 for e in result.expected if (e.from_ft, e.to_ft) == (0, 60))
             for way in ("plan", "there_and_back", "change_and_stay")}  # fmt: skip
    assert total["plan"] <= total["there_and_back"] < total["change_and_stay"]


def test_a_plan_made_good_brings_the_doubt_down_as_promised(garage):
    """Runs drawn at the planned settings: the posterior sd comes out near what was promised."""
    levers = garage.levers(2)
    first = garage.runs(np.zeros((2, 2)), hour=[9, 9.75])
    fit = fit_car(first, levers)
    request = Request(6, tuple(Candidate(lever.name, 10) for lever in levers), np.zeros(2), 0, 9.75)
    result = plan(fit, request)
    now, rows = np.zeros(2), []
    for step in result.steps:
        for name, level in step.changes:
            now[int(name[-1])] = level
        rows.append(now.copy())
    promised = next(e.plan.sd_after_s for e in result.expected if (e.adjustable, e.to_ft) == ("lever 0", 60))
    hours = [9, 9.75, *(step.hour for step in result.steps)]
    x = np.concatenate([np.zeros((2, 2)), rows])
    sds = [fit_car(garage.runs(x, hour=hours, seed=s), levers).effects[0].sd_s for s in range(12)]
    assert np.mean(sds) == pytest.approx(promised, rel=0.3)
    assert forecast(fit, np.zeros(2), 0, 11.0).splits[-1].sd_s > 0


# --- short hits first, and what to leave with ------------------------------------------------------------------------


def careful(**more):
    return (Candidate("lever 0", 10, short_ft=60, **more), Candidate("lever 1", 10))


def test_a_setting_that_was_never_run_is_first_tried_in_a_short_hit(fit):
    result = plan(fit, ask(6, candidates=careful(proven=(0.0,))))
    now, seen = {"lever 0": 0.0, "lever 1": 0.0}, {0.0}
    for step in result.steps:
        now |= dict(step.changes)
        assert step.to_ft == (1320 if now["lever 0"] in seen else 60)
        assert step.short_hit is (now["lever 0"] not in seen)
        seen.add(now["lever 0"])
    assert len(seen) > 1
    # proven settings go to the finish at once, and what the car stands at unproven is hit short before all else
    assert {step.to_ft for step in plan(fit, ask(6, candidates=careful(proven=(0.0, 1.0)))).steps} == {1320}
    first, *others = plan(fit, ask(6, candidates=careful(proven=(1.0,)))).steps
    if not first.changes:
        assert (first.to_ft, first.short_hit) == (60, True)
        assert "hasn't run yet" in first.why
    assert {step.to_ft for step in others} <= {60, 1320}
    with pytest.raises(ValueError, match="no split at 90 ft"):
        plan(fit, ask(3, candidates=(Candidate("lever 0", 5, short_ft=90),)))


def test_a_short_hit_tells_less_and_the_plain_ways_make_it_too(fit):
    free = plan(fit, ask(4, candidates=(Candidate("lever 0", 10),)))
    held = plan(fit, ask(4, candidates=(Candidate("lever 0", 10, short_ft=60, proven=(0.0,)),)))
    for way in ("plan", "there_and_back", "change_and_stay"):
        one, other = (
            next(getattr(e, way).sd_after_s for e in made.expected if (e.from_ft, e.to_ft) == (660, 1000))
            for made in (free, held)
        )
        assert other >= one * (1 - 1e-9)
    assert held.steps[0].to_ft <= 1320


def test_what_to_leave_with_is_among_what_was_run_and_is_allowed(fit):
    made = plan(fit, ask(6, candidates=(Candidate("lever 0", 5, levels=(-1.0, 0.0, 1.0), high=0.5),)))
    (leave,) = made.leave
    assert set(leave.among) <= {-1.0, 0.0}
    assert 0.4 < leave.chance_now <= leave.chance_after <= 1.0


def test_chance_settled_counts_no_difference_too(fit):
    for e in plan(fit, ask(8)).expected:
        for outlook in (e.plan, e.there_and_back, e.change_and_stay):
            assert outlook.chance_of_verdict <= outlook.chance_settled <= 1


# --- the search -------------------------------------------------------------------------------------------------------


def space(levers=1, runs=4, levels=(0.0, 1.0), **more):
    base = {
        "start": np.zeros(levers), "levels": dict.fromkeys(range(levers), levels), "earlier": np.zeros((1, levers)),
        "minutes": np.full(levers, 10.0), "turnaround": 45.0, "minutes_left": np.inf, "changes_per_gap": 1,
        "runs": runs, "shakedown": 0, "leave_with": None,
    }  # fmt: skip
    return Space(**(base | more))


@pytest.mark.parametrize(
    ("levers", "runs", "levels", "per_gap"),
    [
        (1, 3, (0.0, 1.0), 1),
        (1, 7, (0.0, 1.0), 1),
        (1, 5, (-1.0, 0.0, 1.0), 1),
        (2, 4, (0.0, 1.0), 1),
        (2, 5, (0.0, 1.0), 2),
    ],
)
def test_search_finds_what_trying_every_sequence_finds(garage, levers, runs, levels, per_gap):
    fit = fit_car(garage.runs(np.zeros((2, levers)), hour=[9, 9.75]), garage.levers(levers))
    ahead = make_lookahead(fit, 0, 9.75, np.zeros(5))
    where = space(levers, runs, levels, changes_per_gap=per_gap)

    def score(batch):
        hours = 9.75 + where.clock(batch) / 60
        return ahead.variances(batch, hours, np.full(batch.shape[1], 5))[:, 0].sum(axis=1) / 0.012**2

    every = np.array([np.reshape(s, (runs, levers)) for s in product(levels, repeat=levers * runs)])
    allowed = every[where.feasible(every)]
    best = (score(allowed) + CHANGE_COST * where.moves(allowed).sum(axis=(1, 2))).min()
    found = search(where, score)[None]
    cost = (score(found) + CHANGE_COST * where.moves(found).sum(axis=(1, 2)))[0]
    assert where.feasible(found)[0]
    assert cost <= best * 1.01


@pytest.mark.parametrize(
    ("values", "fine"),
    [
        ([0, 1, 0], True),
        ([1, 0, 1], True),
        ([0, 0, 0], True),
        ([1, 1, 1], False),
        ([0, 1, 1], False),
        ([1, 2, 0], True),
        ([1, 2, 2], False),
    ],
)
def test_interleaving(values, fine):
    assert space().interleaves(np.array(values, dtype=float)[:, None]) is fine


def test_plain_sequences():
    assert there_and_back(space(1, 5))[:, 0].tolist() == [1, 0, 1, 0, 1]
    assert change_and_stay(space(1, 6))[:, 0].tolist() == [0, 0, 0, 1, 1, 1]
    leave = stay(space(2, 4, leave_with=np.array([1.0, 1.0])))
    assert leave[-1].tolist() == [1, 1]
    assert (np.abs(np.diff(np.concatenate([np.zeros((1, 2)), leave]), axis=0)).sum(axis=1) <= 1).all()
