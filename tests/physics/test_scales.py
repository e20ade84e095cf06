"""Which weighings may be compared. The list of conditions is common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest

from runlog.physics.scales import MASS_TOLERANCE, PRESSURE_TOLERANCE, ScaleConditions, comparable

READY = ScaleConditions(
    driver_mass=85.0,
    fuel=20.0,
    tyre_pressures=(200e3, 200e3, 90e3, 90e3),
    level_pads=True,
    anti_roll_link_disconnected=True,
    wheelie_bars_clear=True,
    settled=True,
)


def test_same_conditions_may_be_compared() -> None:
    assert comparable(READY, READY) == ()


def test_differences_are_said_in_the_units_of_the_crew() -> None:
    """85 kg = 187.4 lb and 90 kPa = 13.1 psi with 1 lb = 0.45359237 kg, 1 psi = 6894.757 Pa."""
    other = replace(READY, driver_mass=0.0, tyre_pressures=(200e3, 200e3, 90e3, 83e3))
    assert comparable(READY, other) == (
        "driver weight differs: 187.4 lb and 0.0 lb",
        "right rear pressure differs: 13.1 psi and 12.0 psi",
    )
    assert comparable(READY, other, mass_unit="kg", pressure_unit="kPa") == (
        "driver weight differs: 85.0 kg and 0.0 kg",
        "right rear pressure differs: 90.0 kPa and 83.0 kPa",
    )


def test_small_differences_do_not_count() -> None:
    close = replace(READY, driver_mass=85.0 + 0.9 * MASS_TOLERANCE, fuel=20.0 - 0.9 * MASS_TOLERANCE)
    close = replace(close, tyre_pressures=(200e3, 200e3, 90e3 + 0.9 * PRESSURE_TOLERANCE, 90e3))
    assert comparable(READY, close) == ()
    apart = replace(READY, fuel=20.0 + 1.1 * MASS_TOLERANCE)
    assert comparable(READY, apart, mass_unit="kg") == ("fuel differs: 20.0 kg and 20.6 kg",)


@pytest.mark.parametrize(
    ("name", "broken", "unknown"),
    [
        ("level_pads", "the pads were not level", "whether the pads were level was not noted"),
        (
            "anti_roll_link_disconnected",
            "the anti-roll link was connected",
            "whether the anti-roll link was disconnected was not noted",
        ),
        ("wheelie_bars_clear", "the wheelie bars touched", "whether the wheelie bars were clear was not noted"),
        ("settled", "the suspension was not settled", "whether the suspension was settled was not noted"),
    ],
)
def test_what_must_hold_must_hold_in_both(name: str, broken: str, unknown: str) -> None:
    wrong, silent = replace(READY, **{name: False}), replace(READY, **{name: None})
    assert comparable(READY, wrong) == (f"{broken} in the second weighing",)
    assert comparable(wrong, READY) == (f"{broken} in the first weighing",)
    assert comparable(wrong, wrong) == (f"{broken} in the first and second weighings",)
    assert comparable(silent, READY) == (f"{unknown} in the first weighing",)
    assert comparable(wrong, silent) == (
        f"{broken} in the first weighing",
        f"{unknown} in the second weighing",
    )


def test_nothing_noted_forbids_everything() -> None:
    found = comparable(ScaleConditions(), READY)
    assert len(found) == 7
    assert all(text.endswith("not noted in the first weighing") for text in found)
    assert "tyre pressures were not noted in the first weighing" in found


def test_figures_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="fuel -1 can't be"):
        ScaleConditions(fuel=-1.0)
    with pytest.raises(ValueError, match="left rear pressure nan can't be"):
        ScaleConditions(tyre_pressures=(1e5, 1e5, float("nan"), 1e5))
    with pytest.raises(ValueError, match="3 tyre pressures, expected four"):
        ScaleConditions(tyre_pressures=(1e5, 1e5, 1e5))  # type: ignore[arg-type]
