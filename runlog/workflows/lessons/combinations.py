"""Runs of different combinations of parts kept apart: a replaced engine or tyre set starts a baseline of its own.

What a change of the setup does is still learned from all of them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.workflows.record.of_runs import combination

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import FloatArray
    from runlog.results import RunResult

APART: Final = 100.0
"""what a run of another combination has in its column: against the prior of a nuisance its level is as good as free"""


def combination_columns(rows: Sequence[RunResult]) -> dict[str, FloatArray]:
    """Return a column (n,) for each combination but the newest run's, which the run to come is taken to have.

    ``rows`` in order. None where the parts were never told or never changed.
    """
    names = [combination(row.record) for row in rows]
    return {
        f"combination {name or 'before'}": np.array([APART if own == name else 0.0 for own in names])
        for name in sorted(set(names) - set(names[-1:]))
    }
