"""The instant at which a push sets in, by fitting a rise to the accelerometer or its integral to a speed.

A push rises from nothing to its level within a tenth of a second or two: brake, clutch and tyre let go, and no two cars
do so alike. So besides onset and length several shapes of the rise are tried, level and slope after it are least
squares, and every choice counts by its likelihood under normal noise and flat priors: what the samples can't tell apart
is in the doubt. A coarse grid of onsets with a straight rise finds where to look closely. Bounds and spreads are common
practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

RISES: Final = np.array([0.0, 0.02, 0.04, 0.06, 0.08, 0.1, 0.12, 0.14, 0.16, 0.18, 0.2, 0.225, 0.25, 0.3])
"""[s] lengths of the rise that are tried"""
COARSE_STEP, ONSET_STEP = 0.008, 0.0025
"""[s]"""
REACH: Final = 0.08
"""[s] about the coarse onset that is looked at closely"""
BLOCK: Final = 0.04
"""[s] over which residuals are averaged to see how much of the noise is slow, as only that moves an onset"""
MOST_KINDRED: Final = 4.0
"""how many samples say one thing at most; less than one where vibration swings faster than the rise: it hardly hurts"""
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
class Onset:
    """When a push sets in: chances of the instants that were tried, by each shape of its rise.

    ``instants`` [s] (n,), ``chances`` (S, n) of them by a shape, each row summing to one, and how likely the samples
    are by each shape, ``likelihood`` (S,), up to a factor: it sums to one.
    """

    instants: FloatArray
    chances: FloatArray
    likelihood: FloatArray

    @property
    def times(self) -> FloatArray:
        """The mean instant [s] by each shape (S,)."""
        means: FloatArray = self.chances @ self.instants
        return means

    @property
    def sds(self) -> FloatArray:
        """Its sd [s] by each shape (S,)."""
        spread = np.sum(self.chances * (self.instants - self.times[:, None]) ** 2, axis=1)
        sds: FloatArray = np.sqrt(spread + ONSET_STEP**2)
        return sds

    def whatever_the_shape(self) -> tuple[float, float]:
        """Return the median instant and the sd [s], every shape as likely as any other beforehand.

        The median: a shape that is less likely widens the doubt more than it moves the instant.
        """
        chances = self.likelihood @ self.chances
        middle = float(np.interp(0.5, np.cumsum(chances) - 0.5 * chances, self.instants))
        return middle, float(np.sqrt(chances @ (self.instants - middle) ** 2 + ONSET_STEP**2))


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
) -> Onset | None:
    """Return the onset of a push from an acceleration [m/s²] or a speed [m/s], as ``sight`` says.

    ``time`` [s] and ``values``, shape (n,), hold the rest before and the push after; ``around``: the onset is looked
    for between these times; ``least_noise``: white-noise sd below which the fit isn't believed. None when nothing
    pushes forward.
    """
    coarse = np.arange(around[0], around[1], COARSE_STEP)
    if coarse.size == 0 or time.size < 4:
        return None
    ridge = (least_noise / sight.wrap) ** 2 if sight.wrap else 0.0
    misfit = _misfits(time, values, coarse, (STRAIGHT,), sight, ridge)[0]
    if not np.isfinite(misfit.min()):
        return None
    place, length = np.unravel_index(int(np.argmin(misfit)), misfit.shape)
    near = float(coarse[place])
    kindred = _kindred(time, values, _straight(time, near, float(RISES[length]), sight))
    onsets = np.arange(max(around[0], near - REACH), min(around[1], near + REACH), ONSET_STEP)
    misfit = _misfits(time, values, onsets, SHAPES, sight, ridge)
    best = float(misfit.min())
    if not np.isfinite(best):
        return None
    variance = max(best / max(time.size - 4, 1), least_noise**2)
    least = misfit.min(axis=(1, 2))
    least = np.where(np.isfinite(least), least, best)
    above = -0.5 * (misfit - least[:, None, None]) / variance
    # a sharper likelihood would be too sure of the shape: no push rises quite like any of them
    doubtful = max(kindred, 1.0)
    if sight.speed:
        kindred = doubtful
    likelihood = np.exp(above / doubtful).sum(axis=(1, 2)) * np.exp(-0.5 * (least - best) / (variance * doubtful))
    of_onset = np.exp(above / kindred).sum(axis=2)
    # a shape by which nothing pushes forward has no part in anything
    of_onset[likelihood == 0.0] = of_onset[int(np.argmax(likelihood))]
    return Onset(onsets, of_onset / of_onset.sum(axis=1, keepdims=True), likelihood / likelihood.sum())


@dataclass(frozen=True)
class _Progress:
    """How far a push has come: the rise's length as it is shown, the share of it done, the time after it [s]."""

    rise: FloatArray
    share: FloatArray
    after: FloatArray

    def level(self, shape: Rise, sight: Sight) -> FloatArray:
        """Return what a push of level one shows [1 or s]."""
        return self.rise * shape.speed(self.share) + self.after if sight.speed else shape.push(self.share)

    def slope(self, sight: Sight) -> FloatArray:
        """Return what a slope of one after the rise adds to it."""
        return 0.5 * self.after**2 if sight.speed else self.after

    def wrap(self, shape: Rise) -> FloatArray:
        """Return what a wrap of one metre adds to the driven wheels' speed."""
        return np.where((self.share > 0.0) & (self.share < 1.0), shape.slope(self.share) / self.rise, 0.0)


