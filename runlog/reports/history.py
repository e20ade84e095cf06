"""Entries about a thing, on the terminal."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from runlog.reports.console import WIDTH, clean, console, line

if TYPE_CHECKING:
    from rich.console import Console

_STATES = {
    "holds": ("✓", ""),
    "replaced": ("·", "dim"),
    "withdrawn": ("✗", "dim"),
    "unread": ("?", "yellow"),
}
"""state → a mark that stands without colour, and a colour"""
_SHOWN = 6
"""things of an entry that are listed; differences of each"""
_INDENT = 7


def print_history(page: dict[str, Any]) -> None:
    """Print the entries, the oldest first, with what each says otherwise than the one before it."""
    out = console()
    if page["earlier"]:
        out.print(line((f"{page['earlier']} earlier entries not shown; ask for a run, a day, a car or a track", "dim")))
    if not page["entries"]:
        out.print(line("Nothing is in the logbook yet."))
    for item in page["entries"]:
        _print_entry(out, item)
    if page["entries"]:
        out.print(line(("✓ holds  · replaced  ✗ withdrawn    Withdraw or bring back: runlog undo ENTRY", "dim")))


def _print_entry(out: Console, item: dict[str, Any]) -> None:
    mark, style = _STATES[item["state"]]
    by = f" · {item['told_by']}" if item["told_by"] else ""
    kind = "" if item["kind"] in ("undo", "settle") or item["name"].startswith(item["kind"]) else f" ({item['kind']})"
    out.print(line((f"{item['entry']:>4} {mark} {when(item['stored_at'])}{by} · {item['name']}{kind}", style)))
    if item["target"] is not None:
        _note(out, f"about entry {item['target']}")
    if item["state"] == "withdrawn":
        _note(out, f"withdrawn by entry {item['withdrawn_by']}: runlog undo {item['withdrawn_by']} brings it back")
    if item["state"] == "unread":
        _note(out, f"can't be read: {item['unread']}")
    for said in item["says"][:_SHOWN]:
        after = f", replaced by entry {said['replaced_by']}" if said["replaced_by"] else ""
        _note(out, f"{said['thing']}{after}{_differences(said)}")
    if len(item["says"]) > _SHOWN:
        _note(out, f"and {len(item['says']) - _SHOWN} more")


def when(stored_at: str | None) -> str:
    """Return when an entry was stored, in the laptop's own time."""
    if stored_at is None:
        return "unknown time"
    return dt.datetime.fromisoformat(stored_at).astimezone().strftime("%Y-%m-%d %H:%M")


def difference(item: dict[str, Any]) -> str:
    """Return one difference in words."""
    what = said_name(item["what"])
    if item["from"] is None:
        return f"{what} {value(item['what'], item['to'])}"
    if item["to"] is None:
        return f"{what} {value(item['what'], item['from'])} → nothing"
    return f"{what} {value(item['what'], item['from'])} → {value(item['what'], item['to'])}"


def said_name(what: str) -> str:
    """Return what was said, as the crew says it."""
    kind, _, feet = what.partition(" ")
    if kind == "times":
        return f"{feet} ft"
    if kind == "speeds":
        return f"speed at {feet} ft"
    return what.replace("_", " ")


def value(what: str, found: Any) -> str:
    """Return a value with its unit, cut where it is long."""
    from runlog.reports import shown

    if isinstance(found, int | float) and not isinstance(found, bool):
        if what.startswith("times") or what == "reaction":
            return f"{found:.3f}"
        if what.startswith("speeds"):
            return shown.speed(found / 0.44704)
        if what in ("temperature", "track_temperature"):
            return shown.temperature(found - 273.15)
        if what == "station_pressure":
            return shown.pressure(found / 100)
        if what == "relative_humidity":
            return f"{found:.0%}".replace("%", " %")
        return f"{found:g}"
    text = "yes" if found is True else "no" if found is False else "nothing" if found is None else str(found)
    return text if len(text) <= 24 else f"{text[:23]}…"


def _differences(said: dict[str, Any]) -> str:
    items = [item for item in said["differs"] if item["what"] != "sha256" or item["from"] is not None]
    if not items or (said["first"] and len(items) > _SHOWN * 2):
        return ""
    more = f" and {len(items) - _SHOWN} more" if len(items) > _SHOWN else ""
    return f": {', '.join(difference(item) for item in items[:_SHOWN])}{more}"


def _note(out: Console, text: str) -> None:
    from rich.padding import Padding
    from rich.text import Text

    out.print(Padding(Text(clean(text)), (0, 0, 0, _INDENT)), width=WIDTH)
