"""Workbooks. Oracle: xlsxwriter writes what is read; what is hostile is put together by hand from ECMA-376's parts."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from typing import TYPE_CHECKING, Any

import pytest
import xlsxwriter

from runlog.problems import FileFaults
from runlog.readers import detect, packed, workbook
from runlog.readers.air import read_air
from runlog.readers.logger import read_recordings
from runlog.readers.packed import unpack
from runlog.readers.sheet import read_sheets
from runlog.readers.slip import read_slips

if TYPE_CHECKING:
    from collections.abc import Sequence


def written(*sheets: Sequence[Sequence[Any]], top: int = 0, left: int = 0) -> bytes:
    """Return a workbook with these sheets, each a list of rows; dates and times as a spreadsheet keeps them."""
    whole = io.BytesIO()
    with xlsxwriter.Workbook(whole, {"in_memory": True, "strings_to_formulas": False}) as book:
        formats = {
            dt.date: book.add_format({"num_format": "yyyy-mm-dd"}),
            dt.time: book.add_format({"num_format": "hh:mm"}),
            dt.datetime: book.add_format({"num_format": "yyyy-mm-dd hh:mm"}),
        }
        for rows in sheets:
            sheet = book.add_worksheet()
            for n, row in enumerate(rows, top):
                for k, cell in enumerate(row, left):
                    if type(cell) in formats:
                        sheet.write_datetime(n, k, cell, formats[type(cell)])
                    elif cell is not None:
                        sheet.write(n, k, cell)
    return whole.getvalue()


def text(content: bytes) -> list[str]:
    return workbook.workbook_csv(content, "x.xlsx").decode().splitlines()


def test_cells_are_as_they_would_be_typed():
    rows = [
        ["car", "date", "time", "at", "value", "note"],
        ["heron", dt.date(2031, 4, 12), dt.time(10, 20), dt.datetime(2031, 4, 12, 10, 5), 6.5, "a, b"],
        ["heron", dt.date(2031, 4, 13), dt.time(0, 5), dt.datetime(2031, 4, 13), 7, None],
        ["heron", None, None, None, 0.1 + 0.2, 'say "so"'],
    ]
    assert text(written(rows)) == [
        "car,date,time,at,value,note",
        'heron,2031-04-12,10:20:00,2031-04-12 10:05:00,6.5,"a, b"',
        "heron,2031-04-13,00:05:00,2031-04-13 00:00:00,7,",
        'heron,,,,0.3,"say ""so"""',
    ]


def test_rows_keep_their_numbers_so_that_a_fault_names_the_line_of_the_sheet():
    content = written([["item", "value"], ["launch rpm", "soon"]], top=4, left=2)
    assert text(content)[:4] == [""] * 4
    assert text(content)[4].endswith("item,value")


SHEET = [
    ["car", "date", "run", "item", "value", "unit"],
    ["teal", dt.date(2031, 4, 12), 2, "tow hook height", 6.5, "in"],
]
SLIPS = [["car", "date", "run", "time", "60", "330"], ["teal", dt.date(2031, 4, 12), 1, dt.time(10, 20), 1.412, 3.85]]
AIR = [
    ["time", "temperature_F", "relative_humidity_pct", "station_pressure_inHg"],
    [dt.datetime(2031, 4, 12, 10, 5), 61, 56, 29.89],
]
LOG = [["Time (s)", "Engine RPM"], *([n / 10, 1000 + n] for n in range(60))]


def test_a_setup_sheet(teal_cars):
    [sheet] = read_sheets(unpack(written(SHEET), "s.xlsx").content, "s.xlsx", teal_cars)
    assert (sheet.date, sheet.number) == (dt.date(2031, 4, 12), 2)
    assert [(entry.item, entry.value, entry.unit) for entry in sheet.entries] == [("tow hook height", 6.5, "in")]


def test_slips():
    [slip] = read_slips(unpack(written(SLIPS), "s.xlsx").content, "s.xlsx")
    assert (str(slip.key), slip.time, slip.times) == ("teal/2031-04-12/1", dt.time(10, 20), {60: 1.412, 330: 3.85})


def test_air():
    [(_, air)] = read_air(unpack(written(AIR), "a.xlsx").content, "a.xlsx")
    assert air.time == dt.datetime(2031, 4, 12, 10, 5)
    assert air.temperature == pytest.approx((61 + 459.67) * 5 / 9)


def test_a_log():
    [log] = read_recordings(unpack(written(LOG), "l.xlsx").content, "l.xlsx")
    [engine] = [channel for channel in log.channels if channel.canonical == "engine_speed"]
    assert engine.time.tolist() == pytest.approx([n / 10 for n in range(60)])
    assert engine.values.size == 60


