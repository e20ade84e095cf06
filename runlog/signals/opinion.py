"""The slip against the trace: which figures differ by more than their doubt, and what the likelier cause is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import FOOT

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from runlog.records import TraceFindings

    FloatArray = NDArray[np.float64]

LEAST_DIFFERENCE: Final = 0.02
"""[s] smaller differences are never reported. Common practice, no source."""
DOUBT: Final = 3.0
"""standard deviations within which slip and trace agree"""


def compare(findings: TraceFindings, slip_times: Mapping[int, float]) -> tuple[str, ...]:
    """Return one plain sentence for each split where |slip − trace| is beyond doubt, and one for the likelier cause.

    ``slip_times``: distance [ft] → time from the beam [s]. Empty when they agree or have no split in common. A cause is
    named only when one of the simple ones explains every common split clearly better than the others.
    """
    common = sorted(feet for feet in slip_times if feet in findings.splits)
    slip = np.array([slip_times[feet] for feet in common])
    trace = np.array([findings.splits[feet][0] for feet in common])
    doubt = np.array([max(DOUBT * findings.splits[feet][1], LEAST_DIFFERENCE) for feet in common])
    wrong = np.abs(slip - trace) > doubt
    if not wrong.any():
        return ()
    sentences = [
        f"at {feet} ft the slip says {said:.3f} s and the trace {seen:.3f} ± {findings.splits[feet][1]:.3f} s: "
        f"the slip is {abs(said - seen):.3f} s {'longer' if said > seen else 'shorter'}"
        for feet, said, seen, bad in zip(common, slip, trace, wrong, strict=True)
        if bad
    ]
    cause = likelier_cause(common, slip - trace, time_per_share(findings, common, trace))
    return (*sentences, cause) if cause else tuple(sentences)


def time_per_share(findings: TraceFindings, feet: list[int], trace: FloatArray) -> FloatArray:
    """Return by how much each split moves [s] when all distances are longer by a share: distance over speed there.

    Without speeds two thirds of the time, what constant power gives (v t = 1.5 x).
    """
    if findings.distance is None or findings.speed is None:
        return trace / 1.5
    metres = FOOT * np.array(feet)
    speed = np.interp(metres, np.maximum.accumulate(findings.distance), findings.speed)
    return np.where(speed > 1.0, metres / np.maximum(speed, 1.0), trace / 1.5)


def likelier_cause(feet: list[int], difference: FloatArray, per_share: FloatArray) -> str | None:
    """Return a sentence on what would explain slip minus trace [s] at the splits, or None when it can't be told.

    Three simple causes are tried: one figure misread; the same everywhere (rollout, launch instant); all distances off
    by the same share (circumference, final drive, another run's slip). The one that leaves least is named if it leaves
    at most 0.02 s anywhere and not much less than the next. With fewer than three splits several fit.
    """
    if len(feet) < 3:
        return None
    odd = int(np.argmax(np.abs(difference)))
    share = float(difference @ per_share / (per_share @ per_share))
    side = "long" if share > 0 else "short"
    causes = (
        (np.delete(difference, odd), f"only {feet[odd]} ft stands apart: that figure of the slip may be misread"),
        (
            difference - np.mean(difference),
            "the difference is the same at every split: look at the rollout, the staging depth and the launch instant",
        ),
        (
            difference - share * per_share,
            f"it is as if the trace's distances were {100 * abs(share):.1f} % too {side}: look at the tyre "
            "circumference, the final drive and the speed's scale, or whether the slip is another run's",
        ),
    )
    worst = sorted((float(np.max(np.abs(rest))), text) for rest, text in causes)
    (least, cause), (next_least, _) = worst[:2]
    return cause if least <= LEAST_DIFFERENCE and least <= 0.5 * next_least else None
