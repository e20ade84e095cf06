"""The slip against the trace: which figures differ by more than their doubt, and what the likelier cause is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

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
    named only when one of the simple ones explains every common split to within 0.02 s and none simpler does.
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
    cause = likelier_cause(common, slip - trace, trace)
    return (*sentences, cause) if cause else tuple(sentences)


def likelier_cause(feet: list[int], difference: FloatArray, trace: FloatArray) -> str | None:
    """Return a sentence on what would explain slip minus trace [s] at the splits, or None when it can't be told.

    One outlying split is a misread figure; an equal difference everywhere the rollout or the launch instant; one in
    proportion to the time the distance scale (circumference, final drive, or the slip of another run). At least three
    splits are needed: with fewer, more than one of these fits.
    """
    if len(feet) < 3:
        return None
    middle = float(np.median(difference))
    apart = np.abs(difference - middle) > LEAST_DIFFERENCE
    if int(apart.sum()) == 1 and abs(middle) <= LEAST_DIFFERENCE:
        return f"only {feet[int(np.flatnonzero(apart)[0])]} ft stands apart: that figure of the slip may be misread"
    if not apart.any():
        return (
            "the difference is the same at every split: look at the rollout, the staging depth and the launch instant"
        )
    share = float(difference @ trace / (trace @ trace))
    if bool(np.all(np.abs(difference - share * trace) <= LEAST_DIFFERENCE)):
        return (
            f"the difference grows with the time, by {100 * share:+.1f} %: look at the tyre circumference and the "
            "final drive, or whether the slip is another run's"
        )
    return None
