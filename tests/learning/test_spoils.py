"""Runs that the car itself lost count against their setting."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from scipy import integrate, stats

from runlog.learning import fit_car, spoil_rates
from runlog.learning.spoils import RISING, USUAL, chance_higher, held_back, prior_from, spoil_rate

ABBA = np.array([[0.0], [1.0], [1.0], [0.0]])


@hypothesis_settings(max_examples=40, deadline=None)
@given(runs=st.integers(0, 60), share=st.floats(0, 1))
def test_rates_and_intervals_against_scipys_beta(runs, share):
    spoiled = round(share * runs)
    found = spoil_rate(runs, spoiled)
    beta = stats.beta(USUAL[0] + spoiled, USUAL[1] + runs - spoiled)
    assert found.rate == pytest.approx(beta.mean(), rel=1e-12)
    assert [found.lo90, found.hi90] == pytest.approx(beta.ppf([0.05, 0.95]), abs=1e-5)


@pytest.mark.parametrize(("one", "other"), [((4, 1), (4, 0)), ((6, 2), (9, 1)), ((0, 0), (5, 3)), ((30, 3), (40, 4))])
def test_chance_that_one_rate_is_higher_by_quadrature(one, other):
    a = stats.beta(USUAL[0] + one[1], USUAL[1] + one[0] - one[1])
    b = stats.beta(USUAL[0] + other[1], USUAL[1] + other[0] - other[1])
    expected = integrate.quad(lambda u: b.cdf(a.ppf(u)), 0, 1, limit=200)[0]
    assert chance_higher(spoil_rate(*one), spoil_rate(*other)) == pytest.approx(expected, abs=1e-5)


def test_rates_are_counted_setting_by_setting():
    found = spoil_rates(np.array([1.0, 0, 0, 1, 2, 1]), np.array([True, False, False, True, False, False]))
    assert [(r.steps, r.runs, r.spoiled) for r in found] == [(0, 2, 0), (1, 3, 2), (2, 1, 0)]
    assert found[1].rate > found[2].rate > found[0].rate
    assert all(r.lo90 < r.rate < r.hi90 for r in found)


def test_other_cars_move_the_prior_and_leave_its_strength():
    assert prior_from(0, 0) == pytest.approx(USUAL)
    a, b = prior_from(200, 60)
    assert a + b == pytest.approx(sum(USUAL))
    assert a / (a + b) == pytest.approx(60.5 / 207)
    assert min(prior_from(500, 0)) >= 0.5
    with pytest.raises(ValueError, match="must be at least"):
        spoil_rate(3, 1, (0.1, 2.0))


def test_nothing_is_held_back_without_a_lost_run_or_where_the_other_loses_as_many():
    assert held_back(spoil_rate(1, 0), spoil_rate(50, 0)) is None
    assert held_back(spoil_rate(10, 1), spoil_rate(10, 1)) is None
    held = held_back(spoil_rate(4, 2), spoil_rate(6, 0))
    assert held is not None
    assert (held.spoiled, held.runs) == (2, 4)
    text = held.why
    assert text.startswith("held back: the car itself lost 2 of 4 runs at the quicker setting, 0 of 6 at the other")
    chance = chance_higher(spoil_rate(4, 2), spoil_rate(6, 0))
    assert chance > RISING
    assert text.endswith(f"with {100 * chance:.0f} % probability")  # a space before the sign: ISO 80000-1, 7.2


@pytest.fixture
def quicker(garage):
    """One step is 50 ms quicker to 60 ft, beyond doubt."""
    return garage.runs(np.tile(ABBA, (3, 1)), effects=[[-0.05, 0, 0, 0, 0]], seed=3)


def lost(runs, settings):
    """Add runs that were lost at these settings: no time."""
    more = len(settings)
    return replace(
        runs,
        keys=(*runs.keys, *(f"lost {i}" for i in range(more))),
        times=np.concatenate([runs.times, np.full((more, 5), np.nan)]),
        day=np.append(runs.day, np.zeros(more, dtype=int)),
        hour=np.append(runs.hour, 20.0 + np.arange(more)),
        settings=np.concatenate([runs.settings, np.array(settings, dtype=float)[:, None]]),
        spoiled=np.append(runs.spoiled, np.ones(more, dtype=bool)),
        car_caused=np.append(np.zeros(len(runs.keys), dtype=bool), np.ones(more, dtype=bool)),
    )


def first(fit):
    return next(e for e in fit.effects if e.to_ft == 60)


def test_a_quicker_setting_that_loses_runs_has_not_helped(garage, quicker):
    plain = first(fit_car(quicker, garage.levers(1)))
    assert (plain.verdict, plain.held_back, plain.change_made.held_back) == ("helped", None, None)
    found = first(fit_car(lost(quicker, [1, 1]), garage.levers(1)))
    assert found.verdict == found.change_made.verdict == "cannot_tell"
    assert "lost 2 of 8 runs" in found.held_back.why
    assert found.change_made.held_back == found.held_back
    assert found.runs_needed is None
    assert found.probability_helps > 0.99


def test_runs_lost_at_the_slower_setting_hold_nothing_back(garage, quicker):
    assert first(fit_car(lost(quicker, [0, 0]), garage.levers(1))).verdict == "helped"


def test_runs_lost_for_other_reasons_hold_nothing_back(garage, quicker):
    other = lost(quicker, [1, 1])
    other = replace(other, car_caused=np.zeros(len(other.keys), dtype=bool))
    assert first(fit_car(other, garage.levers(1))).verdict == "helped"


def test_the_same_downwards(garage, quicker):
    """The quicker setting lies one step down: "hurt" of the step up, "helped" of the change made; both held back."""
    down = replace(lost(quicker, [1, 1]), settings=-lost(quicker, [1, 1]).settings)
    found = first(fit_car(down, garage.levers(1)))
    assert found.probability_helps < 0.01
    assert found.verdict == found.change_made.verdict == "cannot_tell"
    assert first(fit_car(replace(down, car_caused=None), garage.levers(1))).verdict == "hurt"


def test_wrong_shapes_are_refused(garage):
    with pytest.raises(ValueError, match="car_caused has shape"):
        garage.runs(ABBA, car_caused=np.zeros(3, dtype=bool))
