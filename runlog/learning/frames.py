"""Runs from a data frame, for use without a logbook."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from runlog.constants import INCREMENTS_FT
from runlog.learning.design import Runs
from runlog.learning.nuisances import code

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.learning.design import Lever


def runs_from_frame(frame: Any, levers: Sequence[Lever], baseline: Mapping[str, float],
                    conditions: Sequence[str] = ()) -> Runs:  # fmt: skip
    """Return one car's runs from a polars frame, or any whose columns have ``to_list``; a row a run.

    Columns: ``key``; ``day`` (a date or anything that names the test day); ``hour`` [h] on that day's clock; ``t60_s``,
    ``t330_s``, ``t660_s``, ``t1000_s``, ``t1320_s`` times from the start, as far as they count, else null; and one of
    each lever's name with its setting in the lever's unit, null: as in ``baseline``, which steps are counted from. A
    column that is missing counts as null, save key, day and hour. ``conditions``: further columns that are no setting,
    numbers or words, such as lane or driver. ValueError names what is missing.
    """
    names = set(frame.columns)
    missing = [name for name in ("key", "day", "hour") if name not in names]
    missing += [f"a baseline of {lever.name}" for lever in levers if lever.name not in baseline]
    if missing:
        raise ValueError(f"missing: {', '.join(missing)}")
    count = len(frame)

    def column(name: str) -> list[Any]:
        return list(frame[name].to_list()) if name in names else [None] * count

    ends = np.array([column(f"t{end}_s") for _, end in INCREMENTS_FT], dtype=float).reshape(-1, count)
    times = np.diff(ends, axis=0, prepend=0.0).T
    steps = [
        [0.0 if value is None else (value - baseline[lever.name]) / lever.step for value in column(lever.name)]
        for lever in levers
    ]
    recorded = {name: column(name) for name in conditions}
    days = {day: number for number, day in enumerate(sorted(set(column("day")), key=str))}
    return Runs(
        tuple(map(str, column("key"))),
        times,
        np.array([days[day] for day in column("day")], dtype=int),
        np.array(column("hour"), dtype=float),
        np.array(steps, dtype=float).reshape(len(levers), count).T.round(9),
        None,
        np.zeros(count, dtype=bool),
        code(recorded).columns(recorded, count),
    )
