"""The height of the centre of gravity from raised weighings, on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.reports.console import add_row, bullets, heading, line, table
from runlog.reports.shown import metric

if TYPE_CHECKING:
    from rich.console import Console


def print_raised(out: Console, part: dict[str, Any]) -> None:
    """Print the height with its standard uncertainty, every weighing with its residual, and the cautions."""
    out.print(heading(f"Centre of gravity from {part['file']}"))
    height, spread = _length(part["height_m"]), _length(part["standard_uncertainty_m"], 2)
    out.print(
        line(("height ", "bold"), f"{height}, standard uncertainty {spread}; {_length(part['x_m'])} ahead of axle")
    )
    radii = f"tyre radii {_length(part['front_radius_m'])} front, {_length(part['rear_radius_m'])} rear"
    out.print(line((f"total {_mass(part['total_kg'])} ({part['total_from']}); {radii}", "dim")))
    for end in part["ends"]:
        _end(out, end)
    bullets(out, part["cautions"], "!")
    out.print()


def _end(out: Console, end: dict[str, Any]) -> None:
    other = "rear" if end["raised"] == "front" else "front"
    spread = _length(end["standard_uncertainty_m"], 2)
    out.print(
        line(
            f"{end['raised']} raised: {_length(end['height_m'])}, standard uncertainty {spread}, "
            f"{end['degrees_of_freedom']} degrees of freedom"
        )
    )
    made = table("lift", f"load, {other}", "from the line")
    for row in end["weighings"]:
        add_row(made, [_length(row["lift_m"]), _mass(row["load_kg"]), _mass(row["residual_kg"], sign=True)])
    out.print(made)


def _length(metres: float, digits: int = 1) -> str:
    return f"{metres * 1000:.{digits - 1}f} mm" if metric() else f"{metres / 0.0254:.{digits}f} in"


def _mass(kilograms: float, *, sign: bool = False) -> str:
    number, unit = (kilograms, "kg") if metric() else (kilograms / 0.45359237, "lb")
    return f"{number:{'+' if sign else ''}.1f} {unit}"
