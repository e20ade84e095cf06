"""Each default alarm in the condition it holds in. The limits are common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest

from runlog.constants import FOOT
from runlog.records import Alarm, ChannelLimit, Samples, TraceEvent
from runlog.signals.alarm_rules import action_for
from runlog.signals.analysis import analyse
from runlog.signals.limits import Span, find_alarms, not_logged
from runlog.signals.seen_alarms import event_alarms, weak_braking
from runlog.units import parse_quantity

TIME = np.arange(0, 30, 0.05)
SPAN = Span(launch=15.0, end=24.0)
PSI = 6894.757
RATES = {"acceleration_x": 100.0, "driveshaft_speed": 100.0, "throttle": 50.0}


def level(value: float, changes: dict[tuple[float, float], float] | None = None) -> Samples:
    values = np.full(TIME.size, float(value))
    for (begin, end), other in (changes or {}).items():
        values[(begin <= TIME) & (end > TIME)] = other
    return Samples(TIME, values)


def told(alarms: tuple[Alarm, ...]) -> list[tuple[str, str, str]]:
    return [(alarm.channel, alarm.condition, alarm.action) for alarm in alarms]


RUNNING = {"engine_speed": level(600.0), "throttle": level(0.0, {(15, 24): 1.0})}


def test_no_oil_five_seconds_after_the_start_asks_to_shut_off():
    started = {"engine_speed": level(0.0, {(3, 30): 120.0})}
    slow = {**started, "oil_pressure": level(0.0, {(7.5, 30): 40 * PSI})}
    none = {**started, "oil_pressure": level(0.0, {(10, 30): 40 * PSI})}
    assert find_alarms(slow, (), SPAN) == ()  # there after 4.5 s
    (alarm,) = find_alarms(none, (), SPAN)
    assert told((alarm,)) == [("oil_pressure", "5 s after start", "shut off")]
    assert alarm.time == pytest.approx(8.0 - 15.0, abs=0.06)


def test_an_engine_that_stops_again_at_once_needs_no_oil_pressure():
    coughed = {"engine_speed": level(0.0, {(3, 6): 120.0}), "oil_pressure": level(0.0)}
    assert find_alarms(coughed, (), SPAN) == ()


def test_the_car_files_low_limit_waits_for_the_pressure_to_build_up():
    samples = {
        "engine_speed": level(0.0, {(3, 30): 300.0}),
        "oil_pressure": level(0.0, {(6, 30): 60 * PSI}),
    }
    assert find_alarms(samples, (ChannelLimit("oil_pressure", low=20 * PSI),), SPAN) == ()
    samples["oil_pressure"] = level(0.0, {(6, 12): 60 * PSI, (12, 30): 15 * PSI})
    assert told(find_alarms(samples, (ChannelLimit("oil_pressure", low=20 * PSI),), SPAN)) == [
        ("oil_pressure", "", "stop")
    ]


def exhaust(*fahrenheit: float) -> dict[str, Samples]:
    return RUNNING | {
        f"exhaust_temperature_{n}": level(parse_quantity(f"{degrees} °F", "temperature"))
        for n, degrees in enumerate(fahrenheit, 1)
    }


@pytest.mark.parametrize(
    ("cylinders", "expected"),
    [
        ((1400, 1410, 1390, 1490, 1405), []),  # 85 °F over the median of 1405
        ((1400, 1410, 1390, 1520, 1405), [("exhaust_temperature_4", "high")]),
        ((1400, 1410, 1290, 1420, 1405), [("exhaust_temperature_3", "low")]),
        ((1400, 1600), []),  # of two nobody knows which is off
    ],
)
def test_one_cylinder_a_hundred_degrees_from_the_median(cylinders, expected):
    alarms = find_alarms(exhaust(*cylinders), (), SPAN)
    assert [(alarm.channel, alarm.kind) for alarm in alarms] == expected
    assert all(alarm.action == "stop, read the plugs" for alarm in alarms)


def test_cold_cylinders_at_idle_are_no_alarm():
    samples = exhaust(1400, 1410, 1200, 1400)
    assert find_alarms({**samples, "throttle": level(0.1)}, (), SPAN) == ()


def test_coolant_is_judged_more_strictly_while_staging():
    warm = {"coolant_temperature": level(parse_quantity("190 °F", "temperature"), {(8, 30): 370.0})}  # 206 °F
    assert told(find_alarms(warm, (), SPAN)) == [("coolant_temperature", "at staging", "wait")]
    hot = {"coolant_temperature": level(380.0)}  # 224 °F
    assert told(find_alarms(hot, (), SPAN)) == [("coolant_temperature", "", "stop")]


@pytest.mark.parametrize(("after", "expected"), [(0.0, False), (0.015, False), (0.08, True)])
def test_without_a_pedal_a_throttle_that_never_closes_after_the_lift_counts(after, expected):
    samples = {"throttle": level(0.0, {(15, 20): 1.0, (20, 26): after})}
    alarms = find_alarms(samples, (), SPAN, lift=20.0)
    assert (told(alarms) == [("throttle", "after the lift", "stop")]) is expected
    assert find_alarms(samples, (), SPAN) == ()  # without a lift nothing is known of the foot


def test_a_throttle_that_closes_late_but_closes_is_a_foot():
    samples = {"throttle": level(0.0, {(15, 20): 1.0, (20, 20.8): 0.3})}
    assert find_alarms(samples, (), SPAN, lift=20.0) == ()


def test_front_wheels_in_the_air_past_60_ft():
    def up(start_ft: float, end_ft: float, confidence: float = 0.75) -> tuple[Alarm, ...]:
        event = TraceEvent("front wheels up", 0.2, start_ft * FOOT, confidence, "", until=0.2286 + end_ft * FOOT)
        return find_alarms({}, (), SPAN, seen=event_alarms([event], 0.2286, SPAN))

    assert up(2, 50) == ()
    assert told(up(2, 70)) == [("front_wheel_height", "airborne past 60 ft", "stop, revise")]
    assert up(2, 70, confidence=0.4) == ()  # a topped-out shock alone doesn't say it


def test_front_wheel_height_has_a_limit_of_its_own():
    samples = {"front_wheel_height": level(0.0, {(15.2, 15.6): 0.33})}
    (alarm,) = find_alarms(samples, (), SPAN)
    assert (alarm.action, alarm.limit) == ("stop, revise", pytest.approx(0.3048))
    assert find_alarms({"front_wheel_height": level(0.0, {(15.2, 15.6): 0.29})}, (), SPAN) == ()


def test_a_fifth_less_braking_than_usual_from_about_the_same_speed():
    usual = [(6.0, 60.0), (6.2, 62.0), (5.8, 58.0), (2.0, 20.0)]
    assert weak_braking((5.0, 61.0), usual, 8.0) is None
    alarm = weak_braking((4.7, 61.0), usual, 8.0)
    assert alarm is not None
    assert (alarm.limit, alarm.action) == (pytest.approx(0.8 * 6.0), "stop")
    assert weak_braking((4.7, 61.0), usual[:2], 8.0) is None  # two runs aren't a habit
    assert weak_braking((4.7, 30.0), usual, 8.0) is None  # from half the speed nothing is usual yet


def test_braking_is_measured_after_the_pull(true_run, vary):
    """The made car loses 6 m/s² after the lift: its own coasting rate stands in for brakes."""
    run = vary(true_run, rates=RATES, lift=5.0, coast=-6.0)
    found = analyse(run.samples(), run.setting)
    assert found.braking is not None
    assert found.braking[0] == pytest.approx(6.0, abs=0.1)
    _, speed, _ = run.after(np.array([5.0]))
    assert found.braking[1] == pytest.approx(float(speed[0]), rel=0.15)
    coasting = vary(run, coast=-1.5)
    assert analyse(coasting.samples(), coasting.setting).braking is None


def test_every_default_alarm_says_what_to_do():
    assert action_for("exhaust_temperature_7", "away from the median") == "stop, read the plugs"
    assert action_for("crankcase_pressure", "") == "stop, leak-down test"
    assert action_for("oil_temperature", "") == "stop and look before the next run"


def test_one_channel_of_a_group_is_enough_to_be_watched():
    assert "exhaust_temperature" in not_logged({}, ())
    assert "exhaust_temperature" not in not_logged({"exhaust_temperature_5": level(900)}, ())
    assert "front_wheel_height" not in not_logged({"pitch_angle": level(0)}, ())
