"""The shop's cars together, on the terminal."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

from rich.text import Text

from runlog.reports.amounts import amount
from runlog.reports.console import add_row, bullets, console, heading, line, number, table
from runlog.reports.words import VERDICTS, interval

if TYPE_CHECKING:
    from rich.console import Console


_SHORT = {"no_difference": "no difference", "cannot_tell": "cannot tell"}


def print_fleet(page: dict[str, Any]) -> None:
    """Print what all cars say together."""
    out = console()
    cars = page["cars"]
    out.print(line((f"{len(cars)} car{'' if len(cars) == 1 else 's'} together: what one usual step does", "bold")))
    out.print(line("; ".join(f"{car['car']} {car['runs']} runs on {car['days']} days" for car in cars)))
    out.print(line("seconds, negative is quicker; 90 % intervals; spread: the sd between cars"))
    out.print()
    tried = [row for row in page["effects"] if row["cars_tried"]]
    for _, rows in groupby(tried, key=lambda row: (row["adjustable"], row["unit"])):
        _adjustable(out, list(rows))
    untried = dict.fromkeys(row["adjustable"] for row in page["effects"] if not row["cars_tried"])
    if untried:
        out.print(line("tried by no car: ", ", ".join(untried)))
        out.print()
    _disagreements(out, page["disagreements"])
    _next(out, page["next"], by_file_alone=page["next_by_file_alone"])


def _adjustable(out: Console, rows: list[dict[str, Any]]) -> None:
    first = rows[0]
    step = amount(first["step"], first["unit"])
    kind = "shared by adjustables; " if first["shared"] else ""
    count = f"{kind}tried by {len(first['cars_tried'])} of {len(first['cars_with'])} that have it"
    out.print(line((f"{first['adjustable']}, one step of {step}", "bold"), f"   {count}"))
    listed = table("feet", "on average", "spread", "in another car", "verdict")
    listed.columns[4].justify = "left"
    for row in rows:
        new = f"{number(row['new_car_lo90_s'], sign=True)} to {number(row['new_car_hi90_s'], sign=True)}"
        words, style, mark = VERDICTS[row["verdict"]]
        verdict = Text(f"{mark} {_SHORT.get(row['verdict'], words)}", style=style)
        where = f"{row['from_ft']}–{row['to_ft']}"
        add_row(listed, [where, interval(row), number(row["between_cars_s"]), new, verdict])
    out.print(listed)
    if first["beyond_tried"]:
        out.print(line("  no car has tried it upwards: the figures are carried over from steps down"))
    if rows[-1]["inseparable_from"]:
        out.print(line(f"  cannot be told apart from {', '.join(rows[-1]['inseparable_from'])}"))
    out.print()


def _disagreements(out: Console, rows: list[dict[str, Any]]) -> None:
    out.print(heading("Cars that differ from what the others say"))
    if not rows:
        out.print(line("none by more than chance explains"))
    for row in rows:
        found, expected = (number(row[name], sign=True) for name in ("found_s", "expected_s"))
        said = (
            f"{row['car']}: {row['adjustable']} on {row['from_ft']}–{row['to_ft']} ft {found} s, "
            f"by the others {expected} s ({abs(row['standardised']):.1f} sd apart)"
        )
        bullets(out, [said], "?")
    out.print()


def _next(out: Console, rows: list[dict[str, Any]], *, by_file_alone: bool) -> None:
    out.print(heading("Worth testing next in the shop: little known, in many cars, for the time it takes"))
    if not rows:
        out.print(line("Nothing: what the cars have is settled, or can't be tested as they stand."))
    for n, row in enumerate(rows, 1):
        said = f"{row['share_learned']:.0%} known, tried by {row['cars_tried']} of {len(row['cars_with'])} cars"
        step = amount(row["step"], row["unit"])
        out.print(line((f"{n}. {row['adjustable']}, one step of {step}", "bold"), f"   {said}".replace("%", " %")))
        cost = f"{row['minutes']:g} min a change, {row['hours']:.1f} h there and back"
        lost = f"; lost by the car itself {row['runs_lost']} of {row['runs_away']} runs away from the baseline"
        cost += lost if row["runs_away"] else ""
        held = [f"not in {item['car']}: {item['why']}" for item in row["held"]]
        texts = [f"in {', '.join(row['cars_free'])}", cost, *held, *(f"! {text}" for text in row["cautions"])]
        bullets(out, texts, "  ")
    if by_file_alone:
        out.print(line("! A lake holds no release steps, open items or barred settings: see each car's plan."))
    out.print(line(("An estimate, not permission: rules, makers' limits and licensed inspection come first.", "dim")))
