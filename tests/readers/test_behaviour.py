"""What the numbers say of a channel. Every trace here is made, so that what is true of it is known; that engines idle,
shafts start from rest and throttles rest at both ends is common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runlog.readers.behaviour import Look, compare, opinion, thinned
from runlog.readers.channel_map import ChannelMap, ChannelRule
from runlog.readers.logger_csv import read_logger

G = 9.80665  # [m/s²] ISO 80000-3
RPM = np.pi / 30  # [rad/s] definition of the revolution per minute
TIME = np.arange(0, 12, 0.02)
# v = 82 (1 - exp(-t / 5.2)) from 3 s on, its slope in closed form
SINCE = np.clip(TIME - 3, 0, None)
SPEED = 82 * (1 - np.exp(-SINCE / 5.2))
PULL = np.where(TIME >= 3, 82 / 5.2 * np.exp(-SINCE / 5.2), 0.0)
SHAFT = SPEED / 2.55 * 4.1 * 60
ENGINE = np.maximum(np.where(TIME > 1.5, 4200.0, 1100.0), SHAFT * np.where(SPEED < 39, 1.8, 1.0))


def text(**columns):
    noise = np.random.default_rng(7)
    named = {name.replace("__", " "): values for name, values in columns.items()}
    sizes = {name: 0.004 * np.ptp(values) for name, values in named.items()}
    lines = [",".join(["Time (s)", *named])]
    for n, time in enumerate(TIME):
        cells = [f"{values[n] + noise.normal(0, sizes[name]):.4f}" for name, values in named.items()]
        lines.append(",".join([f"{time:.2f}", *cells]))
    return "\n".join(lines) + "\n"


def read(**columns):
    return read_logger(text(**columns).encode(), "log.csv")


def channel(log, canonical):
    return next(item for item in log.channels if item.canonical == canonical)


def test_a_backwards_accelerometer_is_turned_and_said():
    """The wheels' speed in m/s and its slope in closed form: no doubt about scale or sign."""
    columns = {"Speed (km/h)": SPEED * 3.6, "Accel X (g)": -PULL / G}
    log = read(**columns)
    found = channel(log, "acceleration_x")
    assert np.corrcoef(found.values, PULL)[0, 1] > 0.99
    (said,) = [warning for warning in log.warnings if "backwards" in warning]
    assert "its sign was changed" in said
    assert said.endswith('"Accel X" = { channel = "acceleration_x", invert = false }')


def test_a_channel_that_shows_the_slope_in_the_place_of_another_is_said():
    quiet = np.random.default_rng(2).normal(0.0, 0.02, TIME.size) + 0.005 * PULL / G  # a little leaks across
    log = read(**{"Speed (km/h)": SPEED * 3.6, "Accel X (g)": quiet, "Accel Y (g)": PULL / G})
    (said,) = [warning for warning in log.warnings if "axes" in warning]
    assert said.startswith("'Accel Y' shows the slope of 'Speed' and 'Accel X' doesn't")


@pytest.mark.parametrize(("written", "factor", "rather"), [("mph", 3.6, "km/h"), ("km/h", 1 / 0.44704, "mph")])
def test_miles_taken_for_kilometres_are_said_by_the_accelerometer(written, factor, rather):
    log = read(**{f"GPS Speed ({written})": SPEED * factor, "Accel X (g)": PULL / G})
    (said,) = [warning for warning in log.warnings if "the slope of" in warning]
    assert said.endswith(f'"GPS Speed" = {{ channel = "ground_speed", unit = "{rather}" }}')
    right = read(**{f"GPS Speed ({rather})": SPEED * factor, "Accel X (g)": 1.08 * PULL / G})  # by the pitch
    assert not [warning for warning in right.warnings if "the slope of" in warning]


def test_a_unit_that_is_not_known_is_said():
    log = read(**{"RPM (U/mn)": ENGINE})
    assert "column 'RPM': the unit 'U/mn' isn't known; taken as rpm for engine_speed" in log.warnings


