"""Cars together: matched, pooled, and back to a car with what the others say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from runlog.learning import (
    CarRuns,
    Lever,
    Pooling,
    Settings,
    car_statistics,
    fit_car,
    fit_fleet,
    fleet_levers,
    map_cars,
)  # fmt: skip
from runlog.learning.pooled_effects import standardised_differences
from runlog.learning.pooling import condition
from runlog.learning.verdicts import VERDICTS

SIGMA0 = np.array(Settings().repeatability)
WIDTHS = np.array([1.0, 0.5, 0.3, 0.2, 0.1])
FULL = Pooling(tolerance=1e-9, passes=5000)


def lever(name, step=1.0, unit="psi", curved=False, **more):
    return Lever(name, step, unit, np.zeros(5), WIDTHS * SIGMA0, curved, **more)


LEVERS = (lever("tyre", curved=True), lever("shock"), lever("wing"))


def shop(garage, cars=6, runs=16, seed=0, levers=LEVERS, apart=0.4):
    rng = np.random.default_rng(seed)
    common = rng.normal(0, 1, (len(levers), 1)) * WIDTHS * SIGMA0
    made = []
    for c in range(cars):
        x = rng.integers(-1, 2, (runs, len(levers))).astype(float)
        effects = common + apart * rng.normal(0, 1, common.shape) * WIDTHS * SIGMA0
        found = garage.runs(x, seed=seed * 100 + c, effects=effects, day=np.arange(runs) // 8)
        made.append(CarRuns(f"car {c}", found, levers))
    return made


@pytest.fixture(scope="module")
def cars(garage):
    return shop(garage)


@pytest.fixture(scope="module")
def fleet(cars):
    return fit_fleet(map_cars(cars), LEVERS, pooling=FULL)


def numbers(fit):
    names = ("mean_s", "sd_s", "between_cars_s", "new_car_sd_s", "probability_helps", "share_learned")
    return np.array([[getattr(effect, name) for name in names] for effect in fit.effects])


# --- order, chunks, storing ------------------------------------------------------------------------------------------


def test_cars_in_another_order_or_from_chunks_say_the_same(cars, fleet):
    statistics = [*map_cars(cars[3:]), *map_cars(cars[:2]), *map_cars(cars[2:3])]
    other = fit_fleet(statistics, LEVERS, pooling=FULL)
    assert numbers(other) == pytest.approx(numbers(fleet), rel=1e-9, abs=1e-13)
    assert other.correlation == pytest.approx(fleet.correlation, rel=1e-10)


def test_a_new_run_asks_for_the_statistics_of_its_car_alone(garage, cars, fleet):
    fresh = shop(garage, seed=9)[0]
    kept = list(map_cars(cars))
    updated = fit_fleet([car_statistics(fresh), *kept[1:]], LEVERS, pooling=FULL)
    whole = fit_fleet(map_cars([fresh, *cars[1:]]), LEVERS, pooling=FULL)
    assert numbers(updated) == pytest.approx(numbers(whole), rel=1e-12)
    assert np.abs(numbers(updated) - numbers(fleet)).max() > 1e-4


def test_a_car_that_says_nothing_changes_nothing(garage, cars, fleet):
    silent = car_statistics(CarRuns("silent", garage.runs(np.zeros((0, 3))), LEVERS))
    other = fit_fleet([*map_cars(cars), silent], LEVERS, pooling=FULL)
    assert numbers(other) == pytest.approx(numbers(fleet), rel=1e-9, abs=1e-13)
    assert {effect.cars for effect in other.effects} == {6}


# --- different cars, different adjustables ---------------------------------------------------------------------------


def test_a_car_without_an_adjustable_says_nothing_of_it(cars):
    short = [replace(car, runs=replace(car.runs, settings=car.runs.settings[:, :2]), levers=LEVERS[:2])
             for car in cars[:3]]  # fmt: skip
    mixed = [*short, *cars[3:]]
    fit = fit_fleet(map_cars(mixed), fleet_levers([car.levers for car in mixed]), pooling=FULL)
    assert [item.name for item in fit.levers] == ["tyre", "shock", "wing"]
    assert fit.tried_by(2) == (3, 4, 5)
    assert [e.cars for e in fit.effects if e.adjustable == "wing"] == [3] * 6
    assert [e.cars for e in fit.effects if e.adjustable == "shock"] == [6] * 6


def test_the_order_of_a_cars_adjustables_does_not_matter(cars, fleet):
    turned = [replace(car, runs=replace(car.runs, settings=car.runs.settings[:, ::-1]), levers=LEVERS[::-1])
              for car in cars]  # fmt: skip
    other = fit_fleet(map_cars(turned), LEVERS, pooling=FULL)
    assert numbers(other) == pytest.approx(numbers(fleet), rel=1e-8, abs=1e-12)


def test_cars_with_other_steps_say_the_same(cars, fleet):
    """Three cars count in half steps: twice the settings, half the effects, a quarter of the curvature."""
    half = tuple(
        replace(item, step=0.5, mean=item.mean / 2, sd=item.sd / 2,
                curvature_sd=item.sd / 16 if item.curved else None) for item in LEVERS
    )  # fmt: skip
    mixed = [replace(car, runs=replace(car.runs, settings=car.runs.settings * 2), levers=half) for car in cars[:3]]
    statistics = map_cars([*mixed, *cars[3:]])
    other = fit_fleet(statistics, LEVERS, pooling=FULL)
    # the prior of the effect of half a step differs a little for a curved one, which the weights of the runs feel
    assert numbers(other) == pytest.approx(numbers(fleet), rel=0.03, abs=2e-5)
    straight = [p for p, item in enumerate(LEVERS) if not item.curved]
    back = other.prior_for("car 0", half)
    whole = other.prior_for("car 0", LEVERS)
    for p in straight:
        assert back[p].mean == pytest.approx(whole[p].mean / 2)
        assert back[p].sd == pytest.approx(whole[p].sd / 2)
    # e' = e/2 − c/4, c' = c/4
    assert back[0].mean == pytest.approx(whole[0].mean / 2 - whole[0].curvature_mean / 4)
    assert back[0].curvature_sd == pytest.approx(whole[0].curvature_sd / 4)


def test_the_same_name_in_another_unit_is_another_adjustable(cars):
    bar = tuple(replace(item, unit="bar") for item in LEVERS)
    mixed = [replace(cars[0], levers=bar), *cars[1:]]
    union = fleet_levers([car.levers for car in mixed])
    assert len(union) == 6
    fit = fit_fleet(map_cars(mixed), union)
    assert fit.tried_by(0) == (0,)
    with pytest.raises(ValueError, match=r"car 0: tyre \[bar\] is not among the fleet's"):
        fit_fleet(map_cars(mixed), LEVERS)


def test_unfit_statistics_are_refused(cars):
    statistics = map_cars(cars)
    with pytest.raises(ValueError, match="more than one set of statistics of car 1"):
        fit_fleet([*statistics, statistics[1]], LEVERS)
    with pytest.raises(ValueError, match="tyre is curved there but not in the fleet"):
        fit_fleet(statistics, tuple(replace(item, curved=False) for item in LEVERS))


def test_the_union_has_the_spread_of_all_its_priors():
    one = replace(lever("tyre"), mean=np.full(5, 0.01), sd=np.full(5, 0.003), origin="physics")
    two = replace(lever("tyre", step=2.0, curved=True), mean=np.full(5, -0.02), sd=np.full(5, 0.010))
    (both,) = fleet_levers([[one], [two]])
    assert both.curved
    assert both.step == 1.0
    assert both.mean == pytest.approx(np.zeros(5), abs=1e-15)
    # mixture of N(0.01, 0.003²) and N(−0.01, 0.005²)
    assert both.sd == pytest.approx(np.full(5, np.sqrt((0.003**2 + 0.005**2) / 2 + 0.01**2)))


# --- back to a car ---------------------------------------------------------------------------------------------------


def test_a_cars_prior_is_what_the_others_say_exactly(cars, fleet):
    """Refit without the car at the same τ and σ."""
    for k, part in enumerate(fleet.pooled):
        data = fleet.evidence[k]
        rest = replace(data, information=data.information[1:], moment=data.moment[1:], squares=data.squares[1:],
                       degrees=data.degrees[1:])  # fmt: skip
        sd = np.append(WIDTHS[k] * SIGMA0[k] * np.ones(3), 0.25 * WIDTHS[k] * SIGMA0[k])
        others = condition(rest, part.tau, part.sigma[1:], np.zeros(4), sd)
        prior = fleet.prior_for("car 0", LEVERS)
        assert [item.mean[k] for item in prior] == pytest.approx(others.mean[:3], rel=1e-7)
        wide = np.sqrt(np.diag(others.covariance) + part.tau**2)
        assert [item.sd[k] for item in prior] == pytest.approx(wide[:3], rel=1e-8)
        assert prior[0].curvature_mean[k] == pytest.approx(others.mean[3], rel=1e-7)
        assert prior[0].curvature_sd[k] == pytest.approx(wide[3], rel=1e-8)


def test_no_datum_is_used_twice(cars, fleet):
    """The prior of a car doesn't move with its own times while τ and σ stay; τ feels that it differs."""
    moved = replace(
        cars[0], runs=replace(cars[0].runs, times=cars[0].runs.times + 0.02 * cars[0].runs.settings[:, [1]])
    )
    statistics = [car_statistics(moved), *map_cars(cars[1:])]
    other = fit_fleet(statistics, LEVERS, pooling=FULL)
    for k, part in enumerate(other.pooled):
        held = condition(other.evidence[k], fleet.pooled[k].tau, fleet.pooled[k].sigma, np.zeros(4),
                         np.append(WIDTHS[k] * SIGMA0[k] * np.ones(3), 0.25 * WIDTHS[k] * SIGMA0[k]))  # fmt: skip
        mean, covariance = held.without(0)
        before, covariance_before = fleet.pooled[k].without(0)
        assert mean == pytest.approx(before, rel=1e-7, abs=1e-12)
        assert covariance == pytest.approx(covariance_before, rel=1e-7, abs=1e-14)
        assert part.tau[1] > fleet.pooled[k].tau[1]


