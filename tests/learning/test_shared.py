"""Adjustables that act through a shared quantity: what they teach each other, in a car and from car to car."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from runlog.constants import INCREMENTS_FT
from runlog.learning import CarRuns, Lever, Settings, Shared, car_statistics, fit_car
from runlog.learning.forecast import forecast
from runlog.learning.priors import anti_squat_term
from runlog.learning.shared import Joined, Linear, join

SIGMA0 = np.array(Settings().repeatability)
WIDTHS = np.array([1.0, 0.5, 0.3, 0.2, 0.1])
PER_STEP = np.array([[1.0], [-0.6], [0.3]])


def quantity(width=0.8, **more):
    return Lever("anti-squat", 20.0, "%", np.zeros(5), width * WIDTHS * SIGMA0, **more)


def holes(count=3, width=0.5):
    return [Lever(f"hole {p}", 1.0, "hole", np.zeros(5), width * WIDTHS * SIGMA0) for p in range(count)]


def same(a, b, names=("mean_s", "sd_s", "lo90_s", "hi90_s", "probability_helps"), tolerance=1e-9):
    for one, other in zip(a.effects, b.effects, strict=True):
        assert (one.adjustable, one.from_ft, one.to_ft) == (other.adjustable, other.from_ft, other.to_ft)
        for name in names:
            assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-6, abs=tolerance), name


@pytest.fixture
def runs(garage):
    rng = np.random.default_rng(5)
    return garage.runs(rng.integers(0, 2, (9, 3)), seed=5, effects=[[-0.02, 0, 0, 0, 0], [0] * 5, [0.01] * 5])


def whole(count=3):
    """Levers as wide as own and shared effect together, and the correlation that sharing makes (S, P, P)."""
    own, shared = 0.5 * np.eye(count), 0.8 * PER_STEP[:count]
    covariance = own @ own.T + shared @ shared.T
    sd = np.sqrt(np.diag(covariance))
    levers = [Lever(f"hole {p}", 1.0, "hole", np.zeros(5), sd[p] * WIDTHS * SIGMA0) for p in range(count)]
    return levers, np.tile(covariance / np.outer(sd, sd), (5, 1, 1))


def test_a_linear_shared_quantity_is_a_prior_correlation_of_the_levers(runs):
    """Integrating a common coefficient out is the textbook identity θ = r + gβ ~ N(0, R + g s² g') (BDA3 § 14.8)."""
    shared = fit_car(runs, holes(), shared=Shared((quantity(),), Linear(PER_STEP)))
    levers, correlation = whole()
    same(shared, fit_car(runs, levers, correlation=correlation), tolerance=2e-6)


def test_a_single_lever_alone_learns_nothing_more(garage):
    """One hole: own and shared effect together are a lever with the variance of both."""
    runs = garage.runs([[0], [1], [1], [0], [1]], seed=2)
    alone = fit_car(runs, whole(1)[0])
    same(fit_car(runs, holes(1), shared=Shared((quantity(),), Linear(PER_STEP[:1]))), alone, tolerance=2e-6)


def test_no_correlation_changes_nothing(runs):
    plain = fit_car(runs, holes())
    same(plain, fit_car(runs, holes(), correlation=np.tile(np.eye(3), (5, 1, 1))))
    with pytest.raises(ValueError, match="prior correlations have shape"):
        fit_car(runs, holes(), correlation=np.eye(3))


def test_one_hole_teaches_of_another_that_was_never_moved(garage):
    x = np.tile([[0.0, 0.0], [1.0, 0.0], [1.0, 0.0], [0.0, 0.0]], (5, 1))
    runs = garage.runs(x, effects=[[-0.03, 0, 0, 0, 0], [0] * 5], seed=1, day=np.arange(20) // 10)
    amounts = Linear(np.array([[1.0], [-1.0]]))
    fit = fit_car(runs, holes(2), shared=Shared((quantity(),), amounts))
    found = {(e.adjustable, e.from_ft, e.to_ft): e for e in fit.effects}
    tried, untried = found["hole 0", 0, 60], found["hole 1", 0, 60]
    assert tried.mean_s < 0 < untried.mean_s  # it works the other way round
    assert untried.share_learned > 0.2
    assert untried.sd_s > tried.sd_s
    assert untried.verdict == "not_tried"  # and nothing is claimed of it
    assert (tried.through, untried.through) == ((("anti-squat", 20.0, "%"),), (("anti-squat", -20.0, "%"),))
    without = fit_car(runs, holes(2))
    assert next(e for e in without.effects if e.adjustable == "hole 1").share_learned == pytest.approx(0, abs=0.05)


class Bent:
    """Amounts that aren't linear, and in which two levers work upon each other."""

    def __call__(self, settings):
        a, b, c = (settings[..., p] for p in range(3))
        return (a + 0.5 * a * a - 0.6 * b + 0.4 * a * b + 0.3 * c)[..., None]


def test_amounts_need_not_be_linear(garage):
    """Of a coefficient of the quantity alone: what a change does is the coefficient times the difference of amounts."""
    rng = np.random.default_rng(3)
    x = rng.integers(0, 3, (30, 3)).astype(float)
    amount = Bent()(x)
    times = garage.runs(x, seed=3).times + amount * 0.02 * np.array([1, 0, 0, 0, 0])
    narrow = [replace(lever, sd=lever.sd * 1e-3) for lever in holes()]
    fit = fit_car(garage.runs(x, times=times, day=np.arange(30) // 10), narrow, shared=Shared((quantity(),), Bent()))
    per_amount = next(e for e in fit.effects if e.adjustable == "hole 0").mean_s / 1.5
    assert per_amount == pytest.approx(0.02, abs=0.003)
    for lever, end, moved in ((0, 2.0, 4.0), (1, 1.0, -0.6), (2, 2.0, 0.6)):
        row = fit.layout.lever_functional(lever, 0.0, end)
        weights, means, _ = fit.functionals(0, row[None])
        assert float(weights @ means[:, 0]) == pytest.approx(moved * per_amount, rel=1e-3)
    both = fit.layout.change_functional({}, {0: 1.0, 1: 1.0})
    weights, means, _ = fit.functionals(0, both[None])
    assert float(weights @ means[:, 0]) == pytest.approx((1.5 - 0.6 + 0.4) * per_amount, rel=1e-3)
    ahead = forecast(fit, np.array([1.0, 1.0, 0.0]), 99, 12.0)
    still = forecast(fit, np.zeros(3), 99, 12.0)
    assert ahead.increments[0].mean_s - still.increments[0].mean_s == pytest.approx(1.3 * per_amount, rel=1e-3)


def test_amounts_of_a_wrong_shape_are_refused(runs):
    with pytest.raises(ValueError, match=r"amounts must be numbers of shape \(9, 2\), not \(9, 1\)"):
        fit_car(runs, holes(), shared=Shared((quantity(), quantity()), Linear(PER_STEP)))


def test_parts_are_joined_in_their_order():
    other = Lever("weight added", 1.0, "%", np.zeros(5), SIGMA0)
    parts = [Shared((quantity(),), Linear(PER_STEP)), Shared((other,), Linear(2 * PER_STEP))]
    joined = join(parts)
    assert [term.name for term in joined.quantities] == ["anti-squat", "weight added"]
    assert joined.of(np.eye(3)).tolist() == [[1, 2], [-0.6, -1.2], [0.3, 0.6]]
    assert isinstance(joined.amounts, Joined)
    assert join([]) is None


def test_moved_together_is_named_through_what_they_share(garage):
    x = np.tile([[0.0], [1.0], [1.0], [0.0]], (3, 2))
    fit = fit_car(garage.runs(x, seed=3), holes(2), shared=Shared((quantity(),), Linear(PER_STEP[:2])))
    for effect in fit.effects:
        assert effect.verdict == "cannot_separate"
        assert not effect.confounded_with_day
    apart = garage.runs(np.tile([[0, 0], [1, 0], [0, 1], [1, 1]], (4, 1)), seed=3)
    fit = fit_car(apart, holes(2), shared=Shared((quantity(),), Linear(PER_STEP[:2])))
    assert {effect.inseparable_from for effect in fit.effects} == {()}


def test_the_fleet_hears_of_quantities_as_of_adjustables(runs):
    shared = Shared((quantity(),), Linear(PER_STEP))
    found = car_statistics(CarRuns("teal", runs, tuple(holes()), shared=shared))
    assert [handle.name for handle in found.handles] == ["hole 0", "hole 1", "hole 2", "anti-squat"]
    # a column that is the sum of the others, by the amounts, has their information
    for k in range(len(INCREMENTS_FT)):
        levers = found.information[k][:3, :3]
        assert found.information[k][3, :3] == pytest.approx(PER_STEP[:, 0] @ levers, abs=1e-9)
        assert found.moment[k][3] == pytest.approx(float(PER_STEP[:, 0] @ found.moment[k][:3]), abs=1e-12)


def test_a_usual_hole_is_as_wide_as_before():
    """Own and shared part of the default prior add up to that of any adjustable of the launch."""
    term, own = anti_squat_term(), Settings().own_share
    assert np.hypot(term.sd, own * WIDTHS * SIGMA0) == pytest.approx(WIDTHS * SIGMA0)
