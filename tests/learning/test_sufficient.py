"""What is kept of a car: checked against the plain matrix formulas, stored, added, and the same in any worker."""

from __future__ import annotations

import json
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from runlog.learning import CarRuns, CarStatistics, Settings, car_statistics, map_cars
from runlog.learning.design import make_layout, segment_data
from runlog.learning.priors import prior_mean, typical_ratio
from runlog.learning.regression import soft_weights

NAMES = ("information", "moment", "squares", "degrees", "residual_products", "residual_pairs")


def invented(garage, seed, n, days=4, **more):
    rng = np.random.default_rng(seed)
    x = rng.integers(-1, 2, (n, 3)).astype(float)
    times = garage.runs(x, seed=seed).times + 0.1 * (rng.random((n, 1)) < 0.07)
    times[rng.random(n) < 0.15, 2:] = np.nan
    day = np.sort(rng.integers(0, days, n))
    more = {"air_shift": rng.normal(0, 0.02, (n, 5)), "nuisances": {"lane": rng.choice([-0.5, 0.5], n)}, **more}
    runs = garage.runs(x, times=times, day=day, hour=9 + rng.uniform(0, 8, n), **more)
    levers = garage.levers(3, curved=(0,))
    levers[1] = replace(levers[1], mean=np.full(5, 0.003))
    return CarRuns(f"car {seed}", runs, tuple(levers))


def same(a, b, **tolerance):
    for name in NAMES:
        assert getattr(a, name) == pytest.approx(getattr(b, name), **tolerance), name


@pytest.mark.parametrize(("n", "more"), [(40, {}), (6, {}), (30, {"air_shift": None, "nuisances": {}})])
def test_statistics_are_those_of_the_whole_design_matrix(garage, n, more):
    """Days are eliminated two columns at a time; here in one piece, with the weights of the one-car analysis."""
    car = invented(garage, 1, n, **more)
    found = car_statistics(car)
    layout, settings = make_layout(car.runs, car.levers), Settings()
    for k in range(5):
        data, ratio = segment_data(layout, car.runs, k), typical_ratio(layout, k, settings)
        w, _ = soft_weights(data.X, data.y, prior_mean(layout, k), ratio, settings.repeatability[k], settings)
        Z, E, y = data.X[:, : layout.first_effect], data.X[:, layout.first_effect :], data.y
        N = Z.T @ np.diag(w) @ Z + np.diag(1 / ratio[: layout.first_effect])
        P = np.diag(w) - np.diag(w) @ Z @ np.linalg.inv(N) @ Z.T @ np.diag(w)
        assert found.information[k] == pytest.approx(E.T @ P @ E, rel=1e-7, abs=1e-9)
        assert found.moment[k] == pytest.approx(E.T @ P @ y, rel=1e-6, abs=1e-10)
        assert found.squares[k] == pytest.approx(y @ P @ y, rel=1e-7)
        assert found.degrees[k] == len(y) - 1


def test_storing_keeps_every_digit(garage):
    car = car_statistics(invented(garage, 2, 20))
    again = CarStatistics.from_plain(json.loads(json.dumps(car.plain())))
    assert again.handles == car.handles
    for name in NAMES:
        assert np.array_equal(getattr(again, name), getattr(car, name))


@pytest.mark.parametrize("n", [0, 1])
def test_no_runs_say_nothing(garage, n):
    car = car_statistics(CarRuns("new", garage.runs(np.ones((n, 1))), tuple(garage.levers(1))))
    assert not car.information.any()
    assert not car.degrees.any()


def test_a_car_without_adjustables_can_be_stored(garage):
    car = car_statistics(CarRuns("bare", garage.runs(np.zeros((4, 0))), ()))
    assert CarStatistics.from_plain(car.plain()).information.shape == (5, 0, 0)


def test_what_never_moved_says_nothing(garage):
    x = np.tile([[0.0, 2.0], [1.0, 2.0]], (6, 1))
    car = car_statistics(CarRuns("car", garage.runs(x), tuple(garage.levers(2))))
    assert (car.information[:, 0, 0] > 1).all()
    assert not car.information[:, 1].any()
    assert not car.moment[:, 1].any()


def test_seasons_add_up_to_all_of_their_information(garage):
    a, b = (car_statistics(replace(invented(garage, seed, 25), car="car")) for seed in (3, 4))
    both = a + b
    assert both.information == pytest.approx(a.information + b.information)
    assert both.degrees.tolist() == (a.degrees + b.degrees).tolist()
    with pytest.raises(ValueError, match="not of the same car"):
        _ = a + replace(b, car="other")


def test_wrong_shapes_are_refused(garage):
    car = car_statistics(invented(garage, 2, 20))
    with pytest.raises(ValueError, match="information has shape"):
        replace(car, information=np.zeros((5, 2, 2)))


@pytest.mark.parametrize("workers", [ThreadPoolExecutor, ProcessPoolExecutor])
def test_workers_find_the_same_numbers(garage, workers):
    cars = [invented(garage, seed, 12) for seed in range(5)]
    here = map_cars(cars)
    with workers(2) as executor:
        there = map_cars(cars, executor)
    assert [car.car for car in there] == [car.car for car in here]
    for a, b in zip(here, there, strict=True):
        same(a, b, rel=0, abs=0)


def test_order_of_runs_names_of_days_and_a_constant_change_nothing(garage):
    car = invented(garage, 5, 24)
    found, runs = car_statistics(car), car.runs
    order = np.random.default_rng(0).permutation(24)
    shuffled = replace(
        runs, keys=tuple(runs.keys[i] for i in order), times=runs.times[order], day=runs.day[order] * 7 - 3,
        hour=runs.hour[order], settings=runs.settings[order], spoiled=runs.spoiled[order],
        air_shift=runs.air_shift[order], nuisances={"lane": runs.nuisances["lane"][order]},
    )  # fmt: skip
    same(car_statistics(replace(car, runs=shuffled)), found, rel=1e-8, abs=1e-11)
    same(car_statistics(replace(car, runs=replace(runs, times=runs.times + 3.0))), found, rel=1e-6, abs=1e-9)
