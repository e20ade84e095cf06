"""Finding the table: competing interpretations, preambles, encodings. What is right is plain from each text."""

from __future__ import annotations

import pytest

from runlog.readers.cells import Kind, is_number, kind_of, split_line, to_number
from runlog.readers.headers import read_heading, unique_names
from runlog.readers.lines import lines_of
from runlog.readers.preamble import read_preamble
from runlog.readers.sniff import sniff
from runlog.readers.text import read_text


@pytest.mark.parametrize(
    ("cell", "decimal", "kind"),
    [
        ("1.5", ".", Kind.NUMBER),
        ("-.5e-3", ".", Kind.NUMBER),
        ("1,234.5", ".", Kind.NUMBER),
        ("1,5", ".", Kind.WORDS),
        ("1,5", ",", Kind.NUMBER),
        ("1.234,5", ",", Kind.NUMBER),
        ("1.5", ",", Kind.WORDS),
        ("1_000", ".", Kind.WORDS),
        ("", ".", Kind.GAP),
        ("NaN", ".", Kind.GAP),
        ("---", ".", Kind.GAP),
        ("#DIV/0!", ".", Kind.GAP),
        ("10:15:30", ".", Kind.CLOCK),
        ("1:02.345", ".", Kind.CLOCK),
        ("10:75:30", ".", Kind.WORDS),
        ("2031-04-12", ".", Kind.DATE),
        ("12.04.2031", ",", Kind.DATE),
        ("4/12/31 1:02:03 PM", ".", Kind.DATE_TIME),
        ("2031-04-12T10:15:30.5+02:00", ".", Kind.DATE_TIME),
        ("launch", ".", Kind.WORDS),
    ],
)
def test_kinds_of_cells(cell, decimal, kind):
    assert kind_of(cell, decimal) is kind


def test_numbers_with_grouped_thousands():
    assert to_number("1,234.5", ".") == to_number("1.234,5", ",") == 1234.5
    assert to_number("x", ".") is None
    assert not is_number("12,34.5", ".")


def test_lines_are_cut_with_respect_for_quotes():
    assert split_line('a,"b, c" , d', ",") == ["a", "b, c", "d"]
    assert split_line('s,",rpm', ",") == ["s", '"', "rpm"]


def test_a_quoted_cell_over_two_lines_is_one_line_and_counted_as_two():
    assert [(line.number, line.text) for line in lines_of(b'"a\nb",c\nd,e\n')] == [(1, '"a b",c'), (3, "d,e")]


# the same digits under rival readings: text, delimiter, decimal
RIVALS = [
    ("Zeit;A;B\n0,01;1,5;2,5\n0,02;1,6;2,6\n0,03;1,7;2,7\n", ";", ","),
    ("Time,A,B\n0,1,2\n1,1,2\n2,1,2\n", ",", "."),
    ("Time\tA\n0,100\t1,234\n0,200\t1,235\n0,300\t1,236\n", "\t", ","),
    ("Time;A\n0;1\n1;2\n2;3\n", ";", "."),
    ("Time;A\n" + "".join(f"{i};{i}\n" for i in range(200)) + "200;0,5\n", ";", ","),
    ('Time|"A, B"\n0.1|1\n0.2|2\n0.3|3\n', "|", "."),
    ("Note: a, b, c, d, e\nTime;A\n0.1;1\n0.2;2\n0.3;3\n", ";", "."),
    ("A\n0,5\n0,6\n0,7\n", None, ","),
]


@pytest.mark.parametrize(("text", "delimiter", "decimal"), RIVALS)
def test_rival_interpretations(text, delimiter, decimal):
    layout = sniff(text.encode())
    assert layout is not None
    assert layout.decimal == decimal
    assert delimiter is None or layout.delimiter == delimiter


def test_numbers_in_the_preamble_are_not_samples():
    preamble = "Run,7\nLane,2\nSamples,3,3\nOffset,0.0,0.0\n\n"
    layout = sniff((preamble + "Time,A,B\n0.1,5,6\n0.2,5,6\n0.3,5,6\n0.4,5,6\n0.5,5,6\n").encode())
    assert layout is not None
    assert (layout.header_line, layout.first_data_line, layout.names) == (6, 7, ("Time", "A", "B"))
    assert [number for number, _ in layout.preamble] == [1, 2, 3, 4]


