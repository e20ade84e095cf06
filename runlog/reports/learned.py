"""What was learned, as parts of pages on the terminal: verdicts, and tables of the spread."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.text import Text

from runlog.reports.console import add_row, clean, number, table
from runlog.reports.words import VERDICTS, verdict_words

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rich.table import Table


def verdict_text(verdict: str, row: dict[str, Any]) -> Text:
    """Return a verdict in words and in its colour; ``row`` as ``words.verdict_words`` takes it."""
    return Text(clean(verdict_words(verdict, row)), style=VERDICTS[verdict][1])


def spread_table(head: str, rows: Iterable[dict[str, Any]], unit: str = "") -> Table:
    """Return the spread of the same setup [s] on each increment; ``unit`` follows the places [ft] where it is said."""
    made = table(head, "sd", "90 %", "")
    for row in rows:
        span = f"{number(row['lo90_s'])} to {number(row['hi90_s'])}"
        word = "measured" if row["measured"] else "assumed"
        add_row(made, [f"{row['from_ft']}–{row['to_ft']}{unit}", number(row["sd_s"]), span, word])
    return made
