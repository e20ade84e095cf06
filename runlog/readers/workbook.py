"""Spreadsheet workbooks (Office Open XML, ECMA-376): their one filled sheet as a table of text.

A workbook is a zip, and a small one can unpack to anything; its sheet can also claim two cells at opposite ends and
make a reader fill the room between. So what it unpacks to and how far its cells reach is measured before the library
that reads workbooks sees it, and it sees nothing but what was measured.
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
from typing import TYPE_CHECKING, Any, Final

from runlog.problems import Problems
from runlog.readers.workbook_reach import reach

if TYPE_CHECKING:
    import polars as pl

LARGEST: Final = 256 << 20
"""[bytes] most that a workbook may unpack to; a log of 100 channels and 100,000 samples takes about that"""
MOST_CELLS: Final = 1 << 24
_PIECE: Final = 1 << 20
_MOST_MEMBERS: Final = 2000
_OTHERS: Final = ("content.xml", "mimetype")
"""parts by which the library would take it for a spreadsheet of another format, whose repeats nothing has measured"""
_EPOCHS: Final = ("1899-12-30 ", "1899-12-31 ", "1904-01-01 ")
"""days that a cell with nothing but a clock time is taken to be on"""
_ACCEPTED: Final = "a workbook with one filled sheet"


def is_workbook(archive: zipfile.ZipFile) -> bool:
    """Tell whether a zip is a workbook, which is a format and not a packing."""
    return "[Content_Types].xml" in archive.namelist()


def workbook_csv(content: bytes, name: str) -> bytes:
    """Return the one filled sheet of a workbook as CSV in UTF-8, its rows on the lines that they have in the sheet.

    ``FileFaults`` when it is broken, packed beyond reason, has no filled sheet or several.
    """
    problems = Problems(name)
    members = _unpacked(content, problems)
    problems.raise_if_any()
    # a part that is no XML, such as a printer's settings, is nothing that a table needs
    reaches = {path: found for path, data in members.items() if (found := reach(data)) is not None}
    for path, found in reaches.items():
        if found.rows * found.columns > MOST_CELLS:
            over = f"a sheet that reaches over {found.rows:,} rows and {found.columns:,} columns ({path})"
            problems.add("", over, f"at most {MOST_CELLS:,} cells")
    cells, longest = sum(found.shared for found in reaches.values()), max([0, *(r.longest for r in reaches.values())])
    if cells * longest > LARGEST:
        problems.add("", f"{cells:,} cells with texts of up to {longest:,} characters", f"at most {LARGEST >> 20} MB")
    problems.raise_if_any()
    filled = _filled(_packed({path: members[path] for path in reaches if path.lower() not in _OTHERS}), problems)
    problems.raise_if_any()
    if len(filled) != 1:
        names = ", ".join(filled)
        found_sheets = (
            f"a workbook with {len(filled)} filled sheets ({names})" if filled else "a workbook without a filled sheet"
        )
        remedy = "Save the others as workbooks of their own." if filled else ""
        problems.add("", found_sheets, _ACCEPTED, remedy)
    problems.raise_if_any()
    [frame] = filled.values()
    [*firsts] = [found.first_row for found in reaches.values() if found.first_row]
    return _text(frame, firsts[0] - 1 if len(firsts) == 1 else 0)


def _unpacked(content: bytes, problems: Problems) -> dict[str, bytes]:
    """Return the members of a workbook, none longer than its entry says, all together within ``LARGEST``."""
    members: dict[str, bytes] = {}
    room = LARGEST
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            entries = archive.infolist()
            if len(entries) > _MOST_MEMBERS or len({entry.filename for entry in entries}) < len(entries):
                problems.add("", f"a workbook of {len(entries)} parts, or with a part twice", _ACCEPTED)
                return {}
            for entry in entries:
                if entry.filename.startswith(("xl/media/", "xl/embeddings/")):
                    continue  # pictures: nothing that a table needs
                with archive.open(entry) as stream:
                    whole = io.BytesIO()
                    while room >= 0 and (piece := stream.read(_PIECE)):
                        whole.write(piece)
                        room -= len(piece)
                if room < 0:
                    problems.add(
                        "",
                        f"a workbook of {len(content):,} bytes that unpacks to more than {LARGEST >> 20} MB",
                        f"at most {LARGEST >> 20} MB",
                        "Save the sheet as CSV and import that.",
                    )
                    return {}
                members[entry.filename] = whole.getvalue()
    except Exception as error:  # what a broken zip makes its packings raise is anything
        problems.add("", f"a workbook that can't be unpacked ({error})", "a whole workbook", "Save it again.")
    return members


def _packed(members: dict[str, bytes]) -> bytes:
    """Return the members as a zip again, not compressed, so that what is read is what was measured."""
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", zipfile.ZIP_STORED) as archive:
        for path, data in members.items():
            archive.writestr(path, data)
    return whole.getvalue()


def _filled(content: bytes, problems: Problems) -> dict[str, pl.DataFrame]:
    """Return the sheets that hold anything, by name."""
    import fastexcel

    found: dict[str, pl.DataFrame] = {}
    try:
        book = fastexcel.read_excel(content)
        for place, name in enumerate(book.sheet_names):
            frame = book.load_sheet(place, header_row=None, dtypes="string").to_polars()
            if frame.height and any(frame[column].null_count() < frame.height for column in frame.columns):
                found[name] = frame
    except (fastexcel.FastExcelError, ValueError, RuntimeError) as error:
        reason = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        problems.add("", f"a workbook that can't be read ({reason})", "a whole workbook", "Save it again.")
    return found


def _text(frame: pl.DataFrame, above: int) -> bytes:
    columns = [_plain(frame[name].to_list()) for name in frame.columns]
    text = io.StringIO(newline="")
    text.write("\n" * above)
    csv.writer(text, lineterminator="\n").writerows(zip(*columns, strict=True))
    return text.getvalue().encode()


def _plain(cells: list[Any]) -> list[str]:
    """Return the cells of a column as they would be typed: a date without a midnight, a clock time without a day."""
    texts = ["" if cell is None else str(cell).replace("\r\n", " ").replace("\n", " ") for cell in cells]
    texts = [text[11:] if text.startswith(_EPOCHS) else text for text in texts]
    moments = [text for text in texts if _MOMENT.fullmatch(text)]
    if moments and all(text.endswith(" 00:00:00") for text in moments):
        texts = [text.removesuffix(" 00:00:00") if _MOMENT.fullmatch(text) else text for text in texts]
    return texts


_MOMENT: Final = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d(\.\d+)?")
