"""Entries about a thing, on the terminal."""

from __future__ import annotations

import datetime as dt
import re
from typing import TYPE_CHECKING, Any

from runlog.reports.console import WIDTH, clean, console, line
from runlog.reports.told import difference

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
_MOST = 20
"""figures of a thing told for the first time, beyond which only its name is listed: a whole car file"""
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
    for said in sorted(item["says"], key=lambda said: _natural(said["thing"]))[:_SHOWN]:
        after = f", replaced by entry {said['replaced_by']}" if said["replaced_by"] else ""
        _note(out, f"{said['thing']}{after}{_differences(said)}")
    if len(item["says"]) > _SHOWN:
        _note(out, f"and {len(item['says']) - _SHOWN} more")


def when(stored_at: str | None) -> str:
    """Return when an entry was stored, in the laptop's own time."""
    if stored_at is None:
        return "unknown time"
    return dt.datetime.fromisoformat(stored_at).astimezone().strftime("%Y-%m-%d %H:%M")


def _natural(thing: str) -> list[str]:
    """Return what puts things in order as people count: run 2 before run 10."""
    return [part.zfill(6) if part.isdigit() else part for part in re.split(r"(\d+)", thing)]


def _differences(said: dict[str, Any]) -> str:
    named = {"name", "time"} if said["thing"].startswith(("air", "track", "car")) else set()
    items = [
        item
        for item in said["differs"]
        if item["what"] not in named and (item["what"] != "sha256" or item["from"] is not None)
    ]
    items.sort(key=lambda item: not item["what"].startswith("times"))
    if not items or (said["first"] and len(items) > _MOST):
        return ""
    more = f" and {len(items) - _SHOWN} more" if len(items) > _SHOWN else ""
    return f": {', '.join(difference(item, said['thing']) for item in items[:_SHOWN])}{more}"


def _note(out: Console, text: str) -> None:
    from rich.padding import Padding
    from rich.text import Text

    out.print(Padding(Text(clean(text)), (0, 0, 0, _INDENT)), width=WIDTH)