def test_two_columns_of_one_name_are_a_close_call_unless_their_numbers_tell():
    head, *rows = text(RPM=ENGINE, DS__RPM=SHAFT).splitlines()
    twice = "\n".join([head.replace("DS RPM", "RPM"), *rows])
    log = read_logger(twice.encode(), "log.csv")
    assert log.close_calls == ()  # one idles, the other starts from rest
    same = "\n".join([f"{head},RPM", *(f"{row},{row.split(',')[1]}" for row in rows)])
    log = read_logger(same.encode(), "log.csv")
    assert log.close_calls == ()  # whichever is taken
    assert "'RPM (2)' reads what 'RPM' does, which was taken for engine_speed" in log.warnings
    alike = "\n".join([f"{head},RPM", *(f"{row},{1.03 * float(row.split(',')[1]):.3f}" for row in rows)])
    (close,) = read_logger(alike.encode(), "log.csv").close_calls
    assert [one.name for one in close.contenders] == ["RPM", "RPM (2)"]
    assert close.contenders[1].why.endswith("goes with 'RPM' (correlation 1.00)")
    for taken in ("RPM", "RPM (2)"):
        settled = ChannelMap(rules={taken: ChannelRule("engine_speed")})
        log = read_logger(alike.encode(), "log.csv", settled)
        assert channel(log, "engine_speed").name == taken
        assert not [said for said in log.warnings if "twice" in said]


def test_a_name_whose_numbers_it_cannot_have_is_said_with_the_units_that_fit():
    """55 bar is no oil pressure of a petrol engine: common practice, no source."""
    log = read(**{"Engine RPM": ENGINE, "Oil Pressure (bar)": 55 + np.sin(TIME)})
    (said,) = [warning for warning in log.warnings if "sounds like oil_pressure" in warning]
    assert "which no oil pressure does: perhaps it is in kPa or psi" in said
    assert [channel.canonical for channel in log.channels] == ["engine_speed", None]


def test_the_channel_map_has_the_last_word_on_the_sign():
    from runlog.readers.channel_map import read_channel_map

    settled = read_channel_map(b'[channels]\n"Accel X" = { channel = "acceleration_x", invert = false }\n', "m.toml")
    columns = {"Speed (km/h)": SPEED * 3.6, "Accel X (g)": -PULL / G}
    log = read_logger(text(**columns).encode(), "log.csv", settled)
    assert np.corrcoef(channel(log, "acceleration_x").values, PULL)[0, 1] < -0.99
    assert not [warning for warning in log.warnings if "backwards" in warning]


def test_a_doubtful_sign_is_only_said():
    """Backwards, and three times as large as the slope of the speed: something else is wrong as well."""
    log = read(**{"Speed (km/h)": SPEED * 3.6, "Accel X (g)": -3 * PULL / G})
    assert np.corrcoef(channel(log, "acceleration_x").values, PULL)[0, 1] < -0.99
    (said,) = [warning for warning in log.warnings if "backwards" in warning]
    assert "nothing was changed" in said
    assert said.endswith('"Accel X" = { channel = "acceleration_x", invert = true }')


@pytest.mark.parametrize("speed", ["Speed (km/h)", "Driveshaft RPM"])
@pytest.mark.parametrize(("written", "factor", "rather"), [("g", G, "m/s²"), ("m/s²", 1 / G, "g")])
def test_g_against_metres_per_second_squared_is_said_and_not_changed(speed, written, factor, rather):
    values = SPEED * 3.6 if "km" in speed else SHAFT
    true = PULL if written == "m/s²" else PULL / G
    log = read(**{speed: values, f"Accel X ({written})": true * factor})
    np.testing.assert_allclose(channel(log, "acceleration_x").values.max(), factor * PULL.max(), rtol=0.05)
    (said,) = [warning for warning in log.warnings if "times the slope" in warning]
    assert "nothing was changed" in said
    assert said.endswith(f'"Accel X" = {{ channel = "acceleration_x", unit = "{rather}" }}')


