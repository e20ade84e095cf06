"""The day's changes, each with what is known of it and what would settle what isn't."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.results import ASSUMED

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.results import Change, RunResult

_KEPT = ("mean_s", "lo90_s", "hi90_s", "probability_helps", "verdict", "note")
SETTLED = ("helped", "hurt", "no_difference")


def changes_part(rows: Sequence[RunResult], effects: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return every item that was changed on a day, in the order of its first change.

    ``effects`` as in ``effects --json``, empty where none are known: from all runs of the car, not of that day alone.
    """
    moves: dict[str, list[tuple[int, Change]]] = {}
    for row in rows:
        for change in row.changes:
            moves.setdefault(change.item, []).append((row.key.number, change))
    return [_part(item, made, _rows_of(effects, item)) for item, made in moves.items()]


def elapsed_rows(effects: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return what is known of each adjustable that moved, on the elapsed time to the car's longest finish."""
    rows: list[dict[str, Any]] = effects.get("effects", [])
    finish = max((row["to_ft"] for row in rows if row["from_ft"] == 0 and row["change_made"]), default=None)
    return [row for row in rows if row["from_ft"] == 0 and row["to_ft"] == finish and row["change_made"]]


def effect_part(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a change did on one stretch, with what would settle it where that isn't told yet."""
    made = row["change_made"]
    return {
        "from_ft": row["from_ft"],
        "to_ft": row["to_ft"],
        "from": made["from"],
        "to": made["to"],
        **{name: made[name] for name in _KEPT},
        "inseparable_from": row["inseparable_from"],
        "runs_needed": row["runs_needed"],
        "beyond_tried": row["beyond_tried"],
        "between_days": row["confounded_with_day"],
        "share_learned": row["share_learned"],
    }


def is_assumed(effect: Mapping[str, Any]) -> bool:
    """Tell whether "no difference" is what was assumed before any run: the runs have next to no part in it."""
    return bool(effect["verdict"] == "no_difference" and effect["share_learned"] < ASSUMED)


def is_settled(effect: Mapping[str, Any]) -> bool:
    """Tell whether runs have settled what a change did."""
    return effect["verdict"] in SETTLED and not effect["note"] and not is_assumed(effect)


def settles(effect: Mapping[str, Any]) -> str:
    """Return in plain words what would settle a change."""
    if effect["note"]:
        return "runs without a loss at either setting, there and back"
    if effect["verdict"] == "cannot_separate":
        return f"move it alone: so far it always moved together with {', '.join(effect['inseparable_from'])}"
    if is_assumed(effect):
        return "there and back on one day, if it is to be tested at all"
    if effect["verdict"] in SETTLED:
        return "nothing more: the runs so far are enough"
    if effect["runs_needed"]:
        return f"about {effect['runs_needed']} more runs, there and back on one day"
    return "there and back on one day, unchanged runs between"


def _rows_of(effects: Mapping[str, Any], item: str) -> list[dict[str, Any]]:
    return [row for row in effects.get("effects", []) if row["adjustable"] == item and row["change_made"]]


def _part(item: str, moves: Sequence[tuple[int, Change]], rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    parts = [effect_part(row) for row in rows]
    finish = max((part["to_ft"] for part in parts if part["from_ft"] == 0), default=None)
    whole = next((part for part in parts if part["from_ft"] == 0 and part["to_ft"] == finish), None)
    increments = [part for part in parts if part["from_ft"] or part["to_ft"] == 60]
    return {
        "item": item,
        "unit": moves[0][1].unit,
        "moves": [{"run": run, "from": change.before, "to": change.after} for run, change in moves],
        "elapsed": whole,
        "increments": increments,
        "settles": settles(whole) if whole else None,
        "cautions": list(rows[0]["cautions"]) if rows else [],
    }
