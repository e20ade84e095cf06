"""The launch and the weighings on the chassis page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.reports.amounts import amount
from runlog.reports.console import NOTHING, add_row, bullets, heading, line, number, table
from runlog.reports.shown import force, metric, torque

if TYPE_CHECKING:
    from rich.console import Console


def print_launch(out: Console, launch: dict[str, Any]) -> None:
    """Print what the tyres carry at the launch, and what ballast and preload change; nothing where it isn't known."""
    if launch["driven_tyres_n"] is None:
        return
    out.print(heading(f"At the launch, {launch['acceleration_g']:.2f} g"))
    out.print(line((launch["acceleration_from"], "dim")))
    share = f"{launch['driven_tyres_pct']:.0f} % of the weight"
    margin = number(launch["wheel_lift_margin_g"], 2, sign=True)
    out.print(line(f"driven tyres {force(launch['driven_tyres_n'])}, {share}; {margin} g to wheel lift"))
    _sides(out, launch)
    _ballast(out, launch["ballast"])
    _bars(out, launch["wheelie_bars"])
    bullets(out, launch["assumptions"], "?")
    bullets(out, launch["cautions"], "!")
    out.print()


def _sides(out: Console, launch: dict[str, Any]) -> None:
    if launch["driveshaft_torque_nm"] is None:
        return
    turning, even = torque(launch["driveshaft_torque_nm"]), torque(launch["preload_for_even_tyres_nm"])
    tyres = launch["tyres_n"]
    if tyres["left_rear"] is not None:
        preload = (
            f"preload {torque(launch['preload_nm'])}" if launch["preload_nm"] is not None else "no preload counted"
        )
        out.print(line(f"left rear {force(tyres['left_rear'])}, right rear {force(tyres['right_rear'])} ({preload})"))
    out.print(
        line(
            f"driveshaft torque {turning} presses the left rear tyre; anti-roll preload of {even} that "
            "loads the right one would cancel it"
        )
    )


def _ballast(out: Console, rows: list[dict[str, Any]]) -> None:
    if not rows:
        return
    made = table("ballast, one step", "", "driven tyres", "load per weight", "wheel lift")
    for row in rows:
        load, lift = row["load_per_mass_change_pct"], row["wheel_lift_change_g"]
        add_row(
            made,
            [
                row["adjustable"],
                amount(row["step"], row["unit"], sign=True),
                force(row["driven_tyres_change_n"], sign=True),
                NOTHING if load is None else f"{load:+.2f} %",
                NOTHING if lift is None else f"{lift:+.3f} g",
            ],
        )
    out.print(made)


def _bars(out: Console, bars: dict[str, Any] | None) -> None:
    if bars is None:
        return
    behind = f"{bars['length_m'] * 1000:.0f} mm" if metric() else f"{bars['length_m'] / 0.0254:.1f} in"
    touch = "" if bars["touch_at_pitch_deg"] is None else f", touch at {bars['touch_at_pitch_deg']:.1f}° of pitch"
    out.print(line(f"wheelie bars {behind} behind the axle{touch}"))
    each = bars["driven_tyres_lose_per_load"]
    if bars["load_n"]:
        lost = force(bars["load_n"] * each)
        out.print(line(f"front wheels up: the bars carry {force(bars['load_n'])}, the driven tyres lose {lost}"))
    else:
        out.print(
            line(f"clear at this launch; whatever they carry takes {each:.2f} times as much off the driven tyres")
        )
    if bars["front_wheels_rise_m"] is not None:
        rise = bars["front_wheels_rise_m"]
        shown = f"{rise * 1000:.0f} mm" if metric() else f"{rise / 0.0254:.1f} in"
        out.print(line(f"held there, the front wheels are {shown} up"))


def print_weighings(out: Console, found: dict[str, Any]) -> None:
    """Print the newest weighing against the one before, or why the two must not be compared."""
    if found["before"] is None:
        return
    newest, before = found["newest"]["sheet"], found["before"]["sheet"]
    out.print(heading("On the scales"))
    if not found["comparable"]:
        out.print(line(f"not to be compared: first weighing {before}, second {newest}"))
        bullets(out, found["why_not"], "?")
    else:
        parts = [
            f"{name.replace('_', ' ')} {_mass(value)}"
            for name, value in found["change_kg"].items()
            if value is not None
        ]
        out.print(line(f"{newest} against {before}, under the same conditions: {', '.join(parts)}"))
    out.print()


def _mass(kilograms: float) -> str:
    return f"{kilograms:+.1f} kg" if metric() else f"{kilograms / 0.45359237:+.1f} lb"
