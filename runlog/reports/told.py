"""What an entry says of a thing, in words and in the units of the page."""

from __future__ import annotations

from typing import Any, Final

from runlog.constants import FOOT
from runlog.reports import amounts, shown
from runlog.units import split_quantity, unit_of

_LONGEST: Final = 24
_NAMING: Final = ("name", "label", "channel", "kind", "beam_ft", "key")
"""what tells the parts of a list from each other, the first that they have"""
_LENGTHS: Final = frozenset({
    "wheelbase", "tyre_circumference", "centre_of_gravity_height", "front_track", "rear_track", "loaded_tyre_radius",
    "rollout", "guard_beam", "pivot_x", "pivot_z", "length", "front_higher_by",
})  # fmt: skip
"""[m]"""
_IN_UNIT: Final = {
    # field: (unit that the page shows, decimals); all are SI inside
    "power": ("hp", 0), "drag_area": ("ft²", 2), "downforce_area_front": ("ft²", 2), "downforce_area_rear": ("ft²", 2),
    "stiffness": ("lb/in", 0), "peak_power_at": ("rpm", 0), "converter_stall": ("rpm", 0),
    "clutch_release": ("rpm", 0), "wind_speed": ("mph", 1), "shift_time": ("s", 3),
}  # fmt: skip
_SUFFIXES: Final = {"_ft": " ft", "_deg": "°"}
"""of fields that hold their unit in their name: beams are called by their feet everywhere"""
_NAMES: Final = {"race_mass": "race weight", "minimum_mass": "minimum weight", "front_share": "front weight"}


def difference(item: dict[str, Any], thing: str = "") -> str:
    """Return one difference in words; what the thing's name says already isn't said again."""
    what, before, after = item["what"], item["from"], item["to"]
    # a changed setting is named by the thing itself; only settings are written with their unit
    name = "" if thing.startswith("sheet ") and thing.endswith(f" {what}") else f"{said_name(what)} "
    if isinstance(before, list) and isinstance(after, list) and all(isinstance(one, dict) for one in [*before, *after]):
        return f"{name}{_parts_changed(before, after)}"
    setting = thing.startswith(("sheet ", "full sheet "))
    old, new = (value(what, one, setting=setting) for one in (before, after))
    if before is None:
        return f"{name}{new}"
    number, _, unit = old.rpartition(" ")
    if isinstance(before, int | float) or setting:  # the unit once: 7 → 6.5 psi
        old = number if number and new.endswith(f" {unit}") else old
    return f"{name}{old} → {'nothing' if after is None else new}"


def said_name(what: str) -> str:
    """Return what was said, as the crew says it."""
    kind, _, feet = what.partition(" ")
    if kind == "times":
        return f"{feet} ft"
    if kind == "speeds":
        return f"speed at {feet} ft"
    name = _NAMES.get(what, what)
    for suffix in _SUFFIXES:
        name = name.removesuffix(suffix)
    return name.replace("_", " ")


def value(what: str, found: Any, *, setting: bool = False) -> str:
    """Return a value with its unit, cut where it is long; ``setting``: written with the unit of its adjustable."""
    if isinstance(found, bool) or found is None:
        return {True: "yes", False: "no", None: "nothing"}[found]
    if isinstance(found, int | float):
        return _number(what, float(found))
    if isinstance(found, list):
        return _cut(", ".join(_part(item) for item in found))
    text = str(found)
    if setting:
        text = _setting(text)
    elif what == "time":
        text = text.removesuffix(":00")
    return _cut(text)


def _number(what: str, found: float) -> str:
    kind, field = what.split(" ")[0], what.split(" ")[-1]
    if kind == "times" or what == "reaction":
        return f"{found:.3f} s"
    if kind == "speeds" or field in ("speed_limit", "highest_speed"):
        return shown.speed(found / 0.44704)
    if what in ("temperature", "track_temperature"):
        return shown.temperature(found - 273.15)
    if what == "station_pressure":
        return shown.pressure(found / 100)
    if what in ("relative_humidity", "front_share"):
        return f"{100 * found:.{0 if what == 'relative_humidity' else 1}f} %"
    if field in ("race_mass", "minimum_mass"):
        return shown.mass(found)
    if what == "elevation":
        return shown.altitude(found / FOOT)
    if field in _LENGTHS:
        return shown.length(found)
    for suffix, unit in _SUFFIXES.items():
        if field.endswith(suffix):
            return f"{found:g}{unit}"
    if field in _IN_UNIT:
        unit, digits = _IN_UNIT[field]
        return amounts.amount(f"{unit_of(unit).from_si(found):.{digits}f}", unit)
    return f"{found:g}"


def _setting(text: str) -> str:
    """Return a setting as written, ``6.5 psi``, in the unit of the page; words stay as they are."""
    try:
        number, unit = split_quantity(text)
    except ValueError:
        return text.removesuffix(" hole")
    return amounts.amount(number, unit)


def _part(item: Any) -> str:
    if isinstance(item, dict):
        return str(next((item[name] for name in _NAMING if name in item), len(item)))
    if isinstance(item, list):
        return f"({', '.join(_part(one) for one in item)})"
    return f"{item:g}" if isinstance(item, float) else str(item)


def _parts_changed(before: list[dict[str, Any]], after: list[dict[str, Any]]) -> str:
    """Return which named parts of a list are told anew, are new, or are gone."""
    old, new = ({_part(item): item for item in items} for items in (before, after))
    changed = [name for name in new if name in old and new[name] != old[name]]
    said = [f"changed: {', '.join(changed)}"] if changed else []
    said += [f"new: {', '.join(name for name in new if name not in old)}"] if new.keys() - old.keys() else []
    said += [f"gone: {', '.join(name for name in old if name not in new)}"] if old.keys() - new.keys() else []
    return "; ".join(said) or "in another order"


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…"
