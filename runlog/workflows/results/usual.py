"""A run's trace held against the car's earlier ones: braking that is weaker than usual."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

from runlog.signals.seen_alarms import weak_braking

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.results import Findings

LOOK_BACK = 20
"""earlier runs with a trace of which the usual is made"""


def alarms_against(found: Findings, earlier: Sequence[Findings]) -> tuple[dict[str, Any], ...]:
    """Return the alarms of a run that rest on earlier ones, as plain values.

    ``earlier``: what the traces of the car's runs before show, at most ``LOOK_BACK``.
    """
    if found["braking"] is None:
        return ()
    braked = [(before["braking"][0], before["braking"][1]) for before in earlier if before["braking"]]
    alarm = weak_braking(tuple(found["braking"]), braked, found["lift_time"])
    return () if alarm is None else (dataclasses.asdict(alarm),)