def test_a_new_car_hears_all(cars, fleet):
    fresh = fleet.prior_for("car yet to come", LEVERS)
    assert [item.mean.tolist() for item in fleet.prior_for(None, LEVERS)] == [item.mean.tolist() for item in fresh]
    by_place = {(e.adjustable, e.from_ft): e for e in fleet.effects if e.to_ft == 60}
    for item in fresh:
        assert item.origin == "fleet of 6 cars"
        assert item.mean[0] == pytest.approx(by_place[item.name, 0].mean_s)
        assert item.sd[0] == pytest.approx(by_place[item.name, 0].new_car_sd_s)
    assert {item.origin for item in fleet.prior_for("car 0", LEVERS)} == {"fleet of 5 cars"}


def test_what_others_have_not_tried_or_someone_knows_better_keeps_its_prior(cars, fleet):
    known = replace(LEVERS[0], origin="physics", mean=np.full(5, 0.001))
    told = replace(LEVERS[1], origin="car file")
    own = lever("ballast", unit="lb")
    kept = fleet.prior_for("car 0", (known, told, LEVERS[2], own))
    assert kept[0] is known
    assert kept[1] is told
    assert kept[2].origin == "fleet of 5 cars"
    assert kept[3] is own
    assert fleet.prior_for("car 0", (told,), keep=())[0].origin == "fleet of 5 cars"
    alone = fit_fleet(map_cars(cars[:1]), LEVERS)
    assert alone.prior_for("car 0", LEVERS) == LEVERS
    assert alone.prior_for(None, LEVERS)[0].origin == "fleet of 1 car"


