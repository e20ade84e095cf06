"""The instant at which a push sets in, by fitting a ramp to the accelerometer or its integral to a speed.

A push rises from nothing to its level within a tenth of a second or two: brake, clutch and tyre let go. Onset and
length of the rise are tried on a grid, level and slope after it are least squares, and every pair counts by its
likelihood under normal noise (the posterior mean under flat priors). Bounds and spreads are common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

RISES: Final = np.array([0.0, 0.02, 0.04, 0.06, 0.08, 0.1, 0.12, 0.14, 0.16, 0.18, 0.2, 0.225, 0.25])
"""[s] lengths of the rise that are tried"""
ONSET_STEP: Final = 0.002
"""[s]"""
SHAPE: Final = 0.04
"""sd of the onset as a share of the rise: real rises aren't straight"""
KINDRED: Final = 2.0
"""how many samples say one thing: vibration lasts from one to the next"""


def ramp_onset(
    time: FloatArray, values: FloatArray, around: tuple[float, float], least_noise: float, *, blur: float, speed: bool
) -> tuple[float, float] | None:
    """Return the onset of a push and its sd [s] from an acceleration [m/s²], or with ``speed`` from a speed [m/s].

    ``time`` [s] and ``values``, shape (n,), hold the rest before and the push after; ``around``: the onset is looked
    for between these times; ``least_noise``: white-noise sd below which the fit isn't believed; ``blur`` [s], more than
    0: what each sample is the mean over. None when nothing pushes forward.
    """
    onsets = np.arange(around[0], around[1], ONSET_STEP)
    if onsets.size == 0 or time.size < 4:
        return None
    # a mean over time makes a short rise as long as itself, about the same middle
    rise = np.maximum(RISES, blur)[None, :, None]
    since = time[None, None, :] - onsets[:, None, None] + 0.5 * (rise - RISES[None, :, None])
    level, slope = _speeds(since, rise) if speed else _pushes(since, rise)
    misfit, push = _misfits(level, slope, values)
    misfit = np.where(push > 0.0, misfit, np.inf)
    best = float(misfit.min())
    if not np.isfinite(best):
        return None
    variance = max(best / max(time.size - 4, 1), least_noise**2)
    weight = np.exp(-0.5 * (misfit - best) / (variance * KINDRED))
    weight /= weight.sum()
    mean = float((weight.sum(axis=1) * onsets).sum())
    spread = float((weight.sum(axis=1) * (onsets - mean) ** 2).sum())
    rises = float((weight.sum(axis=0) * RISES).sum())
    return mean, float(np.sqrt(spread + (SHAPE * rises) ** 2 + ONSET_STEP**2))


def _pushes(since: FloatArray, rise: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the push of level one, and how a slope after the rise adds to it."""
    return np.clip(since / rise, 0.0, 1.0), np.maximum(since - rise, 0.0)


def _speeds(since: FloatArray, rise: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the integrals of ``_pushes``."""
    rising = np.clip(since, 0.0, rise)
    after = np.maximum(since - rise, 0.0)
    return 0.5 * rising**2 / rise + after, 0.5 * after**2


def _misfits(level: FloatArray, slope: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the least sum of squares of ``values`` about level and slope, and the level, for every grid point."""
    ll, ls, ss = (level * level).sum(-1), (level * slope).sum(-1), (slope * slope).sum(-1) + 1e-9
    lv, sv = level @ values, slope @ values
    determinant = np.maximum(ll * ss - ls**2, 1e-12)
    push, change = (ss * lv - ls * sv) / determinant, (ll * sv - ls * lv) / determinant
    return np.maximum(values @ values - push * lv - change * sv, 0.0), push
