"""The chassis page: geometry, weights and balance of a car in the setup in force, and of a proposed one beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from runlog import catalogue
from runlog.errors import NotFound, UsageError
from runlog.physics.link_holes import PLACES, Bracket, HoleTable, hole_table
from runlog.readers.keys import parse_run_key
from runlog.store import facts, results
from runlog.workflows.chassis.as_set import Chassis, bracket, hole_in_use
from runlog.workflows.chassis.ballast import Wanted, ballast_part
from runlog.workflows.chassis.figures import Remarks, side_view
from runlog.workflows.chassis.launch import Hit, launch_of, launch_part
from runlog.workflows.chassis.proposed import HEIGHT, Proposal, suppose
from runlog.workflows.chassis.scales import READINGS, not_noted, weighings, weighings_part
from runlog.workflows.chassis.weights import weigh, weights_part
from runlog.workflows.run_content import rounded
from runlog.workflows.setup import baseline

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.records import Car, RunKey, Sheet, SheetEntry
    from runlog.store.connection import Logbook

CAUTIONS: Final = (
    catalogue.CAUTIONS["W"],
    catalogue.CAUTIONS["J"],
    "stands and chocks before any link is loosened",
    "an estimate, not permission: rules, makers' limits and licensed inspection come first",
)
NO_HIT: Final = Hit(None, None)
DEFAULT_TARGET: Final = 100.0
"""[%] that combinations are sorted by where nothing is known to start from"""


def chassis_page(
    book: Logbook,
    name: str,
    run: RunKey | None = None,
    supposed: Sequence[str] = (),
    *,
    target_pct: float | None = None,
    holes: bool = False,
    wanted: Wanted | None = None,
) -> dict[str, Any]:
    """Return the chassis of a car in the shape of ``chassis --json``.

    With the setup of ``run``, else of the newest run, else of the baseline sheet. ``holes``: with the table of allowed
    combinations, nearest first to ``target_pct`` (else to the anti-squat in use). ``wanted``: with the ballast that
    reaches it. ``NotFound`` without a car file, ``UsageError`` for a proposal that passes a limit of the car file.
    """
    car = facts.car(book, name)
    if car is None:
        raise NotFound(f"no car file of {name} in the logbook: import it first")
    if run is not None and run.car != name:
        raise UsageError(f"--run {run} is not a run of {name}")
    chassis, source = _in_force(book, car, run)
    hit = launch_of(book, chassis, run)
    page, remarks = figures(chassis, hit)
    scaled = weighings(facts.sheets(book, name), parse_run_key(source or ""))
    if scaled and (unnoted := not_noted(scaled[-1])):
        remarks.missing.append(f"beside the scale readings: {', '.join(unnoted)}, to compare them with later ones")
    after, changes = suppose(chassis, supposed)
    extra = _height_note(changes)
    return {
        "car": name,
        "setup_from": source,
        **page,
        "target_pct": _target(page, target_pct) if holes else None,
        "combinations": combinations(chassis, page, _target(page, target_pct)) if holes else None,
        "suppose": _supposed(after, changes, hit) if supposed else None,
        "weighings": weighings_part(scaled),
        "ballast_plan": ballast_part(after, wanted) if wanted else None,
        "raised_axle": None,
        "missing": list(dict.fromkeys(remarks.missing)),
        "warnings": [*dict.fromkeys(remarks.warnings), *extra],
        "cautions": _cautions(changes),
    }


def _in_force(book: Logbook, car: Car, run: RunKey | None) -> tuple[Chassis, str | None]:
    """Return the chassis in the setup in force, and where that setup comes from."""
    rows = {row.key: row for row in results.run_results(book, car.name)}
    if run is not None and run not in rows:
        raise NotFound(f"no run {run} in the logbook")
    key = run or max(rows, key=lambda item: (item.date, item.number), default=None)
    sheets = facts.sheets(book, car.name)
    setup: Mapping[str, SheetEntry] = {entry.item: entry for entry in rows[key].setup} if key else {}
    if not setup and run is None:
        setup, key = baseline(sheets), None
    source = str(key) if key and setup else ("baseline sheet" if setup else None)
    # without scale readings the race weight stands for the car as it is
    return Chassis(car, setup, weighed_with(sheets, key) or setup), source


def weighed_with(sheets: Sequence[Sheet], key: RunKey | None) -> dict[str, SheetEntry]:
    """Return the setup in force when the newest scale readings up to a run were written; empty where there are none."""
    state: dict[str, SheetEntry] = {}
    weighed: dict[str, SheetEntry] = {}
    for sheet in sheets:
        later = sheet.date is not None and (key is None or (sheet.date, sheet.number) > (key.date, key.number))
        if later:
            break
        entries = {entry.item: entry for entry in sheet.entries}
        state = entries if sheet.full else {**state, **entries}
        if any(item in entries for item in READINGS):
            weighed = state
    return weighed


def figures(chassis: Chassis, hit: Hit = NO_HIT) -> tuple[dict[str, Any], Remarks]:
    """Return geometry, weights, balance and launch in the shape of the page, with what is missing and doubtful."""
    weighed = weigh(chassis)
    remarks = Remarks(list(weighed.missing), list(weighed.warnings))
    height = weighed.car.height if weighed.car else chassis.car.centre_of_gravity_height
    seen = side_view(chassis, height, remarks)
    launch = launch_part(chassis, weighed, hit, remarks)
    return {**seen, **weights_part(chassis, weighed), "launch": launch}, remarks


def _supposed(after: Chassis, changes: Sequence[Proposal], hit: Hit) -> dict[str, Any]:
    page, remarks = figures(after, hit)
    return {
        "changes": [
            {
                "adjustable": change.adjustable.name,
                "unit": change.adjustable.unit,
                "from": change.before,
                "to": change.after,
                "cautions": list(catalogue.cautions_for(change.adjustable.cautions)),
            }
            for change in changes
        ],
        **page,
        "missing": list(dict.fromkeys(remarks.missing)),
        "warnings": list(dict.fromkeys(remarks.warnings)),
    }


def _height_note(changes: Sequence[Proposal]) -> list[str]:
    if not any(change.adjustable.name == HEIGHT for change in changes):
        return []
    return ["ride height: links set again to the old pinion angle, height of the centre of gravity held"]


def _cautions(changes: Sequence[Proposal]) -> list[str]:
    letters = [letter for change in changes for letter in change.adjustable.cautions]
    own = catalogue.cautions_for("".join(dict.fromkeys(letters)))
    return [*CAUTIONS, *(text for text in own if text not in CAUTIONS)]


def _target(page: Mapping[str, Any], target_pct: float | None) -> float:
    if target_pct is not None:
        return target_pct
    return page["anti_squat_pct"] if page["anti_squat_pct"] is not None else DEFAULT_TARGET


def combinations(chassis: Chassis, page: Mapping[str, Any], target_pct: float) -> list[dict[str, Any]]:
    """Return every allowed hole combination, nearest to a target anti-squat [%] first; for each side where they differ.

    Empty for a layout without four brackets, and where coordinates or the height of the centre of gravity are missing.
    """
    height = page["centre_of_gravity_m"]["z"]
    if chassis.places != PLACES or height is None:
        return []
    rows = []
    for side in chassis.sides:
        brackets = [_bracket(chassis, place, side) for place in PLACES]
        known = [item for item in brackets if item is not None]
        if len(known) == len(PLACES):
            table = hole_table(known, height, chassis.car.wheelbase, chassis.axle_height)
            rows += _rows(chassis, side, table.nearest_anti_squat(target_pct / 100), target_pct)
    return rows


def _bracket(chassis: Chassis, place: str, side: str) -> Bracket | None:
    """Return the holes of a bracket that the car file's limits allow and whose places it gives."""
    adjustable = bracket(chassis.car, place, side)
    if adjustable is None:
        return None
    low, high = adjustable.low or 0.0, len(adjustable.holes) if adjustable.high is None else adjustable.high
    usable = [
        (position, (hole.x, hole.z))
        for position, hole in enumerate(adjustable.holes)
        if low <= position <= high and hole.x is not None and hole.z is not None
    ]
    if not usable:
        return None
    return Bracket(tuple(position for position, _ in usable), tuple(point for _, point in usable))