def test_the_car_is_analysed_with_what_the_others_say(cars, fleet):
    prior = fleet.prior_for("car 0", LEVERS)
    fit = fit_car(cars[0].runs, prior)
    assert {effect.prior_origin for effect in fit.effects} == {"fleet of 5 cars"}
    empty = fit_car(replace(cars[0].runs, keys=(), **{n: getattr(cars[0].runs, n)[:0] for n in
                    ("times", "day", "hour", "settings", "spoiled")}), prior)  # fmt: skip
    found = {(e.adjustable, e.from_ft, e.to_ft): e.mean_s for e in empty.effects}
    assert found["shock", 60, 330] == pytest.approx(prior[1].mean[1])
    row = empty.layout.lever_functional(0, 0.0, 2.0)[None]
    weights, means, _ = empty.functionals(0, row)
    # two steps of a curved one: 2 e + 2 c
    assert (weights @ means)[0] == pytest.approx(2 * prior[0].mean[0] + 2 * prior[0].curvature_mean[0])


# --- what is reported ------------------------------------------------------------------------------------------------


def test_effects_are_complete_and_in_order(fleet):
    assert len(fleet.effects) == 3 * 6
    for effect in fleet.effects:
        assert effect.verdict in VERDICTS
        assert effect.lo90_s < effect.lo50_s < effect.mean_s < effect.hi50_s < effect.hi90_s
        assert effect.new_car_lo90_s < effect.lo90_s
        assert effect.new_car_sd_s == pytest.approx(np.hypot(effect.sd_s, effect.between_cars_s))
        assert effect.probability_helps == pytest.approx(stats.norm.cdf(0, effect.mean_s, effect.sd_s), abs=1e-9)
        assert 0 < effect.share_learned < 1
    parts = fleet.effects[:5]
    assert fleet.effects[5].mean_s == pytest.approx(sum(part.mean_s for part in parts))
    sds = [part.sd_s for part in parts]
    assert max(sds) < fleet.effects[5].sd_s < sum(sds)