@pytest.mark.parametrize(("rows", "kind"), [(SHEET, "sheet"), (SLIPS, "slips"), (AIR, "air"), (LOG, "logger")])
def test_what_it_is_is_told_from_what_is_in_it(rows, kind):
    assert detect.kind_of(written(rows), "x.xlsx") == kind
    assert detect.kind_of(written(rows, []), "x.xlsx") == kind  # an empty second sheet says nothing


def test_several_filled_sheets_are_named_and_refused():
    with pytest.raises(FileFaults, match=r"2 filled sheets \(Sheet1, Sheet2\); accepted: .* one filled"):
        text(written(SHEET, SLIPS))


def test_no_filled_sheet_is_refused():
    with pytest.raises(FileFaults, match="a workbook without a filled sheet"):
        text(written([]))


def parts(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def zipped(members: dict[str, bytes]) -> bytes:
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return whole.getvalue()


def test_a_small_workbook_that_unpacks_to_hundreds_of_megabytes_is_refused(monkeypatch):
    monkeypatch.setattr(workbook, "LARGEST", 1 << 22)
    members = parts(written(SHEET))
    members["xl/worksheets/sheet1.xml"] += b" " * (1 << 23)
    content = zipped(members)
    assert len(content) < 1 << 15
    with pytest.raises(FileFaults, match="unpacks to more than 4 MB; accepted: at most 4 MB"):
        text(content)


def test_many_parts_that_are_each_small_are_counted_together(monkeypatch):
    monkeypatch.setattr(workbook, "LARGEST", 1 << 22)
    members = parts(written(SHEET)) | {f"xl/x{n}.xml": b" " * (1 << 20) for n in range(8)}
    with pytest.raises(FileFaults, match="unpacks to more than 4 MB"):
        text(zipped(members))


def test_a_part_longer_than_the_zip_says_is_refused():
    """The list of a zip's parts can lie about their size; a reader that believes the stream would unpack all of it."""
    whole = io.BytesIO(zipped(parts(written(SHEET)) | {"xl/extra.xml": b"x" * 100_000}))
    content = bytearray(whole.getvalue())
    true, said = (100_000).to_bytes(4, "little"), (10).to_bytes(4, "little")
    places = [n for n in range(len(content) - 4) if content[n : n + 4] == true]
    assert len(places) == 2  # beside the part, and in the list at the end
    for place in places:
        content[place : place + 4] = said
    with pytest.raises(FileFaults, match="a workbook that can't be unpacked"):
        text(bytes(content))


def test_two_cells_at_opposite_ends_are_refused_before_the_room_between_is_made():
    rows: list[list[Any]] = [["a", "b"], [1, 2]]
    content = written(rows)
    members = parts(content)
    sheet = members["xl/worksheets/sheet1.xml"]
    far = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
    members["xl/worksheets/sheet1.xml"] = sheet.replace(b"</sheetData>", far)
    with pytest.raises(FileFaults, match="reaches over 1,048,576 rows and 16,384 columns"):
        text(zipped(members))


@pytest.mark.parametrize("cut", [40, 400, -30])
def test_a_cut_workbook_says_so(cut):
    with pytest.raises(FileFaults, match=r"can't be unpacked|a zip file that can't"):
        unpack(written(SHEET)[:cut], "x.xlsx")


def test_a_broken_sheet_says_so():
    members = parts(written(SHEET))
    members["xl/workbook.xml"] = b"<workbook"
    with pytest.raises(FileFaults, match="workbook"):
        text(zipped(members))


def test_a_zip_that_only_pretends_says_so():
    with pytest.raises(FileFaults, match="workbook"):
        unpack(zipped({"[Content_Types].xml": b"<x/>", "a": b"1"}), "x.zip")


def test_a_doctype_is_not_followed():
    """An entity that grows a thousandfold with each of its nine names: nothing is made of it."""
    members = parts(written([["item", "value"], ["launch rpm", 4200]]))
    names = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 10))
    bomb = f'<!DOCTYPE sst [<!ENTITY e0 "lol">{names}]>'.encode()
    strings = members["xl/sharedStrings.xml"]
    head, _, rest = strings.partition(b"?>")
    members["xl/sharedStrings.xml"] = head + b"?>" + bomb + rest.replace(b"launch rpm", b"&e9;")
    try:
        found = text(zipped(members))
    except FileFaults:
        return
    assert sum(map(len, found)) < 1000


def test_packed_forms_stay_apart():
    assert packed.unpack(written(SLIPS), "x.xlsx").form == "xlsx"
    assert packed.unpack(zipped({"a.csv": b"1"}), "x.zip").form == "zip"


@pytest.fixture
def teal_cars():
    from runlog.records import Car

    return {"teal": Car("teal", 1200.0, 2.6, 500_000.0, 2.5, 4.1)}
