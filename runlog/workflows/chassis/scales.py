"""The weighings that setup sheets hold, the conditions noted with each, and whether two of them may be compared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from runlog.errors import RunlogError
from runlog.physics.scales import ScaleConditions, comparable
from runlog.physics.weights import CORNERS
from runlog.workflows.chassis.as_set import in_si
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.records import RunKey, Sheet, SheetEntry

READINGS: Final = tuple(f"weight {corner}" for corner in CORNERS)
"""the items of a setup sheet that hold the scale readings"""
DRIVER, FUEL = "driver weight", "fuel"
HELD: Final = {
    "level pads": "level_pads",
    "anti-roll link disconnected": "anti_roll_link_disconnected",
    "wheelie bars clear": "wheelie_bars_clear",
    "suspension settled": "settled",
}
"""items of a sheet that answer yes or no, and what they are called in ``ScaleConditions``"""
_YES: Final = {"yes", "y", "true", "1", "ok", "done"}
_NO: Final = {"no", "n", "false", "0"}


@dataclass(frozen=True)
class Weighing:
    """One time on the scales."""

    sheet: str
    """whose sheet holds it: ``baseline sheet`` or a run's key"""
    readings: Mapping[str, float]
    """[kg] by item, as far as they were read with a unit of mass"""
    conditions: ScaleConditions


def weighings(sheets: Sequence[Sheet], key: RunKey | None) -> list[Weighing]:
    """Return the weighings up to a run, oldest first; ``RunlogError`` for conditions that can't be.

    What is noted once a weighing (driver, fuel, pads …) counts only where the same sheet notes it; tyre pressures are
    part of the setup and hold until the next sheet.
    """
    state: dict[str, SheetEntry] = {}
    found = []
    for sheet in sheets:
        if sheet.date is not None and (key is None or (sheet.date, sheet.number) > (key.date, key.number)):
            break
        entries = {entry.item: entry for entry in sheet.entries}
        state = entries if sheet.full else {**state, **entries}
        if any(item in entries for item in READINGS):
            where = "baseline sheet" if sheet.date is None else f"{sheet.car}/{sheet.date.isoformat()}/{sheet.number}"
            masses = {item: in_si(entries.get(item), "mass") for item in READINGS}
            known = {item: mass for item, mass in masses.items() if mass is not None}
            found.append(Weighing(where, known, _conditions(where, entries, state)))
    return found


def _conditions(where: str, entries: Mapping[str, SheetEntry], state: Mapping[str, SheetEntry]) -> ScaleConditions:
    try:
        return ScaleConditions(
            driver_mass=in_si(entries.get(DRIVER), "mass"),
            fuel=in_si(entries.get(FUEL), "mass"),
            tyre_pressures=_pressures(state),
            **{name: _answer(entries.get(item)) for item, name in HELD.items()},
        )
    except ValueError as error:
        raise RunlogError(f"conditions of the weighing in the {where}: {error}") from None


def _pressures(state: Mapping[str, SheetEntry]) -> tuple[float, float, float, float] | None:
    found = []
    for corner in CORNERS:
        side, axle = corner.split()
        own = in_si(state.get(f"{axle} tyre pressure {side}"), "pressure")
        found.append(own if own is not None else in_si(state.get(f"{axle} tyre pressure"), "pressure"))
    known = [pressure for pressure in found if pressure is not None]
    return (known[0], known[1], known[2], known[3]) if len(known) == len(CORNERS) else None


def _answer(entry: SheetEntry | None) -> bool | None:
    said = entry.text.strip().lower() if entry else ""
    return True if said in _YES else (False if said in _NO else None)


def weighings_part(found: Sequence[Weighing], mass_unit: str = "lb", pressure_unit: str = "psi") -> dict[str, Any]:
    """Return the newest weighing and the one before, with what forbids comparing them, in the shape of the page."""
    newest = found[-1] if found else None
    before = found[-2] if len(found) > 1 else None
    why: tuple[str, ...] = ()
    change: dict[str, float | None] = dict.fromkeys(("total", *(corner.replace(" ", "_") for corner in CORNERS)))
    if newest and before:
        why = comparable(before.conditions, newest.conditions, mass_unit, pressure_unit)
        if not why:
            change = _change(before, newest)
    return {
        "newest": _plain(newest),
        "before": _plain(before),
        "comparable": None if before is None else not why,
        "why_not": list(why),
        "change_kg": change,
    }


def _change(before: Weighing, newest: Weighing) -> dict[str, float | None]:
    """Return what the corners and the total gained [kg]; None where one of the two wasn't read."""
    gained = {
        item.removeprefix("weight ").replace(" ", "_"): newest.readings[item] - before.readings[item]
        if item in newest.readings and item in before.readings
        else None
        for item in READINGS
    }
    known = [value for value in gained.values() if value is not None]
    total = sum(known) if len(known) == len(READINGS) else None
    return {"total": rounded(total, 3), **{name: rounded(value, 3) for name, value in gained.items()}}


def _plain(weighing: Weighing | None) -> dict[str, Any] | None:
    if weighing is None:
        return None
    noted = weighing.conditions
    return {
        "sheet": weighing.sheet,
        "driver_kg": rounded(noted.driver_mass, 2),
        "fuel_kg": rounded(noted.fuel, 2),
        "tyre_pressures_kpa": None
        if noted.tyre_pressures is None
        else [rounded(pressure / 1000, 2) for pressure in noted.tyre_pressures],
        **{name: getattr(noted, name) for name in HELD.values()},
    }


def not_noted(weighing: Weighing) -> list[str]:
    """Return the items that a sheet would have to hold beside this weighing for it to be compared with another."""
    noted = weighing.conditions
    items = {DRIVER: noted.driver_mass, FUEL: noted.fuel, "tyre pressures": noted.tyre_pressures}
    items |= {item: getattr(noted, name) for item, name in HELD.items()}
    return [item for item, value in items.items() if value is None]
