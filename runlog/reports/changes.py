"""Changes as they were made, and the way back to the baseline, on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.text import Text

from runlog.reports import amounts
from runlog.reports.console import add_row, bullets, clean, console, heading, line, number, table

if TYPE_CHECKING:
    from rich.console import Console


def print_baseline(page: dict[str, Any]) -> None:
    """Print how to undo all changes."""
    out = console()
    out.print(line((f"{page['car']}: back to the baseline", "bold"), f"   before {page['run']}"))
    if not page["steps"]:
        out.print(line("the car stands at its baseline"))
    else:
        _steps(out, page["steps"])
        out.print(line(f"{page['minutes']:.0f} minutes of work, one after the other"))
        bullets(out, [step["barred"] for step in page["steps"] if step["barred"]], "✗", as_said=True)
    if page["also_differs"]:
        out.print(line(f"read differently from the baseline, to be measured: {', '.join(page['also_differs'])}"))
    if page["checks"]:
        out.print(heading("Then"))
        bullets(out, page["checks"], "☐")
    bullets(out, page["cautions"], "!")


def _steps(out: Console, steps: list[dict[str, Any]]) -> None:
    made = table("", "", "change", "min", left=3)
    made.columns[1].no_wrap = True
    for n, step in enumerate(steps, 1):
        moved = amounts.change(step["from"], step["to"], step["unit"])
        add_row(made, [str(n), step["item"], Text(clean(moved)), number(step["minutes"], 0)])
    out.print(made)


def print_changes(page: dict[str, Any]) -> None:
    """Print the changes that were kept as really done."""
    out = console()
    out.print(
        line((f"{page['car']}: changed before run {page['run'].rpartition('/')[2]}", "bold"), f"   {page['run']}")
    )
    made = table("", "change", left=2)
    for change in page["changes"]:
        moved = amounts.change(change["from"], change["to"], change["unit"])
        add_row(made, [change["item"], Text(clean(moved))])
    out.print(made)
    bullets(out, page["warnings"], "?")
    bullets(out, page["cautions"], "!")
