"""The chassis page on the terminal."""

from __future__ import annotations

from itertools import dropwhile
from typing import TYPE_CHECKING, Any

from rich.text import Text

from runlog.reports.amounts import setting, symbol
from runlog.reports.chassis_launch import print_launch, print_weighings
from runlog.reports.chassis_raised import print_raised
from runlog.reports.console import NOTHING, add_row, bullets, console, heading, line, number, table
from runlog.reports.hole_chart import hole_chart
from runlog.reports.shown import force, length, mass, metric
from runlog.reports.side_view import side_view

if TYPE_CHECKING:
    from rich.console import Console

MOST_ROWS = 24
"""combinations that the page lists; ``--json`` has all of them"""


def print_chassis(page: dict[str, Any]) -> None:
    """Print the chassis of a car, with what a proposed change would make of it."""
    out = console()
    source = page["setup_from"]
    out.print(line((f"{page['car']}: chassis", "bold"), f"   {page['layout']}, setup of {source or 'no sheet yet'}"))
    if page["raised_axle"] is not None:
        print_raised(out, page["raised_axle"])
    if page["ballast_plan"] is not None:
        _ballast(out, page["ballast_plan"])
    elif page["combinations"] is not None:
        _drawing(out, page)
        _chart(out, page)
        _combinations(out, page)
    elif page["raised_axle"] is None:
        _links(out, page)
        _drawing(out, page)
        _compared(out, page)
        print_launch(out, page["launch"])
        print_weighings(out, page["weighings"])
        _travel(out, page)
        _sides(out, page["sides"])
        _driveline(out, page["driveline"])
    _remarks(out, page)


def share(percent: float | None, digits: int = 1) -> str:
    """Return per cent with its sign."""
    return NOTHING if percent is None else f"{percent:.{digits}f} %"


def angle(degrees: float | None, *, sign: bool = True) -> str:
    """Return an angle with its unit."""
    return NOTHING if degrees is None else f"{number(degrees, 2, sign=sign)}°"


def _drawing(out: Console, page: dict[str, Any]) -> None:
    for row in dropwhile(lambda row: not row, side_view(page)):
        out.print(Text(row, no_wrap=True, overflow="crop"))
    out.print()


def _chart(out: Console, page: dict[str, Any]) -> None:
    rows = hole_chart(page)
    for row in rows:
        out.print(Text(row, no_wrap=True, overflow="crop"))
    if rows:
        out.print()


def _links(out: Console, page: dict[str, Any]) -> None:
    made = table("holes in use", "hole", "x", "z")
    for used in page["holes"]:
        name = used["bracket"] if used["side"] is None else f"{used['bracket']} {used['side']}"
        add_row(made, [name, used["hole"] or NOTHING, length(used["x_m"]), length(used["z_m"])])
    if page["holes"]:
        out.print(made)
    listed = table("links", "angle", "length")
    for link in page["links"]:
        name = link["name"] if link["side"] is None else f"{link['name']} {link['side']}"
        add_row(listed, [name, angle(link["angle_deg"]), length(link["length_m"])])
    if page["links"]:
        out.print(listed)
    if page["separation_at_axle_m"] is not None:
        at_axle, at_frame = length(page["separation_at_axle_m"]), length(page["separation_at_frame_m"])
        out.print(line(f"separation {at_axle} at the axle, {at_frame} at the frame"))
    out.print()


def _compared(out: Console, page: dict[str, Any]) -> None:
    """Print geometry and balance; before and after where something is supposed."""
    after = page["suppose"]
    for change in after["changes"] if after else ():
        out.print(line(("supposed: ", "bold"), f"{change['adjustable']} {change['from'] or NOTHING} → {change['to']}"))
    made = table("", "now", *(("supposed", "change") if after else ()))
    for name, now, then in _known(_cells(page), _cells(after or page)):
        add_row(made, [name, now[0], *((then[0], _difference(now, then)) if after else ())])
    out.print(made)
    out.print(line(("wheel lift: a rigid car without air; a body that rises lifts its wheels earlier", "dim")))
    out.print()


Cell = tuple[str, float | None, Any]
"""what is printed, the figure behind it, and how a difference of it is printed"""


