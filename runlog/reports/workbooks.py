"""Tables as files for spreadsheets and other programs; nothing in them is ever calculated or followed as a link."""

from __future__ import annotations

import contextlib
import csv
import datetime as dt
import io
import os
import re
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from runlog.errors import RunlogError, UsageError
from runlog.reports.answer import harmless

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    import polars as pl

ENDINGS: Final = (".csv", ".parquet", ".xlsx")
_MOST_ROWS: Final = 1_048_575
"""below the header; ECMA-376 part 1, 18.3.1.73 and common practice of spreadsheets"""
_LONGEST_LIST: Final = 255
"""characters of the choices of a cell that stand in the rule itself; common practice of spreadsheets"""
_WIDEST: Final = 60
_TEXT: Final = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}


def write_frame(frame: pl.DataFrame, path: Path) -> None:
    """Write a table, in the form that the ending of its file says; the file is replaced whole or not at all."""
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        raise UsageError(f"{path}: found the ending {path.suffix!r}; accepted: {', '.join(ENDINGS)}")
    if ending == ".xlsx" and frame.height > _MOST_ROWS:
        raise RunlogError(f"{path}: {frame.height:,} rows are more than a sheet holds: write CSV or Parquet")
    with replaced(path) as part:
        if ending == ".parquet":
            frame.write_parquet(part)
        elif ending == ".csv":
            part.write_bytes(csv_bytes(frame.columns, frame.rows()))
        else:
            _write_workbook(part, frame.columns, frame.rows())


def csv_bytes(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    """Return a table as CSV; text that begins like a formula gets an apostrophe before it."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(map(harmless, columns))
    writer.writerows([harmless(_said(value)) for value in row] for row in rows)
    return text.getvalue().encode()


def _said(value: Any) -> Any:
    return value.isoformat() if isinstance(value, dt.date | dt.time | dt.datetime) else value


@contextlib.contextmanager
def replaced(path: Path) -> Iterator[Path]:
    """Give a file beside ``path`` to write, then put it in its place; ``RunlogError`` where that can't be done."""
    made: str | None = None
    try:
        handle, made = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
        os.close(handle)
        yield Path(made)
        Path(made).chmod(0o666 & ~_umask())
        Path(made).replace(path)
    except OSError as error:
        raise RunlogError(f"{path} can't be written: {error.strerror or error}") from None
    finally:
        if made is not None:
            Path(made).unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _write_workbook(path: Path, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    import xlsxwriter

    with xlsxwriter.Workbook(str(path), {**_TEXT, "constant_memory": True, "nan_inf_to_errors": True}) as book:
        sheet = book.add_worksheet("table")
        bold = book.add_format({"bold": True})
        formats = {
            dt.datetime: book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"}),
            dt.date: book.add_format({"num_format": "yyyy-mm-dd"}),
            dt.time: book.add_format({"num_format": "hh:mm:ss"}),
        }
        _prepare(sheet, columns, rows[:100])
        for place, name in enumerate(columns):
            sheet.write_string(0, place, name, bold)
        for number, row in enumerate(rows, 1):
            for place, value in enumerate(row):
                _write_cell(sheet, number, place, value, formats)


def _write_cell(sheet: Any, row: int, column: int, value: Any, formats: dict[type, Any]) -> None:
    if value is None:
        return
    if isinstance(value, bool):
        sheet.write_boolean(row, column, value)
    elif isinstance(value, int | float):
        sheet.write_number(row, column, value)
    elif type(value) in formats:
        sheet.write_datetime(row, column, value, formats[type(value)])
    else:
        sheet.write_string(row, column, str(value))


def _prepare(sheet: Any, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """Set widths, keep the header in sight, and let a page be printed as wide as the table."""
    for place, name in enumerate(columns):
        longest = max([len(name), *(len(str(row[place])) for row in rows if row[place] is not None)])
        sheet.set_column(place, place, min(longest, _WIDEST) + 2)
    sheet.freeze_panes(1, 0)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
    sheet.hide_gridlines(0)


def _digits(cell: str) -> str | int | float:
    """Return a number below nothing as a number: as text it would be taken for a formula."""
    if re.fullmatch(r"-[0-9]+(?:\.[0-9]+)?", cell) is None:
        return cell
    return float(cell) if "." in cell else int(cell)


def write_form(path: Path, form: Any) -> None:
    """Write a blank form of a kit as CSV or workbook; a workbook warns of what is outside the limits."""
    cells = [row.cells for row in form.rows]
    with replaced(path) as part:
        if path.suffix.lower() == ".csv":
            part.write_bytes(csv_bytes(form.columns, [[_digits(cell) for cell in row] for row in cells]))
            return
        import xlsxwriter

        with xlsxwriter.Workbook(str(part), dict(_TEXT)) as book:
            sheet = book.add_worksheet("form")
            bold, frame = book.add_format({"bold": True}), book.add_format({"border": 1})
            _prepare(sheet, form.columns, cells)
            sheet.set_header(f"&L{form.title.replace('&', '&&')}")
            for place, name in enumerate(form.columns):
                sheet.write_string(0, place, name, bold)
            blank = form.columns.index(form.blank)
            for number, row in enumerate(form.rows, 1):
                for place, cell in enumerate(row.cells):
                    sheet.write_blank(number, place, None, frame) if cell == "" else sheet.write_string(
                        number, place, cell, frame
                    )
                _limit(sheet, number, blank, row)


def _limit(sheet: Any, row: int, column: int, form_row: Any) -> None:
    """Let a cell warn of what isn't among its choices or within its limits; it can be kept all the same."""
    if form_row.choices:
        # a rule's list is one quoted text with commas: what doesn't fit into that could be read as a formula
        if len(",".join(form_row.choices)) > _LONGEST_LIST or any(
            set(choice) & {'"', ","} for choice in form_row.choices
        ):
            return
        rule: dict[str, Any] = {"validate": "list", "source": list(form_row.choices)}
    elif form_row.low is not None and form_row.high is not None:
        rule = {"validate": "decimal", "criteria": "between", "minimum": form_row.low, "maximum": form_row.high}
    else:
        return
    said = "Outside the limits of the car file."
    sheet.data_validation(row, column, row, column, {**rule, "error_type": "warning", "error_message": said})