def _progress(time: FloatArray, onset: FloatArray | float, rise: FloatArray | float, sight: Sight) -> _Progress:
    # a mean over time makes a short rise as long as itself, about the same middle
    shown = np.asarray(np.maximum(rise, sight.blur))
    since = time - onset + 0.5 * (shown - rise)
    return _Progress(shown, np.clip(since / shown, 0.0, 1.0), np.maximum(since - shown, 0.0))


def _straight(time: FloatArray, onset: float, rise: float, sight: Sight) -> FloatArray:
    """Return the columns of a push with a straight rise, shape (2 or 3, n)."""
    progress = _progress(time, onset, rise, sight)
    columns = [progress.level(STRAIGHT, sight), progress.slope(sight)]
    return np.stack([*columns, progress.wrap(STRAIGHT)] if sight.wrap else columns)


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
    return min((KINDRED_DOUBT + blocks * slow) / (KINDRED_DOUBT + blocks), MOST_KINDRED)


def _misfits(
    time: FloatArray, values: FloatArray, onsets: FloatArray, shapes: Sequence[Rise], sight: Sight, ridge: float
) -> FloatArray:
    """Return the least sums of squares of ``values`` about a push, shape (shapes, onsets, rises).

    Infinite where nothing pushes forward. ``ridge`` holds the wrap to nothing.
    """
    progress = _progress(time, onsets[:, None, None], RISES[None, :, None], sight)
    slope = progress.slope(sight)
    of_slope = _product(slope, slope) + 1e-9, slope @ values
    found = []
    for shape in shapes:
        level = progress.level(shape, sight)
        (ss, sv), ll, ls = of_slope, _product(level, level), _product(level, slope)
        lv, vv = level @ values, np.asarray(values @ values)
        if sight.wrap:  # what it explains is taken out of all else
            wrap = progress.wrap(shape)
            ww, wv = _product(wrap, wrap) + ridge, wrap @ values
            lw, sw = _product(level, wrap), _product(slope, wrap)
            ll, ls, ss = ll - lw * lw / ww, ls - lw * sw / ww, ss - sw * sw / ww
            lv, sv, vv = lv - lw * wv / ww, sv - sw * wv / ww, vv - wv * wv / ww
        determinant = np.maximum(ll * ss - ls**2, 1e-12)
        push, change = (ss * lv - ls * sv) / determinant, (ll * sv - ls * lv) / determinant
        found.append(np.where(push > 0.0, np.maximum(vv - push * lv - change * sv, 0.0), np.inf))
    return np.stack(found)


def _product(one: FloatArray, other: FloatArray) -> FloatArray:
    """Return the products of two columns at every grid point."""
    return np.asarray(np.einsum("...t,...t->...", one, other))