def _known(now: dict[str, Cell], then: dict[str, Cell]) -> list[tuple[str, Cell, Cell]]:
    """Return the rows to print: those with a figure on either side, and those that are never left out."""
    return [
        (name, now[name], then[name])
        for name in now
        if name in _ALWAYS or now[name][1] is not None or then[name][1] is not None
    ]


def _cells(page: dict[str, Any]) -> dict[str, Cell]:
    centre, gravity, corners = page["instant_centre"], page["centre_of_gravity_m"], page["corner_weights_kg"]
    forces = page["forces_per_traction"]
    parallel, lift = page["parallel_slope"], page["wheel_lift_acceleration_g"]
    cells: dict[str, Cell] = {
        "instant centre, x ahead of axle": (length(centre["x_m"]), centre["x_m"], length),
        "instant centre, z": (length(centre["z_m"]), centre["z_m"], length),
        "anti-squat": (share(page["anti_squat_pct"]), page["anti_squat_pct"], share),
        "its line at the front axle": (
            length(page["line_height_at_front_axle_m"]),
            page["line_height_at_front_axle_m"],
            length,
        ),
        "upper link, tension / traction": (number(forces["upper_link"], 2, sign=True), forces["upper_link"], _plain),
        "lower link, tension / traction": (number(forces["lower_link"], 2, sign=True), forces["lower_link"], _plain),
    }
    cells["parallel links, slope"] = (number(parallel, 3, sign=True), parallel, _plain)
    for name in corners:
        cells[f"weight {name.replace('_', ' ')}"] = (mass(corners[name]), corners[name], mass)
    cells |= {
        "total": (mass(page["total_kg"]), page["total_kg"], mass),
        "front": (share(page["front_pct"]), page["front_pct"], share),
        "left": (share(page["left_pct"]), page["left_pct"], share),
        "cross (right front + left rear)": (share(page["cross_pct"]), page["cross_pct"], share),
        "centre of gravity, x": (length(gravity["x"]), gravity["x"], length),
        "centre of gravity, y to the left": (length(gravity["y"]), gravity["y"], length),
        "centre of gravity, z": (length(gravity["z"]), gravity["z"], length),
        "front wheels lift at": (
            NOTHING if lift is None else f"{number(lift, 2)} g",
            lift,
            _plain,
        ),
        "driven tyres at the launch": (
            force(page["launch"]["driven_tyres_n"]),
            page["launch"]["driven_tyres_n"],
            force,
        ),
        "over the minimum weight": (mass(page["over_minimum_kg"]), page["over_minimum_kg"], mass),
    }
    return cells


_ALWAYS = ("instant centre, x ahead of axle", "instant centre, z", "anti-squat", "total", "front wheels lift at")


def _plain(value: float | None) -> str:
    return number(value, 2)


def _difference(now: Cell, then: Cell) -> str:
    if now[1] is None or then[1] is None:
        return NOTHING
    change = then[1] - now[1]
    shown = str(now[2](abs(change)))
    if not any(digit in shown for digit in "123456789"):
        return "="
    return f"{'+' if change > 0 else '-'}{shown}"


def _travel(out: Console, page: dict[str, Any]) -> None:
    if not page["travel"]:
        return
    out.print(heading("As the axle rises and falls relative to the body"))
    made = table("axle", "pinion turns", "anti-squat", "instant centre x", "z")
    for row in page["travel"]:
        raised = length(abs(row["axle_raised_mm"]) / 1000)
        way = "up" if row["axle_raised_mm"] > 0 else "down"
        centre = row["instant_centre"]
        cells = [angle(row["pinion_change_deg"]), share(row["anti_squat_pct"]), length(centre["x_m"])]
        add_row(made, [f"{raised} {way}", *cells, length(centre["z_m"])])
    out.print(made)
    lowered = page["sensitivity"]["anti_squat_pct_per_10_mm_frame_lowered"]
    if lowered is not None:
        step = 1.0 if metric() else 0.635
        what = "10 mm" if metric() else "1/4 in"
        out.print(line(f"frame {what} lower, pinion angle set back: anti-squat {lowered * step:+.1f} %"))
    out.print()


