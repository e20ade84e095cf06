"""The run record as pages show it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from runlog.store import crew

if TYPE_CHECKING:
    from collections.abc import Callable

    from runlog.results import RunResult
    from runlog.store.connection import Logbook

START: Final = (
    "coolant", "oil", "transmission", "fuel", "driver", "driver_weight", "tyre_set", "tyre_runs",
    "rear_tyre_pressure", "front_tyre_pressure", "staging", "burnout", "surface", "text",
)  # fmt: skip
REPORT: Final = (
    "moved", "moved_at_ft", "front_wheels", "front_wheel_height", "bars", "vibration", "braking", "parachute", "text",
    "before_figures",
)  # fmt: skip


def record_part(book: Logbook, row: RunResult) -> dict[str, Any]:
    """Return what was recorded of a run: start-line record and driver's report, None where there is none."""
    key = row.key
    said: dict[str, dict[str, Any]] = {}
    for fact in crew.about_run(book, key, "start_record", "driver_report"):
        told = {name: value for name, value in fact.content.items() if value is not None}
        said[fact.what] = {**said.get(fact.what, {}), **told}
    return {
        "start_record": _plain(said.get("start_record"), START, start_words),
        "driver_report": _plain(said.get("driver_report"), REPORT, report_words),
        "parts": [{"part": part, "name": name} for part, name in row.record.get("parts", {}).items()],
    }


def _plain(
    told: dict[str, Any] | None, names: tuple[str, ...], words: Callable[[dict[str, Any]], str]
) -> dict[str, Any] | None:
    """Return everything that was told of a run, later words over earlier ones, and all of it in one line."""
    if told is None:
        return None
    part = {name: told.get(name) for name in names}
    return {**part, "summary": words(part)}


def start_words(part: dict[str, Any]) -> str:
    """Return the start-line record in one line."""
    said = [f"{name.replace('_', ' ')} {part[name]}" for name in START if part[name] is not None and name != "text"]
    return ", ".join([*said, *([part["text"]] if part["text"] else [])])


def report_words(part: dict[str, Any]) -> str:
    """Return the driver's report in one line."""
    said = []
    if part["moved"]:
        where = f" at {part['moved_at_ft']} ft" if part["moved_at_ft"] is not None else ""
        said.append("went straight" if part["moved"] == "straight" else f"moved {part['moved']}{where}")
    if part["front_wheels"]:
        height = f" ({part['front_wheel_height']})" if part["front_wheel_height"] else ""
        said.append(f"front wheels {part['front_wheels']}{height}")
    said += [f"{name} {part[name]}" for name in ("bars", "vibration", "braking", "parachute") if part[name]]
    said += [part["text"]] if part["text"] else []
    return ", ".join(said) + ("" if part["before_figures"] else " (told with the figures known)")
