"""A car's season on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.text import Text

from runlog.reports.amounts import amount, change
from runlog.reports.console import add_row, bullets, console, heading, line, number, table
from runlog.reports.learned import spread_table, verdict_text
from runlog.reports.words import interval

if TYPE_CHECKING:
    from rich.console import Console


def print_season(page: dict[str, Any]) -> None:
    """Print a car's days."""
    out = console()
    days = page["days"]
    runs = sum(day["runs"] for day in days)
    out.print(line((f"{page['car']}: {len(days)} days, {runs} runs", "bold"), f"   corrected to {page['reference']}"))
    out.print()
    _times(out, days)
    _bests(out, page["bests"])
    _days(out, days)
    _consistency(out, page["consistency"])
    _verdicts(out, page["verdicts"])
    _worth(out, page["worth"])
    out.print(line(("An estimate, not permission: rules, makers' limits and licensed inspection come first.", "dim")))


def _times(out: Console, days: list[dict[str, Any]]) -> None:
    spans = [f"{row['from_ft']}–{row['to_ft']}" for row in days[0]["increments"]]
    made = table("day", "", *spans, "elapsed", left=2)
    for day in days:
        new = {(best["from_ft"], best["to_ft"]) for best in day["personal_bests"]}
        for word, name in (("best", "best_s"), ("typical", "typical_s")):
            parts = [*day["increments"], *([day["elapsed"]] if day["elapsed"] else [])]
            cells = [_cell(part, name, new) for part in parts] or []
            cells += [number(None)] * (len(spans) + 1 - len(cells))
            add_row(made, [day["date"] if word == "best" else "", word, *cells])
    out.print(made)
    out.print(line(("* the car's best until then; typical: the median of what counts that day", "dim")))
    out.print()


def _cell(part: dict[str, Any], name: str, new: set[tuple[int, int]]) -> str:
    mark = "*" if name == "best_s" and (part["from_ft"], part["to_ft"]) in new else ""
    return f"{number(part[name])}{mark or ' '}"


def _bests(out: Console, rows: list[dict[str, Any]]) -> None:
    out.print(heading("Personal bests in standard air"))
    made = table("feet", "s", "run")
    for row in rows:
        add_row(made, [f"{row['from_ft']}–{row['to_ft']}", number(row["time_s"]), row["run"]])
    out.print(made)
    out.print()


def _days(out: Console, days: list[dict[str, Any]]) -> None:
    out.print(heading("Day by day: how far the elapsed time goes, its spread, and what was changed"))
    for day in days:
        where = f" at {', '.join(day['tracks'])}" if day["tracks"] else ""
        head = f"   {day['runs']} runs{where}, {day['clean']} clean"
        if day["elapsed"]:
            head += f"; elapsed to {day['elapsed']['to_ft']} ft"
        out.print(line((day["date"], "bold"), head))
        spread = day["spread"]
        said = "no setup ran twice: no spread to tell"
        if spread:
            span = f"[{number(spread['lo90_s'])}, {number(spread['hi90_s'])}]"
            said = f"same setup, elapsed time: sd {number(spread['sd_s'])} {span} from {spread['degrees']} repeats"
        changes = [
            f"run {made['run']}: {made['item']} {change(made['from'], made['to'], made['unit'])}"
            for made in day["changes"]
        ]
        bullets(out, [said, *changes], " ")
    out.print()


def _consistency(out: Console, rows: list[dict[str, Any]]) -> None:
    if not rows:
        return
    out.print(heading("Consistency: spread of the same setup on the same day, whole season"))
    out.print(spread_table("feet", rows))
    out.print()


def _verdicts(out: Console, rows: list[dict[str, Any]]) -> None:
    out.print(heading("What the changes did to the elapsed time"))
    if not rows:
        out.print(line("nothing that can be told yet"))
    for row in rows:
        moved = f"{row['adjustable']} {change(row['from'], row['to'], row['unit'])}"
        out.print(line((moved, "bold"), f"   {interval(row)} s"))
        out.print(Text("  ").append_text(verdict_text(row["verdict"], row)))


def _worth(out: Console, rows: list[dict[str, Any]]) -> None:
    """Print what one usual step up is worth here and across cars."""
    if not rows:
        return
    out.print()
    out.print(heading("One usual step up, on the elapsed time: in this car, and across all cars"))
    for row in rows:
        here, across = row["here"], row["across"]
        out.print(line((f"{row['adjustable']} {amount(row['step'], row['unit'], sign=True)}", "bold")))
        parts = [f"here {interval(here)}" if here else "not tried here"]
        if across:
            count = f"{row['cars_tried']} car{'' if row['cars_tried'] == 1 else 's'}"
            parts.append(f"{count} {interval(across)}, differ by {number(across['between_cars_s'])}")
        out.print(line("  ", "   ".join(parts)))
    out.print(line(("seconds with 90 % intervals; cars that tried it, this one among them; differ by: sd", "dim")))
