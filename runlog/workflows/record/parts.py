"""How many runs each part has had: what service intervals are counted by."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.store import results

if TYPE_CHECKING:
    from runlog.results import RunResult
    from runlog.store.connection import Logbook

FULL_FT = 660
"""[ft] from which a run counts as a long one. Common practice, no source."""


def parts_page(book: Logbook, car: str) -> dict[str, Any]:
    """Return each part that was named, with its runs, in the shape of ``parts --json``; those in the car first.

    A tyre set's runs also hold those that it had before the logbook, where a start-line record told them.
    """
    rows = results.run_results(book, car)
    fitted = rows[-1].record.get("parts", {}) if rows else {}
    named = {(part, name) for row in rows for part, name in row.record.get("parts", {}).items()}
    listed = [_part(rows, part, name, in_car=fitted.get(part) == name) for part, name in sorted(named)]
    return {"car": car, "runs": len(rows), "parts": sorted(listed, key=lambda item: not item["in_car"])}


def _part(rows: list[RunResult], part: str, name: str, *, in_car: bool) -> dict[str, Any]:
    own = [row for row in rows if row.record.get("parts", {}).get(part) == name]
    before = 0
    if part == "tyre set":
        told = [(n, row.record["tyre_runs"]) for n, row in enumerate(own) if row.record.get("tyre_runs") is not None]
        before = max((runs - n for n, runs in told), default=0)
    return {
        "part": part,
        "name": name,
        "in_car": in_car,
        "since": str(own[0].key),
        "runs": len(own),
        "long_runs": sum((row.valid_to_ft or 0) >= FULL_FT for row in own),
        "runs_before": max(before, 0),
    }