def test_units_above_the_names():
    layout = sniff(b"s,rpm,psi\nTime,Engine,Oil\n0.1,5,6\n0.2,5,6\n0.3,5,6\n")
    assert layout is not None
    assert (layout.names, layout.unit_row) == (("Time", "Engine", "Oil"), ("s", "rpm", "psi"))


def test_lowest_and_highest_values_above_the_samples_are_no_samples():
    layout = sniff(b"Time,A,B\ns,V,V\nMin,1,2\nMax,9,8\n0.1,5,6\n0.2,5,6\n0.3,5,6\n")
    assert layout is not None
    assert (layout.header_line, layout.first_data_line) == (1, 5)


@pytest.mark.parametrize("text", ["", "only words\nand more, words\n", "Time,RPM\n"])
def test_no_table(text):
    assert sniff(text.encode()) is None


@pytest.mark.parametrize(
    ("cell", "below", "name", "unit"),
    [
        ("Speed [km/h]", "", "Speed", "km/h"),
        ("Oil Pressure (psi)", "", "Oil Pressure", "psi"),
        ("Oil Pressure {bar}", "", "Oil Pressure", "bar"),
        ("Drehzahl / 1/min", "", "Drehzahl", "1/min"),
        ("oil_psi", "", "oil_psi", "psi"),
        ("Speed km/h", "", "Speed km/h", "km/h"),
        ("Response (Trigger)", "", "Response (Trigger)", ""),
        ("Response (Trigger)", "m/s^2", "Response (Trigger)", "m/s^2"),
        ("Altitude (Ft-AGL)", "", "Altitude", "Ft-AGL"),
        ("Fuel [ccps]", "", "Fuel", "ccps"),
        ("Speed", "[mph]", "Speed", "mph"),
        ("Accel X", "", "Accel X", ""),
        ("Throttle A", "", "Throttle A", ""),
    ],
)
def test_names_and_units_of_header_cells(cell, below, name, unit):
    heading = read_heading(cell, below)
    assert (heading.name, heading.unit) == (name, unit)


def test_names_are_made_unique_and_never_collide():
    assert unique_names(["A", "A", "", "A (2)", "A"]) == ["A", "A (2)", "column 3", "A (2) (2)", "A (3)"]


@pytest.mark.parametrize(
    ("cells", "rate"),
    [
        (("Sample Rate", "100", "Hz"), 100),
        (("Sample Rate: 1 kHz",), 1000),
        (("# Logging rate 200 Hz",), 200),
        (("Sampling frequency [Hz]", "250"), 250),
        (("Abtastrate = 50 Hz",), 50),
        (("Sample Interval (ms)", "20"), 50),
        (("Delta_X", "0.001"), 1000),
        (("Sample period", "5 ms"), 200),
        (("Baud rate", "115200"), None),
        (("Two step", "5200", "rpm"), None),
        (("Heart rate", "140"), None),
    ],
)
def test_sample_rates_above_the_table(cells, rate):
    assert read_preamble([(1, cells)], ".").rate_hz == (None if rate is None else pytest.approx(rate))


@pytest.mark.parametrize(
    ("text", "date"),
    [
        ("Date: 12 April 2031", (2031, 4, 12)),
        ("Recorded,Apr 12, 2031", (2031, 4, 12)),
        ("Datum;12.04.31", (2031, 4, 12)),
    ],
)
def test_dates_above_the_table(text, date):
    found = read_preamble([(1, tuple(text.replace(";", ",").split(",")))], ".").date
    assert found is not None
    assert (found.year, found.month, found.day) == date


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1", "cp1252", "utf-32"]
)
def test_encodings_decode_what_was_written(encoding):
    text = "Zeit [s];Öltemp [°C]\n0,0;90\n" + ("– €\n" if encoding == "cp1252" else "")
    found = read_text(text.encode(encoding))
    assert found is not None
    assert text.encode(encoding).decode(found.encoding) == text
    assert found.data.decode() == text


@pytest.mark.parametrize(
    "content", [bytes(range(256)), b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" * 9, b"PAR1\x15\x04\x00\x00" * 9]
)
def test_bytes_that_are_no_text(content):
    assert read_text(content) is None
