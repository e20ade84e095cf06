"""The update from run to run against the batch solution, and what it does with slips that can't be right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runlog.records import SplitBasis
from runlog.signals.calibration import (
    DRIFT,
    NAMES,
    OF_TYRE,
    RUN_SPREAD,
    SLIP_SD,
    learn,
    of_run,
    other_tyres,
    prior,
    split_opinion,
)

SIZE = len(NAMES)
FEET = (60, 330, 660, 1000, 1320)


def a_basis(rng: np.random.Generator, sd: float = 0.005) -> SplitBasis:
    """A trace that says something of splits and calibration, with the sizes that real ones have."""
    slopes = rng.normal(0.0, 4.0, (5, SIZE)) * np.array([1, 1, 1, 1, 1, 0.06])
    rows = rng.normal(0.0, 1.0, (8, SIZE)) * np.array([300, 150, 200, 200, 0, 0])
    root = rng.normal(0.0, sd, (5, 5))
    information = rows.T @ rows
    return SplitBasis(
        FEET,
        np.array([1.4, 3.9, 5.9, 7.7, 9.2]) + rng.normal(0, 0.02, 5),
        slopes,
        root @ root.T + 1e-8 * np.eye(5),
        information,
        information @ rng.normal(0, 0.01, SIZE),
        np.array([22.0, 43.0, 54.0, 62.0, 70.0]),
    )


def batch(bases: list[SplitBasis], slips: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """The car's θ after the last run, by one normal system of all runs at once.

    Unknowns: θ of the car before each run and after the last, and θ of each run. Everything that is known of them is a
    normal equation; the posterior is its solution (generalised least squares, textbook).
    """
    count = len(bases)
    known = prior()
    unknowns = SIZE * (2 * count + 1)
    precision, right = np.zeros((unknowns, unknowns)), np.zeros(unknowns)

    def add(rows: np.ndarray, value: np.ndarray, covariance: np.ndarray) -> None:
        weight = np.linalg.inv(covariance)
        precision[...] += rows.T @ weight @ rows
        right[...] += rows.T @ weight @ value

    def pick(place: int) -> np.ndarray:
        rows = np.zeros((SIZE, unknowns))
        rows[:, SIZE * place : SIZE * (place + 1)] = np.eye(SIZE)
        return rows

    add(pick(0), known.mean, known.covariance)
    for n, (basis, slip) in enumerate(zip(bases, slips, strict=True)):
        car, after, run = pick(n), pick(n + 1), pick(count + 1 + n)
        add(after - car, np.zeros(SIZE), DRIFT)
        add(run - after, np.zeros(SIZE), RUN_SPREAD)
        own = slice(SIZE * (count + 1 + n), SIZE * (count + 2 + n))
        precision[own, own] += basis.information
        right[own] += basis.score
        add(basis.slopes @ run, slip - basis.times, basis.covariance + SLIP_SD**2 * np.eye(5))
    covariance = np.linalg.inv(precision)
    last = slice(SIZE * count, SIZE * (count + 1))
    return (covariance @ right)[last], covariance[last, last]


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), count=st.integers(1, 4))
def test_run_after_run_is_the_batch_solution(seed, count):
    rng = np.random.default_rng(seed)
    bases = [a_basis(rng) for _ in range(count)]
    known, slips = prior(), []
    for basis in bases:
        # what the slip says is near what is foretold, so that none is refused
        slips.append(np.array([time for time, _ in split_opinion(basis, known).values()]) + rng.normal(0, 0.002, 5))
        known, learned = learn(basis, known, dict(zip(FEET, slips[-1], strict=True)))
        assert learned
    mean, covariance = batch(bases, slips)
    # the drift of the last run belongs to the state that its slip was learned in
    assert known.mean == pytest.approx(mean, abs=1e-7)
    assert known.covariance == pytest.approx(covariance, rel=1e-4, abs=1e-11)


def test_a_slip_of_another_run_is_not_learned_from_but_widens_the_doubt():
    basis, known = a_basis(np.random.default_rng(1)), prior()
    for _ in range(4):
        known, _ = learn(basis, known, {feet: time for feet, (time, _) in split_opinion(basis, known).items()})
    wrong = {feet: time + 0.5 for feet, (time, _) in split_opinion(basis, known).items()}
    after, learned = learn(basis, known, wrong)
    assert not learned
    assert after.runs == known.runs
    assert after.mean == pytest.approx(known.mean)
    assert (np.diag(after.covariance) > np.diag(known.covariance)).all()


def test_without_a_slip_only_the_drift_is_added():
    basis, known = a_basis(np.random.default_rng(2)), prior()
    after, learned = learn(basis, known, {})
    assert not learned
    assert after.covariance == pytest.approx(known.covariance + DRIFT)
    assert learn(basis, known, {200: 2.5})[0].runs == 0


def test_slips_as_near_as_rounding_narrow_and_scattered_ones_widen():
    rng = np.random.default_rng(5)
    basis = a_basis(rng)
    near = far = prior()
    for _ in range(8):
        near, _ = learn(basis, near, {feet: time for feet, (time, _) in split_opinion(basis, near).items()})
        opinion = split_opinion(basis, far)
        far, _ = learn(basis, far, {feet: t + sd * rng.choice([-3, 3]) for feet, (t, sd) in opinion.items()})
    assert near.scale < 0.5
    assert far.scale > 1.0
    assert (near.sd < far.sd).all()


def test_other_tyres_keep_what_belongs_to_the_sensors():
    basis, fresh = a_basis(np.random.default_rng(3)), prior()
    known = fresh
    for _ in range(3):
        slip = {feet: time + 0.001 for feet, (time, _) in split_opinion(basis, known).items()}
        known, _ = learn(basis, known, slip)
    changed = other_tyres(known, fresh)
    assert changed.mean[OF_TYRE] == pytest.approx(fresh.mean[OF_TYRE])
    assert changed.mean[~OF_TYRE] == pytest.approx(known.mean[~OF_TYRE])
    assert np.diag(changed.covariance)[OF_TYRE] == pytest.approx(np.diag(fresh.covariance)[OF_TYRE])
    assert (np.linalg.eigvalsh(changed.covariance) > 0).all()


def test_growth_of_the_car_file_is_the_prior_of_growth():
    """4.4e-6 per (m/s)² is 1.58 % at 60 m/s."""
    known = prior(4.4e-6)
    assert known.mean[NAMES.index("growth")] == pytest.approx(0.01584)
    assert known.sd[NAMES.index("growth")] < prior().sd[NAMES.index("growth")]


def test_a_single_run_is_less_sure_than_the_car():
    known = prior()
    assert of_run(known).covariance == pytest.approx(known.covariance + RUN_SPREAD)
    assert replace(known, figures=100, misfit=100.0).scale == pytest.approx(1.0)
