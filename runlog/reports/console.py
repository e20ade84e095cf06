"""The terminal: one console, tables that fit 80 columns, and text from files made harmless."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from runlog.reports.amounts import NOTHING as NOTHING
from runlog.reports.amounts import prose

if TYPE_CHECKING:
    from collections.abc import Sequence

WIDTH = 80


def console() -> Console:
    """Return the console for results; at most 80 columns, plain where the output isn't a terminal."""
    width = WIDTH if not sys.stdout.isatty() else None
    made = Console(highlight=False, width=width, emoji=False)
    if made.width > WIDTH:
        made = Console(highlight=False, width=WIDTH, emoji=False)
    return made


def clean(text: object) -> str:
    """Return text from a file with control characters made visible, so that it can't steer the terminal."""
    return "".join(char if char.isprintable() else repr(char)[1:-1] for char in str(text))


def line(*parts: str | tuple[str, str]) -> Text:
    """Return one line of plain or styled parts; nothing in them is taken as markup."""
    return Text.assemble(*(clean(part) if isinstance(part, str) else (clean(part[0]), part[1]) for part in parts))


def table(*columns: str, left: int = 1) -> Table:
    """Return a table without borders: the first ``left`` columns flush left, figures flush right."""
    made = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold", show_edge=False)
    for n, name in enumerate(columns):
        made.add_column(name, justify="left" if n < left else "right", no_wrap=n >= left)
    return made


def add_row(made: Table, cells: Sequence[str | Text]) -> None:
    """Add a row; plain strings are never taken as markup."""
    made.add_row(*(cell if isinstance(cell, Text) else Text(clean(cell)) for cell in cells))


def number(value: Any, digits: int = 3, *, sign: bool = False) -> str:
    """Return a number with fixed decimals; a dash where there is none, no sign where it rounds to nothing."""
    if value is None:
        return NOTHING
    if abs(value) < 0.5 * 10**-digits:
        return f"{0:.{digits}f}"
    return f"{value:+.{digits}f}" if sign else f"{value:.{digits}f}"


def value(item: float | str | None) -> str:
    """Return a setting as the crew says it: a hole's label, or a number without needless zeros."""
    if item is None:
        return NOTHING
    return item if isinstance(item, str) else f"{item:g}"


def heading(text: str) -> Text:
    """Return the heading of a part of a page."""
    return Text(clean(text), style="bold underline")


def bullets(made: Console, items: Sequence[str], mark: str = "•", *, as_said: bool = False) -> None:
    """Print a list, each item wrapped under its own beginning."""
    for item in marked(mark, items, as_said=as_said):
        made.print(item)


def marked(mark: str, items: Sequence[str], style: str = "", *, as_said: bool = False) -> list[Table]:
    """Return the items of a list, each wrapped under its own beginning, with quantities in the units of the page.

    ``as_said``: they are people's words, and stay as they are.
    """
    grids = []
    for item in items:
        grid = Table.grid(padding=(0, 1, 0, 0))
        grid.add_column(no_wrap=True)
        grid.add_column()
        grid.add_row(Text(mark, style=style), Text(clean(item if as_said else prose(item)), style=style))
        grids.append(grid)
    return grids
