"""The instant at which a push sets in, by fitting a rise to the accelerometer or its integral to a speed.

A push rises from nothing to its level within a tenth of a second or two: brake, clutch and tyre let go, and no two cars
do so alike. So besides onset and length several shapes of the rise are tried, level and slope after it are least
squares, and every choice counts by its likelihood under normal noise (the posterior's median under flat priors, the
shapes' too): what the samples can't tell apart is in the doubt. A coarse grid of onsets with a straight rise finds
where to look closely. Bounds and spreads are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

RISES: Final = np.array([0.0, 0.02, 0.04, 0.06, 0.08, 0.1, 0.12, 0.14, 0.16, 0.18, 0.2, 0.225, 0.25, 0.3])
"""[s] lengths of the rise that are tried"""
COARSE_STEP, ONSET_STEP = 0.008, 0.002
"""[s]"""
REACH: Final = 0.08
"""[s] about the coarse onset that is looked at closely"""
BLOCK: Final = 0.04
"""[s] over which residuals are averaged to see how much of the noise is slow, as only that moves an onset"""
MOST_KINDRED: Final = 4.0
"""how many samples say one thing at most; one at least, though vibration that swings faster than the rise hardly hurts,
since a sharper likelihood would be too sure of the shape"""
KINDRED_DOUBT: Final = 5.0
"""blocks that one sample for each thing is worth against what the residuals show"""


@dataclass(frozen=True)
class Rise:
    """A shape of the rise: the push as a share of its level at a share of the rise, its integral and its slope."""

    push: Callable[[FloatArray], FloatArray]
    speed: Callable[[FloatArray], FloatArray]
    slope: Callable[[FloatArray], FloatArray]


STRAIGHT: Final = Rise(lambda u: u, lambda u: 0.5 * u**2, np.ones_like)
SHAPES: Final = (
    STRAIGHT,
    # soft at both ends, at first only, and at last only
    Rise(
        lambda u: 0.5 * (1.0 - np.cos(np.pi * u)),
        lambda u: 0.5 * (u - np.sin(np.pi * u) / np.pi),
        lambda u: 0.5 * np.pi * np.sin(np.pi * u),
    ),
    Rise(lambda u: u**2, lambda u: u**3 / 3.0, lambda u: 2.0 * u),
    Rise(lambda u: u * (2.0 - u), lambda u: u**2 - u**3 / 3.0, lambda u: 2.0 * (1.0 - u)),
)
"""every way in which the two ends can be sharp or soft; nothing is known beforehand of which"""


@dataclass(frozen=True)
class Sight:
    """How a channel shows a push: what each sample is the mean over [s], more than 0, and what else it holds.

    ``speed``: a speed [m/s] and not an acceleration [m/s²]. ``wrap``: of the driven wheels, which also turn by the
    tyre's wrap [m] while the push rises; the sd that it is given about none, 0 for a speed that doesn't.
    """

    blur: float
    speed: bool = False
    wrap: float = 0.0


def push_onset(
    time: FloatArray, values: FloatArray, around: tuple[float, float], least_noise: float, sight: Sight
) -> tuple[float, float] | None:
    """Return the onset of a push and its sd [s] from an acceleration [m/s²] or a speed [m/s], as ``sight`` says.

    ``time`` [s] and ``values``, shape (n,), hold the rest before and the push after; ``around``: the onset is looked
    for between these times; ``least_noise``: white-noise sd below which the fit isn't believed. None when nothing
    pushes forward.
    """
    coarse = np.arange(around[0], around[1], COARSE_STEP)
    if coarse.size == 0 or time.size < 4:
        return None
    ridge = (least_noise / sight.wrap) ** 2 if sight.wrap else 0.0
    misfit = _misfit(time, values, coarse, STRAIGHT, sight, ridge)
    if not np.isfinite(misfit.min()):
        return None
    place, length = np.unravel_index(int(np.argmin(misfit)), misfit.shape)
    near = float(coarse[place])
    kindred = _kindred(time, values, _fitted(time, near, STRAIGHT, RISES[length], sight))
    onsets = np.arange(max(around[0], near - REACH), min(around[1], near + REACH), ONSET_STEP)
    misfit = np.stack([_misfit(time, values, onsets, shape, sight, ridge) for shape in SHAPES])
    best = float(misfit.min())
    if not np.isfinite(best):
        return None
    variance = max(best / max(time.size - 4, 1), least_noise**2)
    weight = np.exp(-0.5 * (misfit - best) / (variance * kindred))
    weight /= weight.sum()
    of_onset = weight.sum(axis=(0, 2))
    # the median: a shape that is less likely widens the doubt more than it moves the instant
    middle = float(np.interp(0.5, np.cumsum(of_onset) - 0.5 * of_onset, onsets))
    spread = float(of_onset @ (onsets - middle) ** 2)
    return middle, float(np.sqrt(spread + ONSET_STEP**2))


def _misfit(
    time: FloatArray, values: FloatArray, onsets: FloatArray, shape: Rise, sight: Sight, ridge: float
) -> FloatArray:
    """Return the least sums of squares, shape (onsets, rises); infinite where nothing pushes forward."""
    columns = _fitted(time, onsets[:, None, None], shape, RISES[None, :, None], sight)
    misfit, push = _misfits(columns, values, ridge)
    return np.where(push > 0.0, misfit, np.inf)


def _fitted(
    time: FloatArray, onset: FloatArray | float, shape: Rise, rise: FloatArray | float, sight: Sight
) -> FloatArray:
    """Return what a push of level one shows [m/s² or m/s], how a slope after the rise adds to it, and the wrap.

    Along the first axis, the others are those of time, onset and rise together.
    """
    # a mean over time makes a short rise as long as itself, about the same middle
    blurred = np.maximum(rise, sight.blur)
    since = time - onset + 0.5 * (blurred - rise)
    share, after = np.clip(since / blurred, 0.0, 1.0), np.maximum(since - blurred, 0.0)
    if not sight.speed:
        return np.stack((shape.push(share), after))
    shown = (blurred * shape.speed(share) + after, 0.5 * after**2)
    if not sight.wrap:
        return np.stack(shown)
    return np.stack((*shown, np.where((since > 0.0) & (since < blurred), shape.slope(share) / blurred, 0.0)))


def _kindred(time: FloatArray, values: FloatArray, columns: FloatArray) -> float:
    """Return how many samples say one thing: the slow part of the residuals against what white noise would leave."""
    residual = values - columns.T @ np.linalg.lstsq(columns.T, values, rcond=None)[0]
    each = max(1, round(BLOCK * (time.size - 1) / float(time[-1] - time[0])))
    blocks = residual.size // each
    variance = float(np.mean(residual**2))
    if blocks < 2 or each < 2 or variance <= 0.0:
        return 1.0
    means = residual[: blocks * each].reshape(blocks, each).mean(axis=1)
    slow = each * float(np.mean(means**2)) / variance
    return float(np.clip((KINDRED_DOUBT + blocks * slow) / (KINDRED_DOUBT + blocks), 1.0, MOST_KINDRED))


def _misfits(columns: FloatArray, values: FloatArray, ridge: float) -> tuple[FloatArray, FloatArray]:
    """Return the least sum of squares of ``values`` about the columns, and the level, for every grid point.

    ``ridge`` holds the wrap, the third column, to nothing.
    """
    level, slope = columns[:2]
    ll, ls, ss = (level * level).sum(-1), (level * slope).sum(-1), (slope * slope).sum(-1) + 1e-9
    lv, sv, vv = level @ values, slope @ values, float(values @ values)
    for wrap in columns[2:]:  # what it explains is taken out of all else
        ww, wv = (wrap * wrap).sum(-1) + ridge, wrap @ values
        lw, sw = (level * wrap).sum(-1), (slope * wrap).sum(-1)
        ll, ls, ss = ll - lw * lw / ww, ls - lw * sw / ww, ss - sw * sw / ww
        lv, sv, vv = lv - lw * wv / ww, sv - sw * wv / ww, vv - wv * wv / ww
    determinant = np.maximum(ll * ss - ls**2, 1e-12)
    push, change = (ss * lv - ls * sv) / determinant, (ll * sv - ls * lv) / determinant
    return np.maximum(vv - push * lv - change * sv, 0.0), push
