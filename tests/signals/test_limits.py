"""Limits and sensor faults on made signals. The default limits are common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest

from runlog.records import ChannelLimit, Samples
from runlog.signals.analysis import Setting, analyse
from runlog.signals.health import sensor_faults
from runlog.signals.limits import Span, excursions, find_alarms, not_logged
from runlog.units import parse_quantity

TIME = np.arange(0, 20, 0.05)
SPAN = Span(launch=8.0, end=16.0)
PSI = 6894.757


def level(value: float, changes: dict[tuple[float, float], float] | None = None) -> Samples:
    values = np.full(TIME.size, float(value))
    for (begin, end), other in (changes or {}).items():
        values[(begin <= TIME) & (end > TIME)] = other
    return Samples(TIME, values)


def wobbling(value: float, seed: int = 1) -> Samples:
    return Samples(TIME, value + np.random.default_rng(seed).normal(0, 0.01 * abs(value), TIME.size))


RUNNING = {"engine_speed": level(600.0), "throttle": level(0.0, {(8, 16): 1.0})}


def test_a_limit_passed_long_enough_is_an_alarm_with_its_worst_value():
    engine = level(700, {(10, 10.5): 850, (10.2, 10.3): 870})
    (alarm,) = find_alarms({"engine_speed": engine}, (ChannelLimit("engine_speed", high=800.0),), SPAN)
    assert (alarm.channel, alarm.kind, alarm.value, alarm.limit) == ("engine_speed", "high", 870.0, 800.0)
    assert alarm.time == pytest.approx(2.0, abs=0.051)


def test_a_single_sample_is_no_alarm_and_a_flutter_is_one():
    limit = (ChannelLimit("engine_speed", high=800.0),)
    assert find_alarms({"engine_speed": level(700, {(10, 10.05): 900})}, limit, SPAN) == ()
    flutter = Samples(TIME, np.where((TIME > 10) & (TIME < 12), 800 + 5 * np.sign(np.sin(40 * TIME)), 700))
    assert len(find_alarms({"engine_speed": flutter}, limit, SPAN)) == 1


@pytest.mark.parametrize(("between", "alarms"), [(795, 1), (780, 2)])
def test_a_limit_is_left_by_coming_back_two_percent(between, alarms):
    """The hysteresis: 784 of 800; common practice, no source."""
    limit = (ChannelLimit("engine_speed", high=800.0),)
    twice = level(700, {(10, 11): 900, (11, 12): between, (12, 13): 900})
    assert len(find_alarms({"engine_speed": twice}, limit, SPAN)) == alarms


@pytest.mark.parametrize(("back", "alarms"), [(-1.0, 1), (-3.0, 2)])
def test_a_temperature_comes_back_by_kelvins_not_by_a_share_of_them(back, alarms):
    """220 °F is 104.4 °C, of which 2 % are 2.1 K; 2 % of its 377.6 K would be 7.6 K. Common practice, no source."""
    limit = parse_quantity("220 °F", "temperature")
    twice = level(350, {(10, 11): 380, (11, 12): limit + back, (12, 13): 380})
    assert len(find_alarms({"coolant_temperature": twice}, (), SPAN)) == alarms


def test_equal_to_the_limit_is_not_beyond_it():
    assert excursions("engine_speed", level(800.0), 800.0, "high") == []
    assert excursions("engine_speed", level(800.0), 800.0, "low") == []


def test_a_stopped_engine_needs_no_oil_pressure():
    samples = {
        "engine_speed": level(0, {(3, 17): 600}),
        "oil_pressure": level(0, {(3, 17): 60 * PSI}),
        "throttle": level(0.0, {(8, 16): 1.0}),
    }
    assert find_alarms(samples, (ChannelLimit("oil_pressure", low=20 * PSI),), SPAN) == ()
    samples["oil_pressure"] = level(0, {(3, 12): 60 * PSI, (12, 17): 10 * PSI})
    (alarm,) = find_alarms(samples, (ChannelLimit("oil_pressure", low=20 * PSI),), SPAN)
    assert alarm.kind == "low"
    assert alarm.time == pytest.approx(4.0, abs=0.051)


def test_oil_pressure_under_load_follows_engine_speed():
    """10 psi per 1,000 rpm: 600 rad/s is 5,730 rpm and asks for 57.3 psi. Common practice, no source."""
    fine = RUNNING | {"oil_pressure": level(58 * PSI)}
    low = RUNNING | {"oil_pressure": level(58 * PSI, {(10, 11): 56 * PSI})}
    assert find_alarms(fine, (), SPAN) == ()
    (alarm,) = find_alarms(low, (), SPAN)
    assert alarm.limit == pytest.approx(57.3 * PSI, rel=1e-3)
    idle = {**low, "throttle": level(0.0)}
    assert find_alarms(idle, (), SPAN) == ()


def test_the_car_file_replaces_a_default():
    low = RUNNING | {"oil_pressure": level(50 * PSI)}
    assert len(find_alarms(low, (), SPAN)) == 1
    assert find_alarms(low, (ChannelLimit("oil_pressure", low=30 * PSI),), SPAN) == ()
    hot = {"coolant_temperature": level(parse_quantity("225 °F", "temperature"))}
    assert [alarm.limit for alarm in find_alarms(hot, (), SPAN)] == [pytest.approx(377.594, abs=1e-3)]
    assert find_alarms(hot, (ChannelLimit("coolant_temperature", high=390.0),), SPAN)[0].limit == pytest.approx(
        parse_quantity("200 °F", "temperature")
    )  # too hot to stage, whatever the ceiling


@pytest.mark.parametrize(
    ("channel", "samples", "kind"),
    [
        ("coolant_temperature", level(370.0, {(4, 6): 380.0, (6, 16): 360.0}), "high"),
        ("transmission_temperature", level(390.0), "high"),
        ("crankcase_pressure", level(0.0, {(9, 10): 8000.0}), "high"),
        ("battery_voltage", level(13.8, {(9, 12): 12.0}), "low"),
        ("fuel_pressure", level(400e3, {(10, 12): 350e3}), "low"),
    ],
)
def test_each_default_limit(channel, samples, kind):
    alarms = find_alarms(RUNNING | {channel: samples}, (), SPAN)
    assert {(alarm.channel, alarm.kind) for alarm in alarms} == {(channel, kind)}


def test_a_sixteen_volt_battery_is_not_judged_by_twelve():
    assert find_alarms(RUNNING | {"battery_voltage": level(15.5, {(9, 12): 12.0})}, (), SPAN) == ()


def test_a_throttle_that_stays_open_is_an_alarm():
    pedal = level(0.0, {(8, 15): 1.0})
    fine = {"accelerator_pedal": pedal, "throttle": level(0.0, {(8, 15.2): 1.0})}
    stuck = {"accelerator_pedal": pedal, "throttle": level(0.0, {(8, 15): 1.0, (15, 17): 0.3})}
    assert find_alarms(fine, (), SPAN) == ()
    (alarm,) = find_alarms(stuck, (), SPAN)
    assert (alarm.channel, alarm.kind, alarm.value) == ("throttle", "high", 0.3)
    assert alarm.time == pytest.approx(7.3, abs=0.1)


def test_what_was_not_logged_is_named():
    limits = (ChannelLimit("oil_temperature", high=400.0), ChannelLimit("engine_speed", high=800.0))
    assert not_logged({"engine_speed": level(1)}, limits) == (
        "oil_pressure",
        "coolant_temperature",
        "battery_voltage",
        "fuel_pressure",
        "driveshaft_speed",
        "transmission_temperature",
        "exhaust_temperature",
        "throttle",
        "crankcase_pressure",
        "acceleration_x",
        "front_wheel_height",
        "oil_temperature",
    )


def test_dropout_is_named_with_its_times():
    keep = (TIME < 10) | (TIME > 12)
    (fault,) = sensor_faults({"oil_pressure": Samples(TIME[keep], TIME[keep])}, SPAN)
    assert (fault.name, fault.time) == ("dropout", pytest.approx(1.95))
    assert fault.text == "oil_pressure has no samples from 1.95 to 4.05 s after launch"
    early = TIME < 11
    (fault,) = sensor_faults({"oil_pressure": Samples(TIME[early], TIME[early])}, SPAN)
    assert "from 2.95 to 8.00 s" in fault.text
    gone = TIME < 7
    (fault,) = sensor_faults({"oil_pressure": Samples(TIME[gone], TIME[gone])}, SPAN)
    assert fault.text == "oil_pressure has no samples during the run"


def test_a_flat_line_is_named_where_a_channel_must_move():
    assert "doesn't move from" in sensor_faults({"engine_speed": level(700.0)}, SPAN)[0].text
    assert sensor_faults({"coolant_temperature": level(350.0)}, SPAN) == ()
    assert sensor_faults({"engine_speed": wobbling(700.0)}, SPAN) == ()


def test_saturation_is_named():
    rise = Samples(TIME, np.minimum(wobbling(10.0).values + 5 * np.sin(TIME), 14.0))
    (fault,) = sensor_faults({"oil_pressure": rise}, SPAN)
    assert "sticks at its highest value" in fault.text
    first = int(np.argmin(np.abs(TIME - 8.0 - fault.time)))
    assert rise.values[first - 1] < 14.0
    assert (rise.values[first : first + 5] == 14.0).all()
    free = Samples(TIME, wobbling(10.0).values + 5 * np.sin(TIME))
    assert sensor_faults({"oil_pressure": free}, SPAN) == ()


def test_alarms_reach_the_findings_in_seconds_after_launch(true_run, vary):
    run = vary(true_run, rates={"acceleration_x": 100.0, "engine_speed": 50.0})
    limited = vary(run.setting, limits=(ChannelLimit("engine_speed", high=700.0),))
    found = analyse(run.samples(), limited)
    assert found.alarms[0].channel == "engine_speed"
    assert found.alarms[0].time > 1.0
    assert found.alarms[0].value == pytest.approx(800, rel=0.03)
    assert "oil_pressure" in found.not_logged


def test_a_fire_up_without_a_launch_is_still_watched():
    samples = {"engine_speed": level(0, {(2, 20): 300}), "coolant_temperature": level(300, {(15, 20): 385})}
    found = analyse(samples, Setting(2.6, 4.1))
    assert found.launch_time is None
    assert [(alarm.channel, alarm.time) for alarm in found.alarms] == [
        ("coolant_temperature", pytest.approx(15.0, abs=0.06))
    ]
    assert any("on the logger's clock" in text for text in found.warnings)
