"""What a change of air is worth: directions, and identities with the correction that goes the whole way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from runlog.physics.air_steps import FIVE_MPH, STEPS, TEN_FAHRENHEIT, TENTH_INHG, air_steps
from runlog.physics.atmosphere import Air, vapour_pressure
from runlog.physics.correction import shift
from runlog.physics.longitudinal import Vehicle

CAR = Vehicle(mass=1200.0, power=450e3, grip_acceleration=14.0)
AIR = Air(300.0, 98000.0, 0.5, 1.0)


def test_directions() -> None:
    """Less oxygen: slower. Power follows density about one to one and drag too, so the top end still gains by it."""
    steps = air_steps(CAR, AIR)
    assert set(steps) == set(STEPS)
    for name in ("density_1_pct", "pressure_0_10_inhg", "tailwind_5_mph"):
        assert np.all(steps[name].times <= 5e-5), name  # where grip rules, denser air is only more drag
        assert np.all(steps[name].speeds > 0.0), name
        assert steps[name].times[-1] < -0.001, name
    assert np.all(steps["temperature_10_f"].times >= -5e-5)
    assert steps["temperature_10_f"].times[-1] > 0.001
    assert np.all(steps["temperature_10_f"].speeds < 0.0)


def test_grip_rules_the_first_feet() -> None:
    for name, step in air_steps(CAR, AIR).items():
        assert abs(step.increments[0]) < abs(step.increments[-1]), name


def warmed(kelvin: float) -> Air:
    """Return the air so much warmer, the partial pressure of its vapour unchanged."""
    share = vapour_pressure(300.0, 98000.0, 0.5) / vapour_pressure(300.0 + kelvin, 98000.0, 1.0)
    return replace(AIR, temperature=300.0 + kelvin, relative_humidity=share)


@pytest.mark.parametrize(
    ("name", "start", "end"),
    [
        (
            "pressure_0_10_inhg",
            replace(AIR, pressure=98000.0 - TENTH_INHG / 2),
            replace(AIR, pressure=98000.0 + TENTH_INHG / 2),
        ),
        ("tailwind_5_mph", replace(AIR, wind_along=1 - FIVE_MPH / 2), replace(AIR, wind_along=1 + FIVE_MPH / 2)),
        ("temperature_10_f", warmed(-TEN_FAHRENHEIT / 2), warmed(TEN_FAHRENHEIT / 2)),
    ],
)
def test_a_step_is_what_the_correction_says_of_it(name: str, start: Air, end: Air) -> None:
    """Identity: the correction from one end of the step to the other."""
    whole, step = shift(CAR, end, start), air_steps(CAR, AIR)[name]
    assert step.times == pytest.approx(whole.times, abs=1e-9)
    assert step.speeds == pytest.approx(whole.speeds, abs=1e-9)


def test_one_per_cent_of_density_by_pressure() -> None:
    """0.10 inHg of 98000 Pa is 0.3455 % of pressure; density follows it one to one within what the vapour takes."""
    steps = air_steps(CAR, AIR)
    ratio = steps["pressure_0_10_inhg"].times[-1] / steps["density_1_pct"].times[-1]
    assert ratio == pytest.approx(0.3455, rel=0.03)


def test_warm_air_at_constant_pressure_loses_density_as_an_ideal_gas() -> None:
    """Of the time only the power's part follows: SAE J1349 counts the root of temperature, drag the whole of it."""
    steps = air_steps(replace(CAR, drag_area=0.0), AIR)
    by_temperature = steps["temperature_10_f"].times[-1]
    by_density = -steps["density_1_pct"].times[-1] * 100 * TEN_FAHRENHEIT / 300.0
    assert 0.4 < by_temperature / by_density < 0.6


def test_saturated_air_is_only_warmed() -> None:
    steps = air_steps(CAR, replace(AIR, relative_humidity=1.0))
    assert steps["temperature_10_f"].times[-1] > 0.0
