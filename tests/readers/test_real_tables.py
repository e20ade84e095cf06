"""Tables of real measurements that come with general-purpose packages, against Python's own csv module and numpy.

They are no logger exports: a sample rate is given, so that every numeric column is read as a channel. What must hold is
that the values are those of the file, whatever it looks like.
"""

from __future__ import annotations

import csv
import datetime as dt
import gzip
import importlib.util
import io
from pathlib import Path

import numpy as np
import pytest

from runlog.readers.channel_map import ChannelMap
from runlog.readers.logger import read_recordings
from runlog.readers.packed import unpack


def folder(package: str, inside: str) -> Path:
    found = importlib.util.find_spec(package)
    assert found is not None
    assert found.origin is not None
    return Path(found.origin).parent / inside


STATSMODELS = folder("statsmodels", "datasets")
SKLEARN = folder("sklearn", "datasets/data")
NO_RECORDINGS = {
    "fertility": "a table of countries: four columns of words, then figures that are mostly missing",
}
TABLES = sorted(path for path in STATSMODELS.glob("*/*.csv") if path.stem not in NO_RECORDINGS)
HEADERLESS = ("E6_jmulti",)


def number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return float("nan")


def by_csv(path: Path) -> tuple[list[str], np.ndarray]:
    """Return names and numbers (nan where a cell is none) by the csv module, in the dialect that its sniffer finds."""
    text = path.read_text("latin-1")
    first = text.splitlines()[0]
    delimiter = max(",;\t ", key=first.count)
    rows = [row for row in csv.reader(text.splitlines(), delimiter=delimiter) if row]
    if path.stem in HEADERLESS:
        rows.insert(0, [f"column {place}" for place in range(1, len(rows[0]) + 1)])
    names = [name.strip() for name in rows[0]]
    return names, np.array([[number(cell) for cell in row[: len(names)]] for row in rows[1:]])


def test_there_are_tables() -> None:
    assert len(TABLES) >= 15
    assert {"sunspots", "co2", "elnino", "macrodata"} <= {path.stem for path in TABLES}


@pytest.mark.parametrize("path", TABLES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_every_column_of_numbers_is_read(path: Path) -> None:
    names, values = by_csv(path)
    # every channel under its own name, in its own numbers: a map without rules, at one sample a second
    (log,) = read_recordings(path.read_bytes(), path.name, ChannelMap(rate_hz=1.0))
    assert log.rows == len(values)
    own = [channel for channel in log.channels if channel.canonical is None and channel.unit == ""]
    found = {channel.name: channel for channel in own}
    compared = 0
    for column, name in enumerate(names):
        finite = np.isfinite(values[:, column])
        if names.count(name) > 1 or not name or name not in found or not finite.any():
            continue
        channel = found[name]
        expected = values[finite, column]
        if channel.values.size != expected.size:
            continue
        np.testing.assert_array_equal(channel.values, expected)
        compared += 1
    numeric = sum(bool(np.isfinite(values[:, column]).mean() > 0.9) for column in range(len(names)))
    assert compared >= numeric - 2  # one may count the samples, one may be known by its name


@pytest.mark.parametrize("name", ["digits.csv.gz", "diabetes_target.csv.gz"])
def test_packed_tables_without_a_header(name: str) -> None:
    path = SKLEARN / name
    expected = np.loadtxt(io.BytesIO(gzip.decompress(path.read_bytes())), delimiter=",", ndmin=2)
    opened = unpack(path.read_bytes(), name)
    (log,) = read_recordings(opened.content, opened.name, None, rate_hz=10.0)
    assert (log.rows, len(log.channels), log.header_line) == (*expected.shape, 0)
    for place, channel in enumerate(log.channels):
        np.testing.assert_array_equal(channel.values, expected[:, place])
        np.testing.assert_allclose(channel.time, np.arange(len(expected)) / 10.0)


def test_dates_with_the_months_name_in_front_are_its_time() -> None:
    """``Jan-1-1995`` and so on, a line a month, against Python's own parser of dates."""
    path = STATSMODELS / "elec_equip" / "elec_equip.csv"
    (log,) = read_recordings(path.read_bytes(), path.name)
    lines = path.read_text().splitlines()[1:]
    days = [dt.datetime.strptime(line.split(",")[0], "%b-%d-%Y") for line in lines]
    assert log.started_at == days[0] == dt.datetime(1995, 1, 1)
    (channel,) = log.channels
    assert channel.time.tolist() == [(day - days[0]).total_seconds() for day in days]
