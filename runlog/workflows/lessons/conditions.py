"""What was recorded of each run that moves its times but is no setting: lane, tyre age, surface, and what else is told.

The air's own effect, wind included, comes from the car's model and isn't repeated here.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Final

from runlog.workflows.record.of_runs import conditions

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.records import RunKey
    from runlog.results import RunResult

    Conditions = Mapping[str, float | str | None]

TYRES: Final = "rear tyre set"
"""the item of a setup sheet whose runs are counted"""


def conditions_of(rows: Sequence[RunResult], told: Mapping[RunKey, Conditions]) -> list[dict[str, float | str | None]]:
    """Return the conditions of a car's runs, in their order.

    ``told``: what is said of runs by name (driver, tyre age, surface temperature …) beside the start-line record; it
    comes before what is found here. Tyre age is the number of runs that the set on the sheet has made among these.
    """
    made: Counter[str] = Counter()
    found = []
    for row in rows:
        tyres = next((entry.text for entry in row.setup if entry.item == TYRES), None)
        own: dict[str, float | str | None] = {
            "lane": row.lane,
            "surface temperature": row.air.track_temperature if row.air else None,
            "tyre age": None if tyres is None else float(made[tyres]),
        }
        if tyres is not None:
            made[tyres] += 1
        noted = {name: value for name, value in told.get(row.key, {}).items() if value is not None}
        found.append({**own, **conditions(row.record), **noted})
    return found


def by_name(found: Sequence[Conditions]) -> dict[str, list[float | str | None]]:
    """Return one list a condition, with a value for each run."""
    names = dict.fromkeys(name for one in found for name in one)
    return {name: [one.get(name) for one in found] for name in names}
