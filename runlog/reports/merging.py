"""What a merge did, and what is to be settled after it, on the terminal."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from rich.padding import Padding
from rich.text import Text

from runlog.reports.console import WIDTH, bullets, clean, console, line
from runlog.reports.history import when
from runlog.reports.told import difference

if TYPE_CHECKING:
    from rich.console import Console

_SHOWN = 10
_DIFFERENCES = 6


def print_merge(page: dict[str, Any]) -> None:
    """Print what was taken, what can't be read, and what differs."""
    out = console()
    kinds = Counter(item["kind"] for item in page["taken"])
    listed = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items()))
    out.print(line((f"{len(page['taken'])} entries taken, {page['same']} were here already", "bold")))
    if listed:
        out.print(line(listed))
    bullets(out, [f"can't be read yet: {item['why']}" for item in page["unread"]], "?")
    if page["conflicts"]:
        print_conflicts(page["conflicts"])
    elif page["taken"]:
        out.print(line("Nothing differs that one side didn't replace knowingly."))


def print_conflicts(found: list[dict[str, Any]]) -> None:
    """Print what is to be settled."""
    out = console()
    if not found:
        out.print(line("Nothing to settle."))
        return
    things = "thing is" if len(found) == 1 else "things are"
    out.print(line((f"{len(found)} {things} told differently; shown on pages is what was stored last (✓)", "bold")))
    for item in found[:_SHOWN]:
        _print_conflict(out, item)
    if len(found) > _SHOWN:
        out.print(line(f"and {len(found) - _SHOWN} more: runlog conflicts --json lists all"))
    out.print(line(("To let one hold: runlog settle ENTRY [THING], or type it in once more", "dim")))


def _print_conflict(out: Console, item: dict[str, Any]) -> None:
    out.print(line((item["thing"], "bold")))
    for said in item["sayings"]:
        mark = "✓" if said["entry"] == item["shown"] else " "
        by = f" · {said['told_by']}" if said["told_by"] else ""
        out.print(line(f"{said['entry']:>6} {mark} {said['name']}{by} · {when(said['stored_at'])}"))
        shown = [difference(one, item["thing"]) for one in said["differs"]]
        if shown:
            more = f" and {len(shown) - _DIFFERENCES} more" if len(shown) > _DIFFERENCES else ""
            text = Text(clean(f"{', '.join(shown[:_DIFFERENCES])}{more}"))
            out.print(Padding(text, (0, 0, 0, 9)), width=WIDTH)
