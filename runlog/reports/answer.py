"""How the answer to a query looks: a table where it fits the screen, else one record after the other."""

from __future__ import annotations

import csv
import sys
from typing import TYPE_CHECKING, Any

from rich.text import Text

from runlog.reports.console import NOTHING, WIDTH, clean, console

if TYPE_CHECKING:
    from collections.abc import Sequence

_GAP = 2


def print_answer(columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """Print the rows of a query."""
    made = console()
    names = [clean(name) for name in columns]
    cells = [[_cell(value) for value in row] for row in rows]
    widths = [max([len(name), *(len(row[n]) for row in cells)]) for n, name in enumerate(names)]
    numeric = [all(isinstance(row[n], int | float | None) for row in rows) for n in range(len(names))]
    if sum(widths) + _GAP * (len(widths) - 1) <= WIDTH:
        for line in [names, *cells]:
            placed = [
                text.rjust(width) if right else text.ljust(width)
                for text, width, right in zip(line, widths, numeric, strict=True)
            ]
            made.print(Text((" " * _GAP).join(placed).rstrip()))
    else:
        widest = max(map(len, names))
        for number, row in enumerate(cells, 1):
            made.print(Text(f"row {number}", style="bold"))
            for name, text in zip(names, row, strict=True):
                made.print(Text(f"  {name.ljust(widest)}  {text}"))
    made.print(Text(f"{len(rows)} row{'' if len(rows) == 1 else 's'}", style="dim"))


def _cell(value: Any) -> str:
    if value is None:
        return NOTHING
    return f"{value:.6g}" if isinstance(value, float) else clean(str(value))


def write_csv(columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """Write the rows of a query as CSV to stdout, text that a spreadsheet would take for a formula marked as text."""
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(map(harmless, columns))
    writer.writerows([harmless(value) for value in row] for row in rows)


def harmless(value: Any) -> Any:
    """Return a cell that no spreadsheet calculates: text that begins like a formula gets an apostrophe before it."""
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") else value