def test_an_adjustable_that_nobody_moved_was_not_tried(garage, cars):
    still = [replace(car, runs=replace(car.runs, settings=car.runs.settings * [1, 1, 0])) for car in cars]
    fit = fit_fleet(map_cars(still), LEVERS)
    words = {e.adjustable: e.verdict for e in fit.effects}
    assert words["wing"] == "not_tried"
    assert words["shock"] != "not_tried"
    assert fit_fleet([], LEVERS).effects[0].verdict == "not_tried"


def test_what_was_expected_beforehand_is_no_verdict_of_the_fleet(garage):
    """A step is expected to gain 12 ms, give or take 4; the runs say nothing of it, or say so too."""
    sure = replace(lever("gear"), mean=np.array([-0.012, 0, 0, 0, 0]), sd=np.array([0.004, *([1e-3] * 4)]))

    def to_60(effect):
        x = np.tile([[0.0], [1.0]], (6, 1))
        found = garage.runs(x, times=np.full((12, 5), 1.5) + x * [effect, 0, 0, 0, 0], day=np.zeros(12, dtype=int))
        fit = fit_fleet(map_cars([CarRuns("one", found, (sure,))]), (sure,), pooling=FULL)
        return next(row for row in fit.effects if (row.from_ft, row.to_ft) == (0, 60))

    assert to_60(0.0).probability_helps >= 0.95, "by the expectation alone"
    assert to_60(0.0).verdict == "cannot_tell"
    assert to_60(-0.012).verdict == "helped"


def test_what_all_cars_moved_together_cannot_be_separated(cars):
    tied = [replace(car, runs=replace(car.runs, settings=car.runs.settings[:, [0, 1, 1]])) for car in cars]
    fit = fit_fleet(map_cars(tied), LEVERS)
    found = {e.adjustable: e for e in fit.effects if e.to_ft == 60}
    assert found["wing"].verdict == "cannot_separate"
    assert found["wing"].inseparable_from == ("shock",)
    # one car that moved them apart lets the fleet tell
    crossed = fit_fleet(map_cars([*tied[:2], *cars[2:]]), LEVERS)
    assert all(e.inseparable_from == () for e in crossed.effects)


def test_a_car_that_goes_the_other_way_is_named(garage, cars):
    runs = cars[2].runs
    odd = replace(cars[2], runs=replace(runs, times=runs.times + 0.06 * runs.settings[:, [1]] * [1, 0, 0, 0, 0]))
    fit = fit_fleet(map_cars([*cars[:2], odd, *cars[3:]]), LEVERS)
    first = fit.disagreements[0]
    assert (first.car, first.adjustable, first.from_ft, first.to_ft) == ("car 2", "shock", 0, 60)
    assert first.standardised > 2.5
    assert first.found_s > first.expected_s
    named = {(e.adjustable, e.to_ft): e.disagree for e in fit.effects if e.from_ft == 0}
    assert named["shock", 60][0] == "car 2"
    assert "car 2" in named["shock", 1320]


