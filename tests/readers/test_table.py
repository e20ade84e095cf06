"""Hand-made tables in the dialects that spreadsheets write, and how broken ones are refused."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.problems import FileFaults, Problems
from runlog.readers.table import Cells, Row, header_of, match_columns, normal, number, read_table

PLAIN = "item,value\nlaunch rpm,4200\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends(encoding, end):
    table = read_table("item,valué\nlaunch rpm,4200\n".replace("\n", end).encode(encoding), "t.csv")
    assert table.columns == ("item", "valué")
    assert table.rows == (Row(2, {"item": "launch rpm", "valué": "4200"}),)


@pytest.mark.parametrize(("mark", "decimal_comma"), [(",", False), (";", True), ("\t", True)])
def test_delimiters(mark, decimal_comma):
    table = read_table(PLAIN.replace(",", mark).encode(), "t.csv")
    assert table.rows[0].cells == {"item": "launch rpm", "value": "4200"}
    assert table.decimal_comma is decimal_comma


def test_blank_lines_blank_cells_and_short_rows():
    table = read_table(b"\n a , b ,c,\n\n1, ,3\n4\n,,,\n", "t.csv")
    assert table.columns == ("a", "b", "c", "")
    assert table.rows == (Row(4, {"a": "1", "c": "3"}), Row(5, {"a": "4"}))


def test_a_quoted_cell_may_hold_the_delimiter_and_a_line_end():
    table = read_table(b'a,b\n"1,2","x\ny"\n3,4\n', "t.csv")
    assert table.rows == (Row(3, {"a": "1,2", "b": "x\ny"}), Row(4, {"a": "3", "b": "4"}))


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "t.csv: found an empty file; accepted: a table with a header line"),
        (b"\xef\xbb\xbf \n", "an empty file"),
        (b",,\n", "an empty file"),
        (b'""\n', "an empty file"),
        (b"\xff\xfe \x00", "an empty file"),
        (b"\x1c\n\n", "an empty file"),
        (b"PK\x03\x04\x00\x00\x08\x00", "byte 4: found binary data; accepted: text with comma"),
        (b"a,b\n", "line 1: found a header and nothing below it; accepted: at least one row"),
        (b"a,b\n1,2,3\n", "line 2: found 3 cells; accepted: at most 2, as in the header"),
        (b"a,,c\n1,2,3\n", "line 2, cell 2: found '2'; accepted: nothing where the header has no name"),
        (
            b"a,A \n1,2\n",
            "(?s)the column 'a' more than once.*the column 'A' more than once.*accepted: each column once",
        ),
        (b'a,b\n1,2\n3,"4\n5,6\n', "line 3: found a quote that isn't closed.*a quote inside a quoted cell is written"),
        (b'a,b\n1,"2"x\n', "line 2: found a quote that isn't closed or stands inside a quoted cell"),
    ],
)
def test_what_is_refused(content, message):
    with pytest.raises(FileFaults, match=message):
        read_table(content, "t.csv")


def test_an_open_quote_before_much_text_is_refused_like_any_other():
    with pytest.raises(FileFaults, match="line 2: found a quote"):
        read_table(b'a,b\n1,"' + b"x" * 200_000, "t.csv")


def test_all_faults_at_once():
    with pytest.raises(FileFaults) as caught:
        read_table(b"a,b\n1,2,3\n4,5\n6,7,,8\n", "t.csv")
    assert [problem.place for problem in caught.value.problems] == ["line 2", "line 4"]


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", ()),
        (b"\n\n", ()),
        (b"\xff\xfea", ("",)),  # half a character
        (b"\x00\x01\x02\x03", ()),
        (b"\n Time (s) ; Temperature [\xb0F]\n1;2\n", ("time_s", "temperature_°f")),
        ("Zeit,Öl\n".encode("utf-16"), ("zeit", "öl")),
    ],
)
def test_the_header_is_found_without_reading_the_table(content, expected):
    assert header_of(content) == expected


def test_names_are_compared_without_case_and_marks():
    assert normal(" 60' ") == "60"
    assert normal("R/T (s)") == "r_t_s"
    assert match_columns(("X", "Run No"), {"run": ("run_no",), "car": ()}) == {"run": "Run No"}


@pytest.mark.parametrize(
    ("cell", "decimal_comma", "expected"),
    [
        ("1.412", False, 1.412),
        (" +5. ", False, 5.0),
        (".5", False, 0.5),
        ("1e3", False, 1000.0),
        ("1,412", True, 1.412),
        ("1.412", True, 1.412),
        ("1,412", False, None),
        ("1.234,5", True, None),
        ("1,2,3", True, None),
        ("nan", False, None),
        ("inf", False, None),
        ("1e999", False, None),
        ("", False, None),
        ("4 200", False, None),
        ("0x10", False, None),
    ],
)
def test_numbers(cell, decimal_comma, expected):
    assert number(cell, decimal_comma=decimal_comma) == expected


@given(st.floats(-1e6, 1e6).filter(lambda value: value == 0 or abs(value) > 1e-99), st.booleans())
def test_a_number_that_is_written_is_read(value, decimal_comma):
    text = repr(value).replace(".", ",") if decimal_comma else repr(value)
    assert number(text, decimal_comma=decimal_comma) == value


TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z"), exclude_characters=","), min_size=1)


@given(st.lists(st.tuples(TEXT, st.text("abc ,;\"'é\n", max_size=8)), min_size=1, max_size=6))
def test_a_table_that_is_written_is_read(rows):
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(("name", "note"))
    writer.writerows(rows)
    table = read_table(text.getvalue().encode(), "t.csv")
    expected = [{"name": name, "note": note.strip()} for name, note in rows]
    assert [dict(row.cells) for row in table.rows] == [
        {column: cell for column, cell in row.items() if cell} for row in expected
    ]


def test_cells_name_the_column_as_the_file_does():
    problems = Problems("t.csv")
    cells = Cells(Row(7, {"t60_s": "9x"}), problems, decimal_comma=False, written={"t60_s": "60 ft"})
    assert cells.number("t60_s", "seconds", 0, 99) is None
    assert cells.number("t330_s", "seconds", 0, 99) is None
    assert [str(problem) for problem in problems.found] == [
        "t.csv, line 7, column 60 ft: found '9x'; accepted: seconds from 0 to 99"
    ]


@pytest.mark.parametrize(("cell", "expected"), [("3", 3), ("3.0", 3), (None, None)])
def test_whole_numbers(cell, expected):
    problems = Problems("t.csv")
    cells = Cells(Row(1, {"run": cell} if cell else {}), problems, decimal_comma=False)
    assert cells.whole("run", "a run number", 1, 99) == expected
    assert not problems.found


@pytest.mark.parametrize(("cell", "accepted"), [("2.5", "a run number, a whole number"), ("0", "a run number from 1")])
def test_other_numbers_are_not_whole(cell, accepted):
    problems = Problems("t.csv")
    assert Cells(Row(1, {"run": cell}), problems, decimal_comma=False).whole("run", "a run number", 1, 99) is None
    assert problems.found[0].accepted.startswith(accepted)
