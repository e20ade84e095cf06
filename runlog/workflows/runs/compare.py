"""Two or more runs side by side: split by split, and what differs between their setups."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.constants import INCREMENTS_FT, REFERENCE_NAME, SPLIT_DISTANCES_FT
from runlog.store import calibrations, facts, results
from runlog.workflows.run_content import air_part, increments, rounded, run_part, speeds_part, trace_part
from runlog.workflows.runs.along_track import along_track

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import RunKey
    from runlog.results import RunResult
    from runlog.store.connection import Logbook


def comparison(book: Logbook, keys: Sequence[RunKey]) -> dict[str, Any]:
    """Return the runs in the order asked for; differences are to the first of them."""
    rows = [_result(book, key) for key in keys]
    found = {row.key: results.findings(book, row.key.car).get(row.key) for row in rows}
    first, tracks = increments(rows[0].corrected_times), facts.tracks(book)
    return {
        "reference": REFERENCE_NAME,
        "runs": [
            {
                "run": run_part(row),
                "air": air_part(row.air),
                "splits": [
                    {
                        "distance_ft": feet,
                        "measured_s": rounded(row.times.get(feet)),
                        "corrected_s": rounded(row.corrected_times.get(feet)),
                        "difference_s": _difference(rows[0].corrected_times, row.corrected_times, feet),
                    }
                    for feet in SPLIT_DISTANCES_FT
                ],
                "increments": [
                    {
                        "from_ft": span[0],
                        "to_ft": span[1],
                        "measured_s": rounded(increments(row.times).get(span)),
                        "corrected_s": rounded(increments(row.corrected_times).get(span)),
                        "difference_s": _difference(first, increments(row.corrected_times), span),
                    }
                    for span in INCREMENTS_FT
                ],
                "speeds": speeds_part(row),
                "trace": trace_part(
                    found[row.key], calibrations.of_run(book, row.key), row, tracks.get(row.track or "")
                ),
            }
            for row in rows
        ],
        "along_track": along_track(book, rows),
        "setup": _setup_differences(rows),
    }


def _result(book: Logbook, key: RunKey) -> RunResult:
    return next(row for row in results.run_results(book, key.car, key.date) if row.key == key)


def _difference(first: Any, other: Any, place: Any) -> float | None:
    return rounded(other[place] - first[place]) if place in first and place in other else None


def _setup_differences(rows: Sequence[RunResult]) -> list[dict[str, Any]]:
    """Return every item that isn't the same in all runs, with its value in each; None where a sheet doesn't have it."""
    setups = [{entry.item: entry for entry in row.setup} for row in rows]
    part = []
    for item in sorted({item for setup in setups for item in setup}):
        entries = [setup.get(item) for setup in setups]
        values = [entry.text if entry else None for entry in entries]
        if len(set(values)) > 1:
            unit = next(entry.unit for entry in entries if entry)
            part.append({"item": item, "unit": unit, "values": values})
    return part
