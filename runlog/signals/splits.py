"""Split times from a motion: the logger's own opinion of the timing slip."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import FOOT, SPLIT_DISTANCES_FT
from runlog.signals.motion import DISTANCE

if TYPE_CHECKING:
    from runlog.signals.motion import Motion

ROLLOUT_SD: Final = 0.025
"""[m] sd of where the clock starts: staging depth, front tyre, lifting front. Common practice, no source."""


def reached(motion: Motion, distance: float) -> tuple[float, float, float] | None:
    """Return when the car covered ``distance`` [m]: seconds after launch, their sd, the speed then; None if never."""
    covered = motion.distance
    beyond = np.flatnonzero(covered >= distance)
    if beyond.size == 0 or beyond[0] == 0:
        return None
    right = int(beyond[0])
    left = right - 1
    share = (distance - covered[left]) / (covered[right] - covered[left])
    time = motion.time[left] + share * (motion.time[right] - motion.time[left])
    speed = motion.speed[left] + share * (motion.speed[right] - motion.speed[left])
    if speed <= 0.1:
        return None
    sd = float(np.hypot(motion.sd(DISTANCE)[right], motion.scale_sd * distance))
    return float(time), sd / float(speed), float(speed)


def split_times(motion: Motion, rollout: float, finish_ft: int) -> dict[int, tuple[float, float]]:
    """Return distance [ft] → (time from the beam [s], sd [s]) for the splits that the car reached.

    The clock starts when the car has covered ``rollout`` [m]; a split stands at ``rollout`` plus its distance. The sd
    joins the doubt about the distance at both ends and about the rollout, whose error moves both ends.
    """
    clock = reached(motion, rollout)
    if clock is None:
        return {}
    start, start_sd, start_speed = clock
    found: dict[int, tuple[float, float]] = {}
    for feet in SPLIT_DISTANCES_FT:
        there = reached(motion, rollout + feet * FOOT) if feet <= finish_ft else None
        if there is None:
            continue
        time, sd, speed = there
        shift = ROLLOUT_SD * (1.0 / start_speed - 1.0 / speed)
        found[feet] = (time - start, float(np.sqrt(sd**2 + start_sd**2 + shift**2)))
    return found
