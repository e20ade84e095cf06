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


FAR = {
    "plain": '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>',
    "other quotes": "<row r='1048576'><c r='XFD1048576'><v>1</v></c></row>",
    "a bracket in an attribute": '<row z=">" r="1048576"><c z=">" r="XFD1048576"><v>1</v></c></row>',
    "blanks": '<row r = "1048576"><c\nr\n=\n"XFD1048576"><v>1</v></c></row>',
    "small letters": '<row r="1048576"><c r="xfd1048576"><v>1</v></c></row>',
    "a prefix": '<m.m:row xmlns:m.m="{}" r="1048576"><m.m:c r="XFD1048576"><v>1</v></m.m:c></m.m:row>',
    "no such place": '<row r="1"><c r="-"><v>1</v></c></row>',
}


@pytest.mark.parametrize("far", FAR.values(), ids=FAR)
@pytest.mark.parametrize("place", ["xl/worksheets/sheet1.xml", "elsewhere/sheet.xml"])
def test_two_cells_at_opposite_ends_are_refused_before_the_room_between_is_made(far, place):
    """However it is written, and wherever the relations of the workbook say that the sheet is."""
    members = parts(written([["a", "b"], [1, 2]]))
    sheet = members.pop("xl/worksheets/sheet1.xml")
    far = far.format("http://schemas.openxmlformats.org/spreadsheetml/2006/main")
    members[place] = sheet.replace(b"</sheetData>", f"{far}</sheetData>".encode())
    relations = members["xl/_rels/workbook.xml.rels"]
    members["xl/_rels/workbook.xml.rels"] = relations.replace(b"worksheets/sheet1.xml", f"/{place}".encode())
    with pytest.raises(FileFaults, match=r"reaches over [\d,]{9,} rows and [\d,]{6,} columns"):
        text(zipped(members))


def test_one_long_text_in_many_cells_is_refused_before_it_is_copied_into_each():
    members = parts(written([["item"], ["launch rpm"]]))
    strings = members["xl/sharedStrings.xml"]
    members["xl/sharedStrings.xml"] = strings.replace(b"launch rpm", b"x" * 1_000_000)
    cells = "".join(f'<row r="{n}"><c r="A{n}" t="s"><v>1</v></c></row>' for n in range(3, 1003))
    sheet = members["xl/worksheets/sheet1.xml"]
    members["xl/worksheets/sheet1.xml"] = sheet.replace(b"</sheetData>", f"{cells}</sheetData>".encode())
    with pytest.raises(FileFaults, match="1,002 cells with texts of up to 1,000,000 characters; accepted: at most 256"):
        text(zipped(members))


def test_a_spreadsheet_of_another_format_is_not_read_in_its_place():
    """OpenDocument 1.2, part 1, 9.1: a cell may be repeated 16,384 times in rows that are repeated a million times."""
    cells = '<table:table-row table:number-rows-repeated="1048576"><table:table-cell table:number-columns-repeated='
    cells += (
        '"16384" office:value-type="float" office:value="1"><text:p>1</text:p></table:table-cell></table:table-row>'
    )
    names = " ".join(
        f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"' for name in ("office", "table", "text")
    )
    body = f'<office:body><office:spreadsheet><table:table table:name="a">{cells}</table:table></office:spreadsheet>'
    other = f"<office:document-content {names}>{body}</office:body></office:document-content>".encode()
    kind = b"application/vnd.oasis.opendocument.spreadsheet"
    with pytest.raises(FileFaults, match="a workbook that can't be read"):
        text(zipped({"mimetype": kind, "content.xml": other, "[Content_Types].xml": b"<x/>"}))


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
