"""Height of the centre of gravity from weighings with one axle raised, beside the figures of the chassis page."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from runlog.errors import RunlogError, UsageError
from runlog.physics.raised_axle import LEAST_STEPS, HeightFit, RaisedAxle, combine_ends, height_from_raised_axle
from runlog.readers.raised import read_raised
from runlog.store import facts
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from runlog.readers.raised import RaisedTable
    from runlog.records import Car
    from runlog.store.connection import Logbook

CAUTIONS: Final = (
    "nobody in or under a raised car: it can roll off or fall; secure the raised axle, chock the other, and lift no "
    "higher than the maker and the lifting gear allow",
    "lock the suspension and hold fuel, ballast and all else still, the driver's place filled with dead weight: what "
    "gives way or runs to one end shows as height",
    f"weigh {LEAST_STEPS} or more lifts beside the level car, and repeat from the other end",
    "ISO 10392 puts this method at a few per cent, however small the scatter; the car file is left as it is",
)

_BALANCE_APART: Final = 1.0
"""[% of the weight on the front] apart that is remarked on; common practice, no source"""


@dataclass(frozen=True)
class Radii:
    """Loaded tyre radii [m] that were given beside the car file; None where they weren't."""

    front: float | None = None
    rear: float | None = None


@dataclass(frozen=True)
class _Level:
    """The car as it stands level: total [kg], wheelbase and loaded tyre radii [m]."""

    total: float
    wheelbase: float
    front_radius: float
    rear_radius: float


def with_raised_axle(book: Logbook, page: Mapping[str, Any], path: Path, radii: Radii) -> dict[str, Any]:
    """Return the chassis page with what the table of a file says under ``raised_axle``.

    ``FileFaults`` for a table that can't be read, ``UsageError`` without the tyre radii, ``RunlogError`` for weighings
    that can't be.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise RunlogError(f"{path} can't be read: {error.strerror}") from None
    car = facts.cars(book)[page["car"]]
    table = read_raised(content, path.name)
    return {**page, "raised_axle": raised_part(page, car, table, path.name, radii)}


def raised_part(page: Mapping[str, Any], car: Car, table: RaisedTable, file: str, radii: Radii) -> dict[str, Any]:
    """Return the height from each raised end and from both, in the shape of the page."""
    scaled = None not in page["corner_weights_kg"].values()
    total = page["total_kg"] if scaled else car.race_mass
    front, rear = radii.front, radii.rear or car.loaded_tyre_radius
    if rear is None:
        raise UsageError(
            "radius of the rear tyres not known: give --rear-radius, or loaded_tyre_radius in the car file"
        )
    if front is None:
        raise UsageError(
            "radius of the front tyres not known: give --front-radius, from the ground to the wheel centre"
        )
    ends = {raised: _fit(raised, table, file, _Level(total, car.wheelbase, front, rear)) for raised in table.weighings}
    fits = list(ends.values())
    both = _with_radii(fits[0] if len(fits) == 1 else combine_ends(*fits), table)
    return {
        "file": file,
        "total_kg": rounded(total, 3),
        "total_from": "scale readings" if scaled else "race weight of the car file",
        "front_radius_m": rounded(front, 5),
        "rear_radius_m": rounded(rear, 5),
        "height_m": rounded(both.height, 6),
        "standard_uncertainty_m": rounded(both.standard_uncertainty, 6),
        "x_m": rounded(both.x, 6),
        "ends": [_plain(raised, _with_radii(fit, table), table.weighings[raised]) for raised, fit in ends.items()],
        "cautions": [*CAUTIONS, *both.cautions, *_doubts(table, scaled), *_apart(page, both)],
    }


def _fit(raised: str, table: RaisedTable, file: str, level: _Level) -> HeightFit:
    """Return the height from one raised end, the radii taken as exact; ``RunlogError`` for weighings that can't be."""
    rows = table.weighings[raised]
    if len(rows) < LEAST_STEPS and not table.resolution:
        raise RunlogError(
            f"{file}, {raised} raised: {len(rows)} weighing{'s' if len(rows) > 1 else ''} and no resolution leave the "
            "uncertainty unknown; accepted: three or more, or a column resolution_<unit> above zero"
        )
    try:
        return height_from_raised_axle(
            RaisedAxle(
                raised=raised,
                total=level.total,
                wheelbase=level.wheelbase,
                front_radius=level.front_radius,
                rear_radius=level.rear_radius,
                lifts=tuple(lift for lift, _ in rows),
                loads=tuple(load for _, load in rows),
                resolution=table.resolution or 0.0,
                lift_sd=table.lift_sd or 0.0,
            )
        )
    except ValueError as error:
        raise RunlogError(f"{file}, {raised} raised: {error}") from None


def _with_radii(fit: HeightFit, table: RaisedTable) -> HeightFit:
    """Return the fit with the uncertainty of the radii, which is common to both ends: no second end makes it smaller.

    Both radii larger by as much raise the wheel centres, and with them the height, by just that.
    """
    return replace(fit, standard_uncertainty=math.hypot(fit.standard_uncertainty, table.radius_sd or 0.0))


def _doubts(table: RaisedTable, scaled: bool) -> list[str]:
    """Return what the uncertainty doesn't count."""
    said = []
    left_out = [
        name
        for name, value in (("display", table.resolution), ("lifts", table.lift_sd), ("tyre radii", table.radius_sd))
        if value is None
    ]
    if left_out:
        said.append(f"the uncertainty counts nothing for the {' and '.join(left_out)}: the table doesn't say how well")
    if not scaled:
        said.append("total taken from the car file's race weight: no scale readings of all corners in the setup")
    if len(table.weighings) == 1:
        said.append(f"only the {next(iter(table.weighings))} was raised: nothing checks this height from the other end")
    return said


def _apart(page: Mapping[str, Any], fit: HeightFit) -> list[str]:
    """Return a doubt where the raised weighings and the page's weights place the car's balance differently."""
    front_pct = 100 * fit.x / page["wheelbase_m"]
    if page["front_pct"] is None or abs(front_pct - page["front_pct"]) <= _BALANCE_APART:
        return []
    return [
        f"these weighings put {front_pct:.1f} % on the front, the setup's weights {page['front_pct']:.1f} %: "
        "was the car the same, driver and fuel too?"
    ]


def _plain(raised: str, fit: HeightFit, rows: Sequence[tuple[float, float]]) -> dict[str, Any]:
    return {
        "raised": raised,
        "height_m": rounded(fit.height, 6),
        "standard_uncertainty_m": rounded(fit.standard_uncertainty, 6),
        "x_m": rounded(fit.x, 6),
        "degrees_of_freedom": fit.degrees_of_freedom,
        "weighings": [
            {"lift_m": rounded(lift, 6), "load_kg": rounded(load, 4), "residual_kg": rounded(residual, 4)}
            for (lift, load), residual in zip(rows, fit.residuals, strict=True)
        ],
    }
