"""Where a car stands before its next run, open items, and the way back to the baseline, on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.text import Text

from runlog.reports.amounts import amount, speed_number, symbol
from runlog.reports.console import add_row, bullets, clean, console, heading, line, number, table
from runlog.reports.plan import purpose_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

_STEPS = {"fire-up": "fire-up and leaks", "burnout": "burnout and brakes", "full": "full run"}


def print_release(page: dict[str, Any]) -> None:
    """Print the page of ``runlog release``."""
    out, cleared = console(), page["clearance"]
    out.print(line((f"{page['car']}: release", "bold"), f"   before {cleared['run']}"))
    out.print(next_run_line(cleared, page["finish_ft"]))
    bullets(out, cleared["reasons"], "✗")
    out.print()
    if page["needed"]:
        _steps(out, page)
    else:
        out.print(line(f"no release steps asked for: {page['why']}"))
        out.print(line("if it isn't so: new = true in its car file, or runlog release --again STEP --why TEXT"))
    if page["open_items"]:
        out.print(heading("Open items"))
        bullets(out, [item_words(item) for item in page["open_items"]], "☐", as_said=True)
    if cleared["barred"]:
        out.print(heading("Barred settings"))
        bullets(out, [_bar(bar) for bar in cleared["barred"]], "✗", as_said=True)
    _credentials(out, page)
    out.print(line(("Between all runs: ", "bold"), "; ".join(page["between_runs"])))
    bullets(out, [*cleared["notes"], *page["cautions"]], "!")
    _following(out, page)


def next_run_line(cleared: dict[str, Any], finish_ft: int) -> Text:
    """Say how far the next run may go, in one line."""
    if cleared["to_ft"] == 0:
        return line(("next run: none", "bold red"))
    if cleared["to_ft"] < finish_ft:
        return line((f"next run: to {cleared['to_ft']} ft at most", "bold yellow"))
    return line(("next run: to the finish", "bold"), ", as far as this logbook knows")


def clearance_lines(cleared: dict[str, Any] | None) -> list[str]:
    """Return what a page says of a next run that may not go to the finish, and of a release step; else nothing."""
    if cleared is None:
        return []
    lines = list(cleared["notes"])
    if cleared["reasons"]:
        far = "no next run" if cleared["to_ft"] == 0 else f"next run to {purpose_words(str(cleared['to_ft']))} at most"
        lines.insert(0, f"{far}: {'; '.join(cleared['reasons'])}")
    return lines


def _steps(out: Console, page: dict[str, Any]) -> None:
    made = table("step", "to", "checks", "signed", left=2)
    made.columns[3].justify = "left"
    made.columns[3].no_wrap = False
    for step in page["steps"]:
        good = sum(check["good"] for check in step["checks"])
        mark = "✓" if step["passed"] else "▶" if step["step"] == page["step"] else "·"
        cells = [
            f"{mark} {_STEPS.get(step['step'], step['step'] + ' ft')}",
            f"{step['to_ft']} ft" if step["to_ft"] else "–",
        ]
        add_row(made, [*cells, f"{good} of {len(step['checks'])}", _signed(step)])
    out.print(made)
    out.print(line((page["why"], "dim")))
    here = next((step for step in page["steps"] if step["step"] == page["step"]), None)
    if here is not None:
        out.print(heading(f"Checks of {_STEPS.get(here['step'], here['step'] + ' ft')}"))
        bullets(out, [f"{'☑' if check['good'] else '☐'} {check['check']}" for check in here["checks"]], " ")
    out.print()


def _signed(step: dict[str, Any]) -> str:
    if step["signed_by"]:
        return f"{step['signed_by']}, {step['signed_on']}"
    if step["passed"]:
        return "passed before steps were kept here"
    return f"no; reached by {step['reached']}" if step["reached"] else "no"


def _bar(bar: dict[str, Any]) -> str:
    beyond = f" and {bar['beyond']}" if bar["beyond"] else ""
    return f"{bar['item']} {amount(bar['value'], bar['unit'])}{beyond}, since {bar['since']}: {bar['why']}"


def _credentials(out: Console, page: dict[str, Any]) -> None:
    if page["credentials"]:
        out.print(heading("Papers and dated parts"))
        made = table("", "holds to", "allows", "", left=1)
        made.columns[3].justify = "left"
        for item in page["credentials"]:
            fastest = item["highest_speed_mph"]
            allows = [
                "" if item["quickest_s"] is None else f"{number(item['quickest_s'])} s",
                "" if fastest is None else f"{speed_number(fastest, 0)} {symbol('mph')}",
            ]
            state = "✗ expired" if item["expired"] else item["note"] or ""
            add_row(
                made, [item["kind"], item["expires"] or "–", " ".join(filter(None, allows)) or "–", Text(clean(state))]
            )
        out.print(made)
    if page["not_in_car_file"]:
        out.print(line((f"not in the car file, so not looked after: {', '.join(page['not_in_car_file'])}", "dim")))
    out.print()


def item_words(item: dict[str, Any]) -> str:
    """Return an item as pages name it."""
    run = f", run {item['run']}" if item["run"] else ""
    by = f", {item['by']}" if item["by"] else ""
    return f"{item['due']}: {item['text']} ({item['date']}{run}{by})"


def print_items(items: Sequence[dict[str, Any]]) -> None:
    """Print a list of items."""
    out = console()
    if not items:
        out.print(line("nothing is open"))
        return
    made = table("", "car", "by when", "what", "found", left=5)
    for item in items:
        closed = item["closed"]
        found = f"{item['date']}{' run ' + str(item['run']) if item['run'] else ''}"
        what = item["text"] if closed is None else f"{item['text']} ✓ {closed['date']}: {closed['text'] or 'closed'}"
        add_row(made, [str(item["number"] or "✓"), item["car"], item["due"], Text(clean(what)), found])
    out.print(made)
    if any(item["due"] == "stop" and item["closed"] is None for item in items):
        out.print(line(("! a stop item is open: there is no next run", "bold red")))
    out.print(line(("Next: runlog item close NUMBER --did TEXT", "dim")))


def _following(out: Console, page: dict[str, Any]) -> None:
    if page["step"] is not None:
        out.print(line((f"Next: runlog release {page['car']} --sign {page['step']} --by NAME", "dim")))
    elif page["open_items"]:
        out.print(line((f"Next: runlog item close NUMBER --car {page['car']} --did TEXT", "dim")))
    elif page["clearance"]["barred"]:
        out.print(line(("Next: runlog release --setting NAME=VALUE --by NAME --why TEXT", "dim")))
