"""Matching of names to canonical channels. The right answers are trade usage, common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest

from runlog.readers.channels import Candidate, match, match_all, usual_system, warning_of
from runlog.vocabulary import CHANNEL_BY_NAME, CHANNELS

KNOWN = [
    ("Engine RPM", "rpm", "engine_speed"),
    ("RPM", "", "engine_speed"),
    ("eng_spd", "rpm", "engine_speed"),
    ("EngineSpeed", "1/min", "engine_speed"),
    ("Motordrehzahl", "1/min", "engine_speed"),
    ("Drehzahl", "1/min", "engine_speed"),
    ("Crank RPM", "", "engine_speed"),
    ("DS RPM", "rpm", "driveshaft_speed"),
    ("Driveshaft", "rpm", "driveshaft_speed"),
    ("Drive Shaft Speed", "rpm", "driveshaft_speed"),
    ("drvshft_rpm", "rpm", "driveshaft_speed"),
    ("PropShaftRPM", "", "driveshaft_speed"),
    ("G Long", "g", "acceleration_x"),
    ("Accel X", "G", "acceleration_x"),
    ("LongAcc", "m/s^2", "acceleration_x"),
    ("Längsbeschleunigung", "m/s²", "acceleration_x"),
    ("Lateral G", "g", "acceleration_y"),
    ("Acc_Z", "g", "acceleration_z"),
    ("TPS", "%", "throttle"),
    ("Throttle Pos", "%", "throttle"),
    ("Drosselklappe", "%", "throttle"),
    ("Trans Brake", "", "launch_switch"),
    ("Transbrake Volts", "V", "launch_switch"),
    ("Exhaust Temp 1", "°F", "exhaust_temperature_1"),
    ("EGT 8", "degC", "exhaust_temperature_8"),
    ("GPS Speed", "mph", "ground_speed"),
    ("Geschwindigkeit", "km/h", "ground_speed"),
    ("Front Wheel Speed", "mph", "front_wheel_speed"),
    ("Oil Press", "psi", "oil_pressure"),
    ("Öldruck", "bar", "oil_pressure"),
    ("Engine Oil Pressure Sensor", "kPa", "oil_pressure"),
    ("Fuel PSI", "psi", "fuel_pressure"),
    ("MAP", "kPa", "manifold_pressure"),
    ("Water Temp", "°F", "coolant_temperature"),
    ("CoolantTemp", "C", "coolant_temperature"),
    ("Kühlmitteltemperatur", "°C", "coolant_temperature"),
    ("Trans Temp", "degF", "transmission_temperature"),
    ("IAT", "°C", "intake_temperature"),
    ("Battery", "V", "battery_voltage"),
    ("Batt Volts", "V", "battery_voltage"),
    ("Lambda", "", "lambda"),
    ("LF Shock", "in", "shock_front_left"),
    ("Shock_RR", "mm", "shock_rear_right"),
    ("Right Rear Shock Travel", "in", "shock_rear_right"),
    ("Steering Angle", "deg", "steering_angle"),
    ("Pitch Rate", "deg/s", "pitch_rate"),
    ("Gear", "", "gear"),
    ("Distance", "ft", "distance"),
]


@pytest.mark.parametrize(("name", "unit", "canonical"), KNOWN, ids=[name for name, *_ in KNOWN])
def test_trade_spellings_are_known(name, unit, canonical):
    found, confidence = match(name, unit)
    assert found == canonical
    assert 0.5 <= confidence < 1


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("Column 7", ""),
        ("Engine RPM Limit", "rpm"),
        ("Target Boost", "kPa"),
        ("Oil Pressure", "°C"),
        ("Front Wheel Speed", "V"),
        ("Injector Duty", "%"),
        ("Ignition Timing", "deg"),
        ("Fuel Trim", "%"),
        ("Exhaust Temp", "°F"),
        ("Altitude", "ft"),
    ],
)
def test_what_is_something_else_keeps_its_own_name(name, unit):
    assert match(name, unit)[0] is None


@pytest.mark.parametrize("word", CHANNELS, ids=lambda word: word.name)
def test_every_canonical_name_matches_itself(word):
    assert match(word.name)[0] == word.name
    assert all(match(phrase)[0] == word.name for phrase in word.words)


def test_a_unit_that_agrees_makes_surer_and_one_that_contradicts_unsure():
    with_unit, without, against = (
        match("Oil Pressure", "psi")[1],
        match("Oil Pressure")[1],
        match("Oil Pressure", "V")[1],
    )
    assert with_unit > without > against


def test_numbers_out_of_range_make_unsure():
    assert match("Battery", "V", np.full(50, 13.8))[1] > match("Battery", "V", np.full(50, 4000.0))[1]


def candidates(*columns):
    return [Candidate(name, unit, np.asarray(values, dtype=float)) for name, unit, values in columns]


def test_the_better_claim_wins_and_the_other_keeps_its_name():
    matches, close, _ = match_all(candidates(("RPM 2", "", [900, 5000]), ("Engine RPM", "rpm", [900, 5000])))
    assert [found.canonical for found in matches] == [None, "engine_speed"]
    assert close == []


def test_a_close_call_is_said():
    matches, (close,), _ = match_all(candidates(("Throttle A", "%", [0, 90]), ("Throttle B", "%", [0, 91])))
    assert [found.canonical for found in matches] == ["throttle", None]
    assert close.canonical == "throttle"
    assert [contender.name for contender in close.contenders] == ["Throttle A", "Throttle B"]
    assert close.contenders[1].why.endswith("reads 0 to 91 %")
    (said,) = warning_of(close)
    assert said.startswith("'Throttle B' could be throttle as well as 'Throttle A', which was taken;")


def test_no_channel_is_given_twice():
    names = [phrase for word in CHANNELS for phrase in word.words]
    matches, *_ = match_all([Candidate(name, "", np.empty(0)) for name in names])
    given = [found.canonical for found in matches if found.canonical]
    assert len(given) == len(set(given))


@pytest.mark.parametrize(
    ("name", "values", "others", "symbol"),
    [
        ("Engine RPM", [800, 7200], [], "rpm"),
        ("Throttle", [0, 100], [], "%"),
        ("Throttle", [0, 1], [], "1"),
        ("Accel X", [-0.5, 3.2], [], "gn"),
        ("Accel X", [-5, 31], [], "m/s²"),
        ("Oil Pressure", [0.5, 5.5], [], "bar"),
        ("Oil Pressure", [20, 85], [], "psi"),
        ("Oil Pressure", [100, 550], [], "kPa"),
        ("Water Temp", [150, 195], [], "°F"),
        ("Water Temp", [60, 95], ["km/h"], "°C"),
        ("Water Temp", [60, 95], ["mph"], "°F"),
        ("Speed", [0, 150], ["psi"], "mph"),
        ("Speed", [0, 150], ["kPa"], "km/h"),
    ],
)
def test_a_missing_unit_is_taken_from_the_numbers_and_the_rest_of_the_file(name, values, others, symbol):
    """Common practice, no source."""
    rest = [(f"Other {place}", unit, [0, 1]) for place, unit in enumerate(others)]
    matches, *_ = match_all(candidates((name, "", np.linspace(*values, 50)), *rest))
    assert matches[0].unit.symbol == symbol
    assert matches[0].assumed


def test_the_system_of_a_file():
    assert usual_system(["km/h", "kPa", "psi"]) == "metric"
    assert usual_system(["mph", "psi", "V"]) == "us"
    assert usual_system(["V", ""]) == ""


def test_g_is_standard_gravity_unless_it_is_mass():
    matches, *_ = match_all(candidates(("Driver Seat", "g", [0, 1]), ("Fuel Mass", "g", [0, 1])))
    assert [found.unit.symbol for found in matches] == ["gn", "g"]


def test_canonical_names_have_one_dimension():
    assert CHANNEL_BY_NAME["engine_speed"].dimension == "angular_speed"
    assert len(CHANNEL_BY_NAME) == len(CHANNELS)