def _rows(chassis: Chassis, side: str, table: HoleTable, target_pct: float) -> list[dict[str, Any]]:
    adjustables = [bracket(chassis.car, place, side) for place in PLACES]
    used = [hole_in_use(chassis, place, side).hole for place in PLACES]
    rows = []
    for n, positions in enumerate(table.positions.tolist()):
        holes = [item.holes[at] for item, at in zip(adjustables, positions, strict=True) if item is not None]
        share = float(table.anti_squat[n])
        rows.append(
            {
                "side": side or None,
                "holes": {place: hole.label for place, hole in zip(PLACES, holes, strict=True)},
                "moved": sum(hole != now for hole, now in zip(holes, used, strict=True)),
                "instant_centre": {"x_m": rounded(float(table.x[n]), 6), "z_m": rounded(float(table.z[n]), 6)},
                "anti_squat_pct": rounded(100 * share, 4),
                "off_target_pct": _plain_zero(rounded(100 * share - target_pct, 4)),
                "anti_squat_pct_per_10_mm_frame_lowered": rounded(float(table.frame_lowered[n]), 4),
                "anti_squat_pct_per_10_mm_axle_raised": rounded(float(table.axle_raised[n]), 4),
            }
        )
    return rows


def _plain_zero(value: float | None) -> float | None:
    """Return the number without the sign that a rounded zero may keep."""
    return None if value is None else value + 0.0