def _sides(out: Console, sides: dict[str, Any]) -> None:
    steer, preload = sides["axle_steer_deg_per_25_mm_raised"], sides["preload"]
    if not sides["anti_squat_difference_pct"] and not steer and preload is None:
        return
    out.print(heading("Left against right"))
    if sides["anti_squat_difference_pct"]:
        out.print(line(f"anti-squat left less right {sides['anti_squat_difference_pct']:+.1f} %"))
    if steer:
        out.print(line(f"axle 25 mm up: rear wheels tend to point {sides['rear_wheels_point']}, {abs(steer):.3f}°"))
    if preload is not None:
        loads = preload["right_upper_link_1_mm_longer_loads"]
        roll = preload["roll_deg_if_nothing_else_held"]
        out.print(line(f"right upper link 1 mm longer: tends to load the {loads} rear tyre, {roll:.2f}° roll at most"))
    bullets(out, [sides["note"]], "?")
    out.print()


def _driveline(out: Console, driveline: dict[str, Any]) -> None:
    if all(value is None for value in driveline.values()):
        return
    out.print(heading("Driveshaft, side view"))
    shaft, pinion = angle(driveline["driveshaft_deg"]), angle(driveline["pinion_to_driveshaft_deg"])
    front, rear = (angle(driveline[f"{end}_joint_deg"], sign=False) for end in ("front", "rear"))
    out.print(line(f"pinion to the driveshaft {pinion} · driveshaft {shaft}"))
    out.print(line(f"working angles: front joint {front}, rear joint {rear}"))
    out.print()


def _combinations(out: Console, page: dict[str, Any]) -> None:
    rows, target = page["combinations"], page["target_pct"]
    out.print(line(f"{len(rows)} allowed combinations of holes, nearest to {target:.1f} % anti-squat first"))
    if not rows:
        return
    made = table("upper front/rear", "lower front/rear", "anti-squat", "centre x", "z", "frame lower", "moves", left=2)
    for row in rows[:MOST_ROWS]:
        upper_front, upper_rear, lower_front, lower_rear = row["holes"].values()
        side = f" {row['side']}" if row["side"] else ""
        lowered = row["anti_squat_pct_per_10_mm_frame_lowered"]
        step = 1.0 if metric() else 0.635
        cells = [
            f"{upper_front} / {upper_rear}{side}",
            f"{lower_front} / {lower_rear}",
            share(row["anti_squat_pct"]),
            length(row["instant_centre"]["x_m"], 1),
            length(row["instant_centre"]["z_m"], 1),
            NOTHING if lowered is None else f"{lowered * step:+.1f} %",
            "in use" if row["moved"] == 0 else str(row["moved"]),
        ]
        add_row(made, cells)
    out.print(made)
    if len(rows) > MOST_ROWS:
        out.print(line((f"and {len(rows) - MOST_ROWS} more: --json has all of them", "dim")))
    low = "10 mm" if metric() else "1/4 in"
    out.print(line((f"frame lower: anti-squat for {low}; moves: brackets to change", "dim")))


def _ballast(out: Console, plan: dict[str, Any]) -> None:
    target = f"{mass(plan['target_total_kg'])} with {share(plan['target_front_pct'])} front"
    out.print(line((f"ballast for {target}{'' if plan['reached'] else ': not reached, this is the nearest'}", "bold")))
    made = table("mount", "in it", "to be in it", "")
    for row in plan["mounts"]:
        cells = [setting(row[name], row["unit"]) for name in ("from", "to")]
        add_row(made, [row["adjustable"], *cells, symbol(row["unit"])])
    out.print(made)
    lift = number(plan["wheel_lift_acceleration_g"], 2)
    out.print(
        line(f"gives {mass(plan['total_kg'])} with {share(plan['front_pct'])} front; front wheels lift at {lift} g")
    )
    bullets(out, plan["cautions"], "!")
    out.print()


def _remarks(out: Console, page: dict[str, Any]) -> None:
    after = page["suppose"]
    warnings = [*page["warnings"], *(after["warnings"] if after else [])]
    bullets(out, list(dict.fromkeys(warnings)), "?")
    if page["missing"]:
        out.print(heading("What would tell more"))
        bullets(out, page["missing"], "☐")
    out.print(heading("Before anything is changed"))
    bullets(out, page["cautions"], "!")
