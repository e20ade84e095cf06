"""How verdicts are said."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.records.trace import alarm_name
from runlog.reports.amounts import prose
from runlog.reports.console import number
from runlog.results import ASSUMED

if TYPE_CHECKING:
    from collections.abc import Mapping

_SIGNED = len("+0.000")
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

    A claim that is held back says so: more runs like those there are wouldn't release it. "No difference" that the runs
    have next to no part in (``share_learned``) says so too.
    """
    words, _, mark = VERDICTS[verdict]
    if row.get("note"):
        return f"{mark} held back, see below"
    if row.get("held_back") and verdict == "cannot_tell":
        lost = row["held_back"]
        return f"{mark} held back: the car lost {lost['lost']} of {lost['runs']} runs at the quicker setting"
    if verdict == "cannot_separate":
        words += f" from {', '.join(row['inseparable_from'])}"
    if verdict == "no_difference" and row.get("share_learned", 1.0) < ASSUMED:
        return f"{mark} no difference, as was assumed"
    if verdict == "cannot_tell" and row.get("runs_needed"):
        words += f" (~{row['runs_needed']} more runs)"
    return f"{mark} {words}"


def brief(verdict: str, held_back: dict[str, Any] | None = None) -> str:
    """Return the verdict in at most 17 characters, for tables of one line a row; held back: how many runs were lost."""
    words, _, mark = VERDICTS[verdict]
    if held_back and verdict == "cannot_tell":
        return f"{mark} held: {held_back['lost']}/{held_back['runs']} lost"
    return f"{mark} {words.removesuffix(' that matters').removesuffix(' yet')}"


def interval(row: dict[str, Any]) -> str:
    """Return a mean with its 90 % interval."""
    mean, low, high = (number(row[name], 3, sign=True) for name in ("mean_s", "lo90_s", "hi90_s"))
    return f"{mean} [{low.rjust(_SIGNED)}, {high.rjust(_SIGNED)}]"  # what is nothing has no sign, and as much room


def probability(value: float) -> str:
    """Return a probability in per cent, never as certainty."""
    return "<1 %" if value < 0.01 else ">99 %" if value > 0.99 else f"{value:.0%}".replace("%", " %")


def spoken(page: Mapping[str, Any]) -> dict[str, list[str]]:
    """Return a review's summary in the units of the page; a sentence with what somebody wrote stays as it is."""
    return {name: [in_units(page, text) for text in texts] for name, texts in page["summary"].items()}


def in_units(page: Mapping[str, Any], text: str) -> str:
    """Return a sentence of a review in the units of the page, as it is where it holds what somebody wrote."""
    written = [run["spoiled_reason"] for run in page["runs"]] + [item["text"] for item in page["open_items"]]
    return text if any(part in text for part in written if part) else prose(text)


def alarm_words(alarm: Mapping[str, Any]) -> str:
    """Say what passed a limit, when, and what to do; times count from the launch."""
    told = alarm_name(alarm["channel"], alarm["condition"])
    if alarm["value"] is not None and alarm["limit"] is not None:
        told += f" {alarm['value']:g} {'<' if alarm['kind'] == 'low' else '>'} {alarm['limit']:g} {alarm['unit']}"
    return prose(f"{told}, at {alarm['time_s']:.1f} s: {alarm['action']}")


def learned_words(page: Mapping[str, Any]) -> str:
    """Return what the effects in a review rest on: its car's runs, also those after its day; nothing without any."""
    by = page["learned_from"]
    if not by:
        return ""
    days = f"{by['days']} day{'' if by['days'] == 1 else 's'}"
    later = f"; it counts as well what came after it, up to {by['to']}" if by["to"] > page["date"] else ""
    return f"By all {by['runs']} runs of this car on {days}, not by this day alone{later}."
