"""Parquet and ASAM MDF 4, written by polars and by the library for MDF."""

from __future__ import annotations

import datetime as dt
import io
import sys

import numpy as np
import polars as pl
import pytest

from runlog.problems import FileFaults
from runlog.readers.detect import kind_of
from runlog.readers.logger import read_recordings

RPM = np.pi / 30  # [rad/s] definition of the revolution per minute
G = 9.80665  # [m/s²] ISO 80000-3
TIME = np.arange(200) / 100
SPEED = 1000 + 20 * np.arange(200.0)


def parquet(**columns):
    buffer = io.BytesIO()
    pl.DataFrame(columns).write_parquet(buffer)
    return buffer.getvalue()


def read(content, **options):
    (log,) = read_recordings(content, "log", **options)
    return log


def channel(log, name):
    return next(item for item in log.channels if name in (item.name, item.canonical))


START = dt.datetime(2031, 4, 12, 10, 20)
STEPS = [dt.timedelta(milliseconds=10 * n) for n in range(200)]
TIMES = {
    "seconds": TIME,
    "milliseconds": np.arange(0, 2000, 10),
    "durations": STEPS,
    "date-times": [START + step for step in STEPS],
    "clock": [(START + step).time() for step in STEPS],
    "clock as text": [f"10:20:{t:06.3f}" for t in TIME],
}


@pytest.mark.parametrize("written", TIMES)
def test_parquet_times_of_every_type(written):
    name = "Time [ms]" if written == "milliseconds" else "Time"
    content = parquet(**{name: TIMES[written], "Engine RPM [rpm]": SPEED, "Note": ["x"] * 200, "On": [True] * 200})
    log = read(content)
    speed = channel(log, "engine_speed")
    np.testing.assert_allclose(speed.time, TIME, atol=1e-9)
    np.testing.assert_allclose(speed.values, SPEED * RPM)
    assert (log.rows, log.encoding, log.delimiter) == (200, "", "")
    assert log.started_at == (START if written == "date-times" else None)
    assert any("'Note' holds words" in text for text in log.warnings)
    assert channel(log, "On").values.tolist() == [1.0] * 200


def test_parquet_gaps_and_units_in_names():
    values = [None if n % 3 else float(n) for n in range(200)]
    log = read(parquet(**{"time_s": TIME, "oil_pressure_psi": values, "list": [[1.0]] * 200}))
    pressure = channel(log, "oil_pressure")
    assert pressure.time.tolist() == TIME[::3].tolist()
    np.testing.assert_allclose(pressure.values[1], 3 * 6894.757, rtol=1e-6)  # NIST SP 811, appendix B: psi
    assert [item.name for item in log.channels] == ["oil_pressure_psi"]


def test_parquet_reads_as_its_csv():
    """The same table by polars' own CSV writer."""
    frame = pl.DataFrame({"Time [s]": TIME, "Engine RPM [rpm]": SPEED, "Accel X [g]": np.sin(TIME)})
    content = io.BytesIO()
    frame.write_parquet(content)
    one, other = read(content.getvalue()), read(frame.write_csv().encode())
    assert one.fingerprint == other.fingerprint
    for a, b in zip(one.channels, other.channels, strict=True):
        assert (a.name, a.canonical, a.unit, a.confidence) == (b.name, b.canonical, b.unit, b.confidence)
        np.testing.assert_array_equal(a.time, b.time)
        np.testing.assert_array_equal(a.values, b.values)


@pytest.mark.parametrize(
    ("content", "text"),
    [
        (parquet(a=[1.0] * 9)[:40], "a Parquet file that can't be read"),
        (parquet(a=pl.Series([], dtype=pl.Float64)), "a Parquet file without rows"),
        (parquet(Pressure=SPEED), "no time base"),
        (parquet(Time=TIME[[0, 5, 3, 9]], Speed=SPEED[:4]), r"sample 3, column Time: found time falls"),
    ],
)
def test_parquet_faults(content, text):
    with pytest.raises(FileFaults, match=text):
        read(content)


def test_a_parquet_bomb_is_refused_before_it_is_unpacked(monkeypatch):
    monkeypatch.setattr("runlog.readers.binary._MOST_CELLS", 1000)
    with pytest.raises(FileFaults, match="found 2,000 rows of 1 columns; accepted: at most 1,000 cells"):
        read(parquet(a=[1.0] * 2000))


def mdf(start=START, **options):
    library = pytest.importorskip("asammdf")
    file = library.MDF(version="4.10")
    signal = library.Signal
    fast = [
        signal(SPEED, TIME, unit="rpm", name="Engine RPM"),
        signal(np.sin(TIME), TIME, unit="g", name="Accel X"),
    ]
    file.append(fast, common_timebase=True)
    file.append([signal(np.arange(20.0), TIME[::10], unit="psi", name="Oil Pressure")])
    file.start_time = start
    buffer = io.BytesIO()
    file.save(buffer)
    file.close()
    return buffer.getvalue()


def test_mdf_groups_are_time_bases():
    content = mdf()
    assert kind_of(content, "x.mf4") == "logger"
    log = read(content)
    assert [round(base.rate_hz) for base in log.times] == [100, 10]
    np.testing.assert_allclose(channel(log, "engine_speed").values, SPEED * RPM)
    np.testing.assert_allclose(channel(log, "acceleration_x").values, np.sin(TIME) * G)
    np.testing.assert_allclose(channel(log, "oil_pressure").time, TIME[::10])
    assert log.started_at == START


def test_mdf_start_with_an_offset_is_local():
    zone = dt.timezone(dt.timedelta(hours=-5))
    assert read(mdf(START.replace(tzinfo=zone))).started_at == START


def test_mdf_cut_off_is_one_error():
    with pytest.raises(FileFaults, match=r"an ASAM MDF file (that can't be read|without samples)"):
        read(mdf()[:900])


def test_mdf_without_its_library_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "asammdf", None)
    with pytest.raises(FileFaults, match=r"Install what reads it with: pip install 'runlog\[mdf\]'"):
        read(b"MDF     4.10    " + bytes(500))
