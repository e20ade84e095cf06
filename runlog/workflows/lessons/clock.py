"""Changes that gain on the clock and not on the ground: the start beam was cleared later, the car wasn't quicker.

The slip's 60 ft begins where the start beam clears; 60 ft from first motion, by the trace, begins where the car does.
Their difference moves with staging depth, front tyres and a front that lifts, not with what the car pulls.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.results import RunResult

LEAST_RUNS: Final = 2
"""with a slip and a trace on each side of a change"""
LEAST_GAIN: Final = 0.003
"""[s] of 60 ft that is worth a word. Common practice, no source"""
LEAST_SD: Final = 0.004
"""[s] of one run's difference, however well a few runs agree: the first motion isn't known better. Common practice"""
NORMAL_95: Final = 1.645
"""of the standard normal: one side of a 90 % interval"""


def on_the_clock(rows: Sequence[RunResult], effects: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return the changes whose gain to 60 ft is, by more than half and beyond doubt, one of the clock alone.

    ``effects`` in the shape of ``effects --json``. The gain is that of the corrected slips; what of it is the clock's
    comes from the runs on both sides that have a trace: difference of means, with the normal 90 % interval.
    """
    found = []
    for effect in effects:
        made = effect["change_made"]
        if (effect["from_ft"], effect["to_ft"]) != (0, 60) or made is None or made["mean_s"] > -LEAST_GAIN:
            continue
        before, after = (_differences(rows, effect["adjustable"], made[side]) for side in ("from", "to"))
        if min(len(before), len(after)) < LEAST_RUNS:
            continue
        clock, sd = _shift(before, after)
        ground = made["mean_s"] - clock
        if clock < -NORMAL_95 * sd and ground > 0.5 * made["mean_s"]:
            found.append(
                {
                    "adjustable": effect["adjustable"],
                    "from": made["from"],
                    "to": made["to"],
                    "slip_s": made["mean_s"],
                    "ground_s": ground,
                    "ground_sd_s": sd,
                    "text": f"{effect['adjustable']} gains on the clock, not on the ground: 60 ft by the slip "
                    f"{made['mean_s']:+.3f} s, from first motion {ground:+.3f} ± {sd:.3f} s. Look at the staging "
                    "depth, the front tyres and a front that lifts",
                }
            )
    return found


def _differences(rows: Sequence[RunResult], item: str, setting: object) -> list[float]:
    """Return slip less ground [s] of the clean runs at a setting that have both."""
    found = []
    for row in rows:
        entry = next((entry for entry in row.setup if entry.item == item), None)
        slip = row.counted_times().get(60)
        if entry is None or slip is None or row.first_motion_60 is None or not row.clean:
            continue
        if entry.text == setting or entry.value == setting:
            found.append(slip - row.first_motion_60[0])
    return found


def _shift(before: Sequence[float], after: Sequence[float]) -> tuple[float, float]:
    """Return by how much the mean moved and its sd, with one spread for both sides."""
    means = [sum(side) / len(side) for side in (before, after)]
    squares = sum((value - mean) ** 2 for side, mean in zip((before, after), means, strict=True) for value in side)
    spread = max(math.sqrt(squares / (len(before) + len(after) - 2)), LEAST_SD)
    return means[1] - means[0], spread * math.sqrt(1 / len(before) + 1 / len(after))
