"""How verdicts are said."""

from __future__ import annotations

from typing import Any

from runlog.reports.console import number

VERDICTS = {
    "helped": ("helped", "bold green", "▼"),
    "hurt": ("hurt", "bold red", "▲"),
    "no_difference": ("no difference that matters", "", "="),
    "cannot_tell": ("cannot tell yet", "yellow", "?"),
    "cannot_separate": ("cannot separate", "yellow", "&"),
    "not_tried": ("not tried", "dim", " "),
}
"""verdict → words, colour, and a mark that stands without colour (▼ quicker, ▲ slower)"""


def verdict_words(verdict: str, row: dict[str, Any]) -> str:
    """Return the verdict in words, with what it can't be separated from, or how many runs would settle it.

    A claim that is held back says so: more runs like those there are wouldn't release it.
    """
    words, _, mark = VERDICTS[verdict]
    if row.get("note"):
        return f"{mark} held back, see below"
    if verdict == "cannot_separate":
        words += f" from {', '.join(row['inseparable_from'])}"
    if verdict == "cannot_tell" and row.get("runs_needed"):
        words += f" (~{row['runs_needed']} more runs)"
    return f"{mark} {words}"


def brief(verdict: str) -> str:
    """Return the verdict in at most 17 characters, for tables of one line a row."""
    words, _, mark = VERDICTS[verdict]
    return f"{mark} {words.removesuffix(' that matters').removesuffix(' yet')}"


def interval(row: dict[str, Any]) -> str:
    """Return a mean with its 90 % interval."""
    mean, low, high = (number(row[name], 3, sign=True) for name in ("mean_s", "lo90_s", "hi90_s"))
    return f"{mean} [{low}, {high}]"


def probability(value: float) -> str:
    """Return a probability in per cent, never as certainty."""
    return "<1 %" if value < 0.01 else ">99 %" if value > 0.99 else f"{value:.0%}".replace("%", " %")