def test_standardised_differences_are_standard_normal(garage):
    """Effects and times drawn from the model at the τ, σ and μ that the fleet is then given."""
    rng = np.random.default_rng(8)
    z = []
    for _ in range(60):
        common = rng.normal(0, 1, 2)
        designs = [rng.integers(-1, 2, (6, 2)).astype(float) for _ in range(5)]
        ys = [X @ (common + [0.5, 0.2] * rng.normal(0, 1, 2)) + rng.normal(size=6) for X in designs]
        z.append(_differences(designs, ys))
    z = np.concatenate(z).ravel()
    assert stats.kstest(z[np.isfinite(z)], "norm").pvalue > 0.01


def _differences(designs, ys):
    from runlog.learning.fleet import FleetFit
    from runlog.learning.pooling import Evidence

    data = Evidence(np.array([X.T @ X for X in designs]), np.array([X.T @ y for X, y in zip(designs, ys, strict=True)]),
                    np.array([y @ y for y in ys]), np.full(5, 5.0))  # fmt: skip
    part = condition(data, np.array([0.5, 0.2]), np.ones(5), np.zeros(2), np.ones(2))
    fit = FleetFit(tuple("abcde"), (lever("x"), lever("y")), Settings(), (data,) * 5, (part,) * 5, np.eye(5),
                   np.zeros((2, 0)))  # fmt: skip
    return standardised_differences(fit, 0)[1]


# --- statsmodels -----------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_against_mixed_linear_model_with_independent_slopes(garage):
    """60 cars × 40 runs, no days, drift or spoiled runs, vast priors: REML of statsmodels' MixedLM."""
    import statsmodels.api as sm
    from statsmodels.regression.mixed_linear_model import MixedLMParams

    rng = np.random.default_rng(3)
    plain = Settings(
        repeatability=(1.0,) * 5, day_levels=(1e-5,), day_level_of_one_day=1e-5, typical_drift=1e-5, baseline_width=1e4,
        spoiled_share=1e-14, variance_strength=1e-9,
    )  # fmt: skip
    levers = tuple(Lever(name, 1.0, "psi", np.zeros(5), np.full(5, 1e3)) for name in "ab")
    cars, X, y = [], [], []
    for c in range(60):
        x = rng.normal(size=(40, 2))
        theta = [0.7, -0.4] + np.array([0.6, 0.4]) * rng.normal(size=2)
        t = rng.normal(0, 1) + x @ theta + rng.normal(size=40)
        times = np.full((40, 5), np.nan)
        times[:, 0] = t
        cars.append(CarRuns(str(c), garage.runs(x, times=times), levers, plain))
        X.append(x)
        y.append(t)
    fit = fit_fleet(map_cars(cars), levers, plain, Pooling(start=1e-3, strength=0.0, tolerance=1e-8, passes=5000))
    part = fit.pooled[0]
    groups = np.repeat(np.arange(60), 40)
    fixed = np.hstack([np.vstack(X), np.eye(60)[groups]])
    pattern = MixedLMParams.from_components(fe_params=np.ones(62), cov_re=np.eye(2))
    theirs = sm.MixedLM(np.concatenate(y), fixed, groups=groups, exog_re=np.vstack(X)).fit(free=pattern, method="lbfgs")
    assert part.mean == pytest.approx(theirs.fe_params[:2], abs=0.01 * 0.6)
    assert part.tau == pytest.approx(np.sqrt(np.diag(theirs.cov_re)), rel=0.015)
    assert np.sqrt(np.diag(part.covariance)) == pytest.approx(theirs.bse_fe[:2], rel=0.015)
    blups = np.array([theirs.random_effects[c].to_numpy()[:2] for c in range(60)])
    # σ is each car's own here and common there
    assert np.abs(part.car_mean - part.mean - blups).max() < 0.05
