"""Encoding, quoting, marks, header and time decided together. What is right is plain from how each text was made."""

from __future__ import annotations

import codecs

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runlog.readers.encodings import possible
from runlog.readers.explain import explain
from runlog.readers.logger_csv import read_logger
from runlog.readers.understand import understand

ROWS = "".join(f"{n / 10:.1f},{90 + n},{n / 7:.2f}\n" for n in range(12))
HEAD = "Time (s),Oil Temp (°C),Injection (µs)\n"


def units_of(log):
    return {channel.name: channel.unit for channel in log.channels}


@pytest.mark.parametrize(
    ("encoding", "found"),
    [
        ("utf-8", "utf-8"),
        ("utf-8-sig", "utf-8-sig"),
        ("latin-1", "latin-1"),
        ("cp1252", "latin-1"),
        ("cp437", "cp850"),  # alike in the signs of units
        ("cp850", "cp850"),
        ("mac-roman", "mac-roman"),
        ("utf-16-le", "utf-16-le"),
    ],
)
def test_the_encoding_is_the_one_in_which_the_units_are_units(encoding, found):
    log = read_logger((HEAD + ROWS).encode(encoding), "log.csv")
    assert log.encoding == found
    assert units_of(log) == {"Oil Temp": "°C", "Injection": "µs"}


def test_a_stray_byte_does_not_turn_utf_8_into_something_else():
    """One byte of a remark was damaged; units and names in the same file are whole."""
    content = ("Météo: sec, frais, été\n" + HEAD + ROWS).encode().replace(b"sec", b"s\xe9c")
    log = read_logger(content, "log.csv")
    assert log.encoding == "utf-8"
    assert units_of(log)["Oil Temp"] == "°C"


def test_a_mark_that_the_bytes_contradict_is_not_believed():
    log = read_logger(codecs.BOM_UTF8 + (HEAD + ROWS).encode("latin-1"), "log.csv")
    assert units_of(log)["Oil Temp"] == "°C"


def test_letters_without_units_are_read_as_they_are_usual():
    """ø is a letter in Latin-1 and the degree's place in older code pages: without a unit the usual one wins."""
    log = read_logger(("Time (s),Køler,Smøring\n" + ROWS).encode("latin-1"), "log.csv")
    assert log.encoding == "latin-1"
    assert [channel.name for channel in log.channels] == ["Køler", "Smøring"]


def test_plain_bytes_can_be_one_encoding_only():
    assert possible(b"a,b\n1,2\n") == {"utf-8": 1.0}
    assert possible(b"\x00\x01\x02\x03\x04") == {}


def test_single_quotes():
    text = "'Time (s)','Oil, rear (psi)'\n" + "".join(f"'{n / 10:.1f}','{40 + n}'\n" for n in range(12))
    log = read_logger(text.encode(), "log.csv")
    assert [channel.name for channel in log.channels] == ["Oil, rear"]
    assert log.rows == 12


def test_inches_and_feet_are_no_quotes():
    text = "Time (s),Travel '\n" + "".join(f"{n / 10:.1f},{n}\n" for n in range(12))
    assert understand(text.encode()).layout.quote == '"'


@pytest.mark.parametrize(
    ("delimiter", "decimal", "thousands", "quoted"),
    [
        (";", ".", ",", False),
        (";", ",", ".", False),
        (",", ".", ",", True),
        ("\t", ".", "'", False),
        (";", ",", " ", False),
    ],
)
def test_thousands_among_smaller_numbers(delimiter, decimal, thousands, quoted):
    """987 before 1,012: whole numbers that go on beyond a thousand."""
    values = [960 + 13 * n for n in range(14)]
    quote = '"' if quoted else ""
    cells = [quote + f"{value:,}".replace(",", thousands) + quote for value in values]
    times = [f"{n / 10:.1f}".replace(".", decimal) for n in range(14)]
    text = f"Time (s){delimiter}Engine RPM\n" + "".join(
        f"{time}{delimiter}{cell}\n" for time, cell in zip(times, cells, strict=True)
    )
    log = read_logger(text.encode(), "log.csv")
    assert (log.channels[0].values * 30 / np.pi).round(6).tolist() == values


def test_three_decimals_throughout_are_decimals():
    text = "Time (s);Boost (bar)\n" + "".join(f"0,{n:02d};{1 + n / 50:.3f}\n".replace(".", ",") for n in range(20))
    layout = understand(text.encode()).layout
    assert (layout.decimal, layout.thousands) == (",", "")


@settings(deadline=None, max_examples=60)
@given(values=st.lists(st.integers(0, 99_999_999), min_size=6, max_size=20))
def test_whole_numbers_grouped_or_not_read_alike(values):
    """Grouped beyond doubt: one number of each table has two groups."""
    values = [*values, 1_234_567]
    rows = [f"{n / 10:.1f};{{}}\n" for n in range(len(values))]
    plain = "Time (s);Count of pulses\n" + "".join(row.format(value) for row, value in zip(rows, values, strict=True))
    grouped = "Time (s);Count of pulses\n" + "".join(
        row.format(f"{value:,}") for row, value in zip(rows, values, strict=True)
    )
    one, other = (read_logger(text.encode(), "log.csv") for text in (plain, grouped))
    assert one.channels[0].values.tolist() == other.channels[0].values.tolist()


def test_a_remark_between_names_and_samples_is_not_the_header():
    text = HEAD + "note,calibrated,\n" + ROWS
    layout = understand(text.encode()).layout
    assert (layout.header_line, layout.first_data_line, layout.time) == (1, 3, "Time (s)")


def test_the_explanation_has_every_encoding_and_what_it_lost_by():
    told = explain((HEAD + ROWS).encode("cp850"), "log.csv")
    chosen, *others = told.interpretations
    assert (chosen.encoding, chosen.chosen, chosen.time) == ("cp850", True, "Time (s)")
    assert {read.encoding for read in others} >= {"latin-1", "mac-roman", "utf-8"}
    assert all(read.score <= chosen.score for read in others)
    latin = next(read for read in others if read.encoding == "latin-1")
    assert dict(latin.weights)["signs of units"] < dict(chosen.weights)["signs of units"] == 1.0
    assert next(choice for choice in told.choices if choice.what == "encoding").why.startswith("its bytes beyond ASCII")
