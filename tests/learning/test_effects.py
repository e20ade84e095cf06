"""One car's effects: priors kept, invariances, abort and spoiled runs, aliasing, verdicts in their place."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from scipy import optimize, stats

from runlog.catalogue import BY_NAME
from runlog.constants import INCREMENTS_FT
from runlog.learning import Lever, Settings, default_lever, fit_car
from runlog.learning.effects import change_made
from runlog.learning.verdicts import VERDICTS
from runlog.records import Adjustable

ABBA = np.array([[0.0], [1.0], [1.0], [0.0]])


def by_place(fit, lever):
    return {(e.from_ft, e.to_ft): e for e in fit.effects if e.adjustable == lever}


ONE_POINT = Settings(
    repeatability_range=(1.0, 1.0, 1),
    day_levels=(1e-5,),
    day_level_of_one_day=1e-5,
    drift_rates=(1e-5,),
    widenings=(1.0,),
    widening_weights=(1.0,),
    baseline_width=1e6,
    spoiled_share=1e-14,
    smallest_difference=(0.006,) * 5,
)
"""No days, no drift, σ known, nobody spoiled: plain regression"""


# --- priors ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("n", [0, 1, 2, 7, 14])
def test_an_adjustable_that_never_moved_keeps_its_prior(garage, n):
    x = np.zeros((n, 2))
    x[1::2, 0] = 1.0
    x[:, 1] = 3.0  # off the baseline, but always there
    levers = garage.levers(2)
    levers[1] = replace(levers[1], mean=np.array([-0.004, -0.002, 0, 0, 0.001]))
    fit = fit_car(garage.runs(x, day=np.arange(n) // 5), levers)
    kappa = np.array(Settings().widenings)
    for k, edges in enumerate(INCREMENTS_FT):
        effect = by_place(fit, "lever 1")[edges]
        sds = kappa * levers[1].sd[k]
        assert effect.verdict == "not_tried"
        assert effect.change_made is None
        assert effect.share_learned == pytest.approx(0.0, abs=1e-9)
        assert effect.mean_s == pytest.approx(levers[1].mean[k], abs=1e-12)
        assert effect.sd_s == pytest.approx(np.sqrt(fit.kappa_weights @ sds**2), rel=1e-9)
        low = optimize.brentq(lambda v, m=levers[1].mean[k], s=sds: fit.kappa_weights @ stats.norm.cdf(v, m, s) - 0.05,
                              -0.5, 0.5)  # fmt: skip
        assert effect.lo90_s == pytest.approx(low, abs=2e-4 if n > 10 else 5e-4 * sds[0] / 0.0012)
    assert by_place(fit, "lever 1")[0, 1320].verdict == "not_tried"


@pytest.mark.parametrize("n", [0, 1])
def test_no_runs_and_one_run_say_not_tried_and_assumed(garage, n):
    fit = fit_car(garage.runs(np.ones((n, 1))), garage.levers(1))
    assert {effect.verdict for effect in fit.effects} == {"not_tried"}
    assert len(fit.effects) == len(INCREMENTS_FT) + 1
    assert not any(part.measured for part in fit.repeatability)
    assert fit.suspects == ()
    assert all(np.isfinite([e.mean_s, e.sd_s, e.lo90_s, e.hi90_s]).all() for e in fit.effects)


def test_default_levers_take_the_car_files_word():
    known = BY_NAME["rear tyre pressure"]
    plain = Adjustable("rear tyre pressure", known.unit, known.step, acts=known.acts, curved=True)
    lever = default_lever(plain)
    assert lever.origin == "default"
    assert lever.curved
    assert lever.sd[0] == pytest.approx(0.012)  # one typical repeatability for what acts on the launch
    assert (np.diff(lever.sd) < 0).all()
    told = default_lever(replace(plain, prior_mean_s=(-0.01, 0.002), prior_sd_s=(0.005, 0.004)))
    assert told.origin == "car file"
    assert told.mean.tolist() == [-0.01, 0.002, 0, 0, 0]
    assert told.sd[:2].tolist() == [0.005, 0.004]
    assert told.sd[2:].tolist() == lever.sd[2:].tolist()
    bent = default_lever(replace(plain, prior_curvature_mean_s=(0.003,), prior_curvature_sd_s=(0.001,)))
    assert bent.origin == "car file"
    assert bent.mean.tolist() == [0] * 5  # of the effect itself nothing was said
    assert bent.curvature_mean.tolist() == [0.003, 0, 0, 0, 0]
    assert bent.curvature_sd[0] == 0.001
    assert bent.curvature_sd[1:] == pytest.approx(0.25 * lever.sd[1:])  # the default share of the effect's width
    power = default_lever(replace(plain, acts="power"))
    assert power.sd[4] > lever.sd[4]
    assert power.sd[0] < lever.sd[0]


# --- plain cases ----------------------------------------------------------------------------------------------------


def test_with_vast_priors_the_whole_way_is_ordinary_least_squares(garage):
    rng = np.random.default_rng(12)
    x = rng.integers(0, 3, (9, 2)).astype(float)
    runs = garage.runs(x, seed=5)
    levers = [Lever(f"lever {p}", 1, "psi", np.zeros(5), np.full(5, 1e3)) for p in range(2)]
    fit = fit_car(runs, levers, ONE_POINT)
    for k, edges in enumerate(INCREMENTS_FT):
        ols = sm.OLS(runs.times[:, k], sm.add_constant(x)).fit(cov_type="fixed scale")
        for p in range(2):
            effect = by_place(fit, f"lever {p}")[edges]
            assert effect.mean_s == pytest.approx(ols.params[p + 1], abs=1e-8)
            assert effect.sd_s == pytest.approx(ols.bse[p + 1] * ONE_POINT.repeatability[k], rel=1e-6)


def test_a_large_repeated_change_is_found_and_its_sign_is_right(garage):
    effects = [[-0.05, 0, 0, 0, 0]]
    fit = fit_car(garage.runs(np.tile(ABBA, (3, 1)), effects=effects, seed=3), garage.levers(1))
    first = by_place(fit, "lever 0")[0, 60]
    assert first.verdict == "helped"
    assert first.probability_helps > 0.99
    assert first.lo90_s < -0.05 < first.hi90_s
    assert first.change_made.verdict == "helped"
    assert first.runs_each_side == (6, 6)
    assert first.runs_needed is None
    assert first.share_learned > 0.5
    slower = fit_car(garage.runs(np.tile(ABBA, (3, 1)), effects=[[0.05, 0, 0, 0, 0]], seed=3), garage.levers(1))
    assert by_place(slower, "lever 0")[0, 60].verdict == "hurt"


def test_the_change_made_downwards_is_reported_as_it_was_made(garage):
    fit = fit_car(garage.runs(-np.tile(ABBA, (3, 1)), effects=[[0.05, 0, 0, 0, 0]], seed=3), garage.levers(1))
    first = by_place(fit, "lever 0")[0, 60]
    assert (first.verdict, first.beyond_tried) == ("hurt", True)
    made = first.change_made
    assert (made.from_steps, made.to_steps, made.verdict) == (0.0, -1.0, "helped")
    assert made.mean_s == pytest.approx(-first.mean_s)


@pytest.mark.parametrize(
    ("values", "made"),
    [
        ([0, 1, 1, 0], (0, 1)),
        ([0, 1, 2, 2, 0], (0, 2)),
        ([0, -1, 1, 0, -2, -2], (0, -2)),
        ([1, 2, 3, 3], (1, 3)),
        ([0, 1, -2, 0], (0, -2)),
        ([2, 2], None),
        ([], None),
    ],
)
def test_the_change_really_made(values, made):
    assert change_made(np.array(values, dtype=float)) == made


def test_curvature_is_learned_from_three_settings(garage):
    x = np.tile([[-1.0], [0.0], [1.0], [2.0]], (12, 1))
    times = garage.runs(x, seed=1).times.copy()
    times[:, 0] += 0.02 * x[:, 0] ** 2
    fit = fit_car(garage.runs(x, times=times, day=np.arange(48) // 8), garage.levers(1, curved=(0,)))
    row = fit.layout.lever_functional(0, 0.0, 2.0)
    weights, means, _ = fit.functionals(0, np.array([row]))
    # of the parabola 0.02 x²: one step costs 0.02, two cost 0.08
    assert by_place(fit, "lever 0")[0, 60].mean_s == pytest.approx(0.02, abs=0.006)
    assert (weights @ means)[0] > 0.05


def test_elapsed_time_adds_the_segments_to_the_finish(garage):
    fit = fit_car(garage.runs(np.tile(ABBA, (3, 1))), garage.levers(1), Settings(finish_ft=660))
    parts = by_place(fit, "lever 0")
    assert parts[0, 660].mean_s == pytest.approx(sum(parts[edges].mean_s for edges in INCREMENTS_FT[:3]))
    sds = np.array([parts[edges].sd_s for edges in INCREMENTS_FT[:3]])
    assert sds.max() < parts[0, 660].sd_s < sds.sum()
    assert np.linalg.eigvalsh(fit.correlation)[0] > 0


def test_an_unknown_finish_is_refused(garage):
    with pytest.raises(ValueError, match="finish must be one of"):
        fit_car(garage.runs(ABBA), garage.levers(1), Settings(finish_ft=500))


def test_wrong_shapes_are_refused(garage):
    with pytest.raises(ValueError, match="settings have 1 columns for 2 levers"):
        fit_car(garage.runs(ABBA), garage.levers(2))
    with pytest.raises(ValueError, match="times has shape"):
        garage.runs(ABBA, times=np.zeros((4, 3)))
    with pytest.raises(ValueError, match="must be numbers"):
        garage.runs([[np.nan]])


# --- aborts and spoiled runs ----------------------------------------------------------------------------------------


def test_aborted_runs_have_no_say_past_the_abort(garage):
    x = np.tile(ABBA, (2, 1))
    full = garage.runs(x, seed=7)
    cut = full.times.copy()
    cut[5, 1:] = np.nan
    short = fit_car(garage.runs(x, times=cut), garage.levers(1))
    keep = np.arange(8) != 5
    without = fit_car(
        garage.runs(x[keep], times=full.times[keep], hour=full.hour[keep]), garage.levers(1), Settings(finish_ft=1320)
    )
    assert short.data[0].rows.tolist() == list(range(8))
    assert by_place(short, "lever 0")[60, 330].runs_each_side == (4, 3)
    # the day's mean hour differs, which only moves the level; κ is shared by all segments and sees run 6 at 60 ft
    assert by_place(short, "lever 0")[60, 330].mean_s == pytest.approx(
        by_place(without, "lever 0")[60, 330].mean_s, abs=3e-4
    )


def test_segments_that_nobody_reached_keep_their_prior(garage):
    times = garage.runs(np.tile(ABBA, (2, 1))).times.copy()
    times[:, 2:] = np.nan
    fit = fit_car(garage.runs(np.tile(ABBA, (2, 1)), times=times), garage.levers(1))
    parts = by_place(fit, "lever 0")
    assert [parts[edges].verdict for edges in INCREMENTS_FT[2:]] == ["not_tried"] * 3
    assert (0, 330) in parts
    assert len(parts) == 6


def test_short_hits_alone_claim_nothing_of_the_elapsed_time(garage):
    x = np.tile(ABBA, (3, 1))
    times = garage.runs(x, effects=[[-0.06, 0, 0, 0, 0]], seed=3).times.copy()
    times[(x[:, 0] == 1), 1:] = np.nan
    fit = fit_car(garage.runs(x, times=times), garage.levers(1))
    parts = by_place(fit, "lever 0")
    assert parts[0, 60].verdict == "helped"
    assert parts[0, 1320].verdict == "cannot_tell"


def test_a_spoiled_run_is_named_and_does_not_carry_the_effect(garage):
    x = np.tile(ABBA, (2, 1))
    good = garage.runs(x, seed=11)
    times = good.times.copy()
    times[5, 0] += 0.25
    fit = fit_car(garage.runs(x, times=times), garage.levers(1))
    assert fit.suspects == (good.keys[5],)
    keep = np.arange(8) != 5
    without = fit_car(garage.runs(x[keep], times=good.times[keep], hour=good.hour[keep]), garage.levers(1))
    found, clean = (by_place(f, "lever 0")[0, 60] for f in (fit, without))
    assert found.mean_s == pytest.approx(clean.mean_s, abs=0.3 * clean.sd_s)
    naive = times[x[:, 0] == 1, 0].mean() - times[x[:, 0] == 0, 0].mean()
    assert abs(naive) > 0.05 > 5 * abs(found.mean_s)


def test_effects_far_beyond_the_prior_raise_the_warning(garage):
    runs = garage.runs(np.tile(ABBA, (6, 1)), effects=[[-0.06, 0.03, -0.02, 0.01, 0.006]], day=np.arange(24) // 8)
    assert fit_car(runs, garage.levers(1)).kappa_warning
    calm = garage.runs(np.tile(ABBA, (6, 1)), day=np.arange(24) // 8)
    assert not fit_car(calm, garage.levers(1)).kappa_warning


# --- aliasing and verdicts ------------------------------------------------------------------------------------------


def test_levers_moved_together_are_named_and_reported_together(garage):
    x = np.tile(ABBA, (3, 2))
    fit = fit_car(garage.runs(x, effects=[[-0.02, 0, 0, 0, 0]] * 2, seed=3), garage.levers(2))
    for effect in fit.effects:
        other = "lever 1" if effect.adjustable == "lever 0" else "lever 0"
        assert effect.verdict == "cannot_separate"
        assert effect.inseparable_from == (other,)
        assert effect.together_steps == ((effect.adjustable, 1.0), (other, pytest.approx(1.0)))
    first = by_place(fit, "lever 0")[0, 60]
    assert first.together_hi90_s - first.together_lo90_s < 0.75 * (first.hi90_s - first.lo90_s)
    assert first.together_mean_s == pytest.approx(-0.04, abs=0.012)
    assert first.change_made.verdict == "cannot_separate"


def test_every_effect_has_one_verdict_and_cannot_tell_has_a_number(garage):
    rng = np.random.default_rng(0)
    fit = fit_car(garage.runs(rng.integers(0, 2, (12, 4)).astype(float)), garage.levers(4))
    assert {e.verdict for e in fit.effects} <= set(VERDICTS)
    for effect in fit.effects:
        assert (effect.runs_needed is not None) == (effect.verdict == "cannot_tell")
        assert effect.lo90_s <= effect.lo50_s <= effect.mean_s <= effect.hi50_s <= effect.hi90_s
        assert 0 <= effect.probability_helps <= 1
        assert 0 <= effect.share_learned <= 1
        assert effect.inseparable_from == () or effect.verdict in ("cannot_separate", "not_tried")


def test_changed_between_days_and_left_is_flagged(garage):
    day = np.repeat([0, 1], 20)
    fit = fit_car(garage.runs(np.repeat([[0.0], [1.0]], 20, axis=0), day=day), garage.levers(1))
    assert sum(effect.confounded_with_day for effect in fit.effects) >= 4
    mixed = fit_car(garage.runs(np.tile(ABBA, (10, 1)), day=day), garage.levers(1))
    assert not any(effect.confounded_with_day for effect in mixed.effects)


# --- air and nuisances ----------------------------------------------------------------------------------------------


def test_the_predicted_air_shift_is_taken_out(garage):
    x = np.tile(ABBA, (3, 1))
    plain = garage.runs(x, seed=4)
    air = np.random.default_rng(1).uniform(0, 0.2, 12)[:, None] * np.array([0.2, 0.3, 0.4, 0.5, 0.6])
    heavy = garage.runs(x, times=plain.times + air, air_shift=air)
    with_air, without = fit_car(heavy, garage.levers(1)), fit_car(plain, garage.levers(1))
    ignored = fit_car(replace(heavy, air_shift=None), garage.levers(1))
    for edges in INCREMENTS_FT:
        a, b = by_place(with_air, "lever 0")[edges], by_place(without, "lever 0")[edges]
        assert a.mean_s == pytest.approx(b.mean_s, abs=0.5 * b.sd_s)
    assert ignored.sigma[4] > 1.5 * with_air.sigma[4]


def test_air_that_was_not_read_is_the_days_mean(garage):
    air = np.array([[0.01] * 5, [np.nan] * 5, [0.03] * 5, [np.nan] * 5])
    given = np.array([[0.01] * 5, [0.02] * 5, [0.03] * 5, [0.0] * 5])
    day = np.array([0, 0, 0, 1])
    gaps = fit_car(garage.runs(ABBA, air_shift=air, day=day), garage.levers(1))
    filled = fit_car(garage.runs(ABBA, air_shift=given, day=day), garage.levers(1))
    assert gaps.effects == filled.effects


def test_a_lane_that_runs_slower_is_not_blamed_on_the_change(garage):
    x = np.tile(ABBA, (6, 1))
    lane = np.where(np.arange(24) % 3 == 0, 0.5, -0.5)
    times = garage.runs(x, seed=6).times + 0.02 * lane[:, None]
    day = np.arange(24) // 8
    told = fit_car(garage.runs(x, times=times, day=day, nuisances={"lane": lane}), garage.levers(1))
    untold = fit_car(garage.runs(x, times=times, day=day), garage.levers(1))
    assert (told.sigma < untold.sigma).all()


# --- invariances ----------------------------------------------------------------------------------------------------


def same(a, b, scale=1.0):
    assert len(a.effects) == len(b.effects)
    for left, right in zip(a.effects, b.effects, strict=True):
        assert right.mean_s == pytest.approx(scale * left.mean_s, rel=1e-6, abs=1e-9 * scale)
        assert right.sd_s == pytest.approx(scale * left.sd_s, rel=1e-6)
        # thinned mixtures may take a neighbouring component where rounding breaks a tie
        assert right.lo90_s == pytest.approx(scale * left.lo90_s, abs=3e-4 * scale)
        assert right.probability_helps == pytest.approx(left.probability_helps, abs=1e-6)
        assert right.verdict == left.verdict
        assert right.inseparable_from == left.inseparable_from


def invented(garage, seed, n, **more):
    rng = np.random.default_rng(seed)
    x = rng.integers(-1, 2, (n, 2)).astype(float)
    return garage.runs(x, seed=seed, day=np.sort(rng.integers(0, 3, n)), hour=9 + np.sort(rng.uniform(0, 8, n)), **more)


@hypothesis_settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 10_000), n=st.integers(0, 14), shift=st.floats(-5, 5))
def test_invariances(garage, seed, n, shift):
    runs, levers = invented(garage, seed, n), garage.levers(2, curved=(0,))
    fit = fit_car(runs, levers)

    same(fit, fit_car(replace(runs, times=runs.times + shift), levers))

    names = np.array([17, -4, 2031])
    same(fit, fit_car(replace(runs, day=names[runs.day]), levers))

    order = np.random.default_rng(seed).permutation(n)
    shuffled = replace(
        runs, keys=tuple(runs.keys[i] for i in order), times=runs.times[order], day=runs.day[order],
        hour=runs.hour[order], settings=runs.settings[order], spoiled=runs.spoiled[order],
    )  # fmt: skip
    same(fit, fit_car(shuffled, levers))

    base = Settings()
    in_ms = replace(
        base, repeatability=tuple(1e3 * s for s in base.repeatability),
        smallest_difference=tuple(1e3 * s for s in base.smallest_difference), smallest_elapsed=10.0,
    )  # fmt: skip
    scaled = [replace(lever, mean=1e3 * lever.mean, sd=1e3 * lever.sd) for lever in levers]
    same(fit, fit_car(replace(runs, times=1e3 * runs.times), scaled, in_ms), 1e3)


def test_the_same_runs_have_the_same_report(garage):
    runs, levers = invented(garage, 1, 9), garage.levers(2)
    assert fit_car(runs, levers).effects == fit_car(runs, levers).effects


def test_inputs_are_left_alone(garage):
    runs = invented(garage, 1, 9, air_shift=np.full((9, 5), np.nan))
    before = [a.copy() for a in (runs.times, runs.settings, runs.air_shift)]
    _ = fit_car(runs, garage.levers(2)).effects
    for now, then in zip((runs.times, runs.settings, runs.air_shift), before, strict=True):
        assert np.array_equal(now, then, equal_nan=True)
