"""Where a lever's prior comes from, and that physics points the right way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from runlog.learning import Settings, default_lever
from runlog.physics.car_vehicle import vehicle_of
from runlog.records import Adjustable, Car
from runlog.workflows.lessons.expected import lever_of

BALLAST = Adjustable("ballast rear", "lb", 25.0, acts="early")
CLICKS = Adjustable("rear shock extension", "click", 2.0)


@pytest.fixture
def car() -> Car:
    return Car("heron", 1200.0, 2.667, 600e3, 2.55, 4.1, adjustables=(BALLAST, CLICKS))


def test_more_mass_is_expected_to_be_slower(car: Car) -> None:
    lever = lever_of(car, vehicle_of(car, 0.2286), BALLAST, 50.0)
    assert lever.origin == "physics"
    assert (lever.mean[1:] > 0).all()
    # constant power (Fox 1973): time from rest goes with the cube root of the mass, an upper bound here, where the
    # first feet are held by grip that grows with the mass
    bound = (25 * 0.45359237) / 1200 / 3 * 9.5
    assert 0 < lever.mean.sum() < bound


def test_doubt_is_half_of_the_effect_and_never_less_than_a_share_of_the_scatter(car: Car) -> None:
    lever = lever_of(car, vehicle_of(car, 0.2286), BALLAST, 50.0)
    least = 0.3 * np.array(Settings().repeatability)
    np.testing.assert_allclose(lever.sd, np.maximum(np.abs(lever.mean) / 2, least))


def test_physics_is_silent_about_clicks(car: Car) -> None:
    lever, plain = lever_of(car, vehicle_of(car, 0.2286), CLICKS, 8.0), default_lever(CLICKS)
    assert lever.origin == "default"
    np.testing.assert_array_equal(lever.sd, plain.sd)


def test_the_car_files_own_expectation_stands(car: Car) -> None:
    own = replace(BALLAST, prior_mean_s=(0.001,), prior_sd_s=(0.002,))
    lever = lever_of(car, vehicle_of(car, 0.2286), own, 50.0)
    assert (lever.origin, lever.mean[0], lever.sd[0]) == ("car file", 0.001, 0.002)


def test_without_a_model_the_default_is_taken(car: Car) -> None:
    assert lever_of(car, None, BALLAST, 50.0).origin == "default"