def test_a_unit_that_is_not_written_follows_the_speed():
    """Numbers up to 4.7 would be taken for g by their size alone; the speed says that they are m/s²."""
    log = read(**{"Speed (km/h)": 0.3 * SPEED * 3.6, "Accel X": 0.3 * PULL})
    np.testing.assert_allclose(channel(log, "acceleration_x").values.max(), 0.3 * PULL.max(), rtol=0.05)


def test_exchanged_axes_are_said():
    sideways = 0.05 * np.sin(7 * TIME)
    log = read(**{"Driveshaft RPM": SHAFT, "Accel X (g)": sideways, "Accel Y (g)": PULL / G})
    (said,) = [warning for warning in log.warnings if "axes" in warning]
    assert "'Accel Y' shows the slope of 'Driveshaft RPM' and 'Accel X' doesn't" in said
    assert said.endswith('"Accel Y" = "acceleration_x"')


def test_an_honest_file_has_nothing_to_be_said():
    columns = {
        "Engine RPM": ENGINE,
        "Driveshaft RPM": SHAFT,
        "Accel X (g)": PULL / G,
        "Accel Y (g)": 0.02 * np.cos(TIME),
    }
    log = read(**columns)
    assert log.warnings == ()
    assert channel(log, "engine_speed").confidence >= 0.9
    assert channel(log, "acceleration_x").confidence >= 0.9


def test_the_numbers_settle_a_close_call():
    pedal = np.where(TIME < 2, 0.0, np.where(TIME < 10, 100.0, 0.0))
    drift = 50 + 10 * np.sin(TIME) + 3 * np.sin(5.3 * TIME)
    for first, second in ((pedal, drift), (drift, pedal)):
        log = read(**{"Throttle A (%)": first, "Throttle B (%)": second})
        assert channel(log, "throttle").values.max() > 0.9
        assert not [warning for warning in log.warnings if "could be" in warning]


def test_numbers_that_an_engine_cannot_show_make_less_sure():
    honest = channel(read(**{"Engine RPM (rpm)": ENGINE}), "engine_speed")
    negative = channel(read(**{"Engine RPM (rpm)": ENGINE - 3000}), "engine_speed")
    assert honest.confidence > negative.confidence


OPINIONS = [
    ("engine_speed", ENGINE * RPM, 1),
    ("engine_speed", (ENGINE - 3000) * RPM, -1),
    ("engine_speed", SHAFT * RPM, -1),
    ("driveshaft_speed", SHAFT * RPM, 1),
    ("driveshaft_speed", (SHAFT + 900) * RPM, -1),
    ("driveshaft_speed", (SHAFT - 900) * RPM, -1),
    ("throttle", np.where(TIME < 4, 0.0, 1.0), 1),
    ("throttle", 0.5 + 0.1 * np.sin(TIME) * np.sin(3.1 * TIME), -1),
]


@pytest.mark.parametrize(("canonical", "values", "sign"), OPINIONS)
def test_opinions(canonical, values, sign):
    known = {"engine_speed": thinned(TIME, ENGINE * RPM)}
    said = opinion(canonical, thinned(TIME, values), known)
    assert said is not None
    assert np.sign(said.support) == sign
    assert said.why


@given(values=st.lists(st.floats(-1e6, 1e6), max_size=60))
@settings(deadline=None)
def test_any_numbers_are_heard_without_a_fault(values):
    look = thinned(np.arange(len(values), dtype=float), np.array(values))
    for canonical in ("engine_speed", "driveshaft_speed", "throttle", "oil_pressure"):
        said = opinion(canonical, look, {"engine_speed": look})
        assert said is None or -1 <= said.support <= 1
    found = compare(look, look)
    assert found is None or -1.001 <= found.correlation <= 1.001


@pytest.mark.parametrize("factor", [-2.0, -1.0, 0.1, 1.0, 9.8])
def test_an_accelerometer_against_the_slope_it_was_made_from(factor):
    """Sampled at other times than the speed; the slope is known in closed form."""
    found = compare(Look(TIME[3::3], factor * PULL[3::3]), Look(TIME, SPEED))
    assert found is not None
    assert found.correlation == pytest.approx(np.sign(factor), abs=0.02)
    assert found.times_slope == pytest.approx(factor, rel=0.03)
