"""The launch: which start in the file is the run, and at which instant the car began to move.

Every threshold here is common practice, no source, unless it says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.records import Rises, Samples
from runlog.signals.onset import Onset, Sight, push_onset
from runlog.signals.rises import under, unknown
from runlog.signals.sampling import between, filled, integral, noise_sd, rate, running_median, stretches, window_mean

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

START_ACCELERATION: Final = 1.5
"""[m/s²] sustained acceleration of a run; rolling in the pits and creeping into the beams stay below"""
MERGE_GAP: Final = 0.45
"""[s] a shorter lull, as at a gear change, doesn't end a start"""
LEAD_IN: Final = 0.25
"""share of the push after a lull below which the one before was a creep or a slow swing of vibration, not the launch"""
LEAST_GAIN: Final = 4.0
"""[m/s] a start that gains less speed is staging or a jerk of the car, not a run"""
LOST_PULSES: Final = 0.5
"""[s] median that keeps a sensor's return after lost pulses from looking like a start"""
LEAST_GRID, MOST_GRID = 10, 200_000
"""times at which a start is looked for; the upper bound keeps a broken clock from filling the memory"""
REST_SPEED: Final = 6.0
"""[m/s] a run starts from less, slow sampling and a late first sample allowed for"""
RIVAL_SHARE: Final = 0.4
"""by driven wheels alone, starts that gain this share of the greatest gain count, and the last of them is the run: the
burnout comes first"""
RELEASE_LAG, RELEASE_LAG_SD = 0.03, 0.03
"""[s] from the switch's release to first motion, which waits for the brake or clutch and the tyre's wrap"""
SHAFT_ONSET_SD, GROUND_ONSET_SD = 0.03, 0.05
"""[s] least doubt of the instant that a speed gives: slow sensors read nothing at first, tyres wrap and slip; 0.03 is
the root mean square error that was measured on made-up shafts that read nothing below 0 to 0.8 m/s"""
WRAP: Final = 0.04
"""[m] by which the tread of a driven tyre winds up under a launch"""
LEAST_PUSH_NOISE, LEAST_SPEED_NOISE = 0.1, 0.05
"""[m/s²] and [m/s] less noise than this isn't believed when an onset is fitted"""
LEAST_TURN_RATE, TURNS = 20.0, 0.1
"""[Hz] that the driven wheels' speed needs to show its first turn, and [m/s] that is one"""
MOVING, CLEAR_OF_NOISE = 0.7, 4.0
"""[m/s] that only a car that has set off reads, and how many sd of the noise it must be at least"""
ONSET_RATE: Final = 200.0
"""[Hz] beyond which a channel tells no more of the onset"""
SWITCH_SEARCH: Final = 0.6
"""[s] a release further than this from the motion doesn't belong to it"""


@dataclass(frozen=True)
class Start:
    """A start from low speed: when it begins and ends [s, logger's clock] and the speed gained in it [m/s]."""

    begin: float
    end: float
    gain: float


@dataclass(frozen=True)
class Launch:
    """The instant of first motion [s, logger's clock], its sd, the start it belongs to, and what there is to say.

    ``release`` of the launch switch comes before it, and so does the driveshaft's first turn, ``shaft``: brake or
    clutch let go, and the tyre's wrap is taken up. Both on the logger's clock [s], None where they weren't seen.
    """

    time: float
    sd: float
    start: Start
    warnings: tuple[str, ...] = ()
    release: float | None = None
    shaft: float | None = None
    rises: Rises | None = None
    """the same by each shape that the rise of the push may have; None where no accelerometer shows it"""


def starts_by_acceleration(acceleration: Samples) -> list[Start]:
    """Return the starts in an accelerometer channel [m/s²], in time order."""
    grid = _grid(acceleration)
    if grid.size < LEAST_GRID:
        return []
    level = window_mean(acceleration, grid, 0.15)
    rest = rest_level(level)
    pushing = np.nan_to_num(level - rest) > START_ACCELERATION
    covered = integral(acceleration, grid) - rest * (grid - grid[0])
    return _starts(grid, pushing, level - rest, covered)


def starts_by_speed(speed: Samples) -> list[Start]:
    """Return the starts in a speed channel [m/s], in time order."""
    grid = _grid(speed)
    if grid.size < LEAST_GRID:
        return []
    smooth = window_mean(speed, grid, max(0.15, 2.0 / rate(speed)))
    gained = running_median(filled(smooth), LOST_PULSES / (grid[1] - grid[0]))
    return _starts(grid, np.gradient(gained, grid) > START_ACCELERATION, None, gained)


def rest_level(level: FloatArray) -> float:
    """Return what the accelerometer reads at rest [m/s²]: the middle of the fullest 0.5 m/s² of its histogram.

    A car stands or rolls evenly for most of a file; where it doesn't, as in a file of the run alone, zero is taken.
    """
    finite = level[np.isfinite(level)]
    near = finite[np.abs(finite) < 3.0]
    if near.size < 0.1 * finite.size or near.size < 10:
        return 0.0
    counts, edges = np.histogram(near, bins=np.arange(-3.0, 3.01, 0.1))
    fullness = np.convolve(counts, np.ones(5), mode="same")
    centre = float(edges[int(np.argmax(fullness))] + 0.05)
    return float(np.median(near[np.abs(near - centre) <= 0.25]))


def _grid(samples: Samples) -> FloatArray:
    """Return even times over the channel, a fiftieth of a second apart; wider for a file of more than an hour."""
    span = float(samples.time[-1] - samples.time[0]) if samples.time.size else 0.0
    step = max(0.02, span / MOST_GRID)
    steps = np.arange(int(span / step) + 1 if span > 0.0 else 0, dtype=np.float64)
    grid: FloatArray = samples.time[:1] + step * steps
    return grid


def _starts(grid: FloatArray, pushing: NDArray[np.bool_], push: FloatArray | None, gained: FloatArray) -> list[Start]:
    """Return the starts; with ``push``, the accelerometer's, a lull parts a weak lead-in from what follows."""
    merged: list[list[int]] = []
    for first, last in stretches(pushing):
        if merged and grid[first] - grid[merged[-1][1]] < MERGE_GAP:
            before = slice(merged[-1][0], merged[-1][1] + 1)
            if push is not None and push[before].max() < LEAD_IN * push[first:last].max():
                merged[-1][0] = first
            merged[-1][1] = last - 1
        else:
            merged.append([first, last - 1])
    found = (Start(float(grid[a]), float(grid[b]), float(gained[b] - gained[a])) for a, b in merged)
    return [start for start in found if start.gain >= LEAST_GAIN]


def choose_start(
    acceleration: Samples | None, ground: Samples | None, shaft: Samples | None
) -> tuple[Start | None, tuple[str, ...]]:
    """Return the start that is the run, and what is to be said of the choice.

    The accelerometer and the undriven wheels [m/s] feel the car, so the greatest gain of speed is the run. Driven
    wheels [m/s] turn in a burnout as they do in a run; from them alone the last great gain is taken.
    """
    warnings: tuple[str, ...] = ()
    wheels = ground or shaft
    if acceleration is not None and (starts := starts_by_acceleration(acceleration)):
        fitting = [start for start in starts if wheels is None or _near_rest(wheels, start.begin)]
        if fitting:
            return max(fitting, key=lambda start: start.gain), ()
        warnings = ("the accelerometer pushes only while the wheels already turn fast: check its sign",)
    if ground is not None and (starts := starts_by_speed(ground)):
        return max(starts, key=lambda start: start.gain), warnings
    starts = starts_by_speed(shaft) if shaft is not None else []
    if not starts:
        return None, warnings
    greatest = max(start.gain for start in starts)
    rivals = [start for start in starts if start.gain >= RIVAL_SHARE * greatest]
    if len(rivals) == 1:
        return rivals[0], warnings
    return rivals[-1], (
        *warnings,
        f"the driven wheels start {len(rivals)} times; the last is taken as the run, the earlier as burnouts",
    )


def _near_rest(speed: Samples, time: float) -> bool:
    """Return whether the speed is below ``REST_SPEED`` then, or wasn't logged then."""
    if not speed.time[0] <= time <= speed.time[-1]:
        return True
    return float(np.interp(time, speed.time, speed.values)) < REST_SPEED


def find_launch(
    acceleration: Samples | None, ground: Samples | None, shaft: Samples | None, switch: Samples | None
) -> Launch | None:
    """Return the launch, or None when no channel shows a start.

    ``acceleration`` [m/s²]; ``ground`` and ``shaft`` [m/s]: speed over ground or at the undriven wheels, and at the
    driven wheels; ``switch``: 1 while held. The instants that the channels give are averaged by their variances.
    """
    start, warnings = choose_start(acceleration, ground, shaft)
    if start is None:
        return None
    instants: list[tuple[float, float]] = []
    turns: float | None = None
    push = None if acceleration is None else acceleration_onset(acceleration, start)
    if shaft is not None and (onset := speed_onset(shaft, start, SHAFT_ONSET_SD, WRAP)) is not None:
        instants.append(onset)
        turns = first_turn(shaft, start)
    # a satellite receiver's speed lags, so the speed over ground only speaks where nothing else does
    silent = push is None and not instants
    if ground is not None and silent and (onset := speed_onset(ground, start, GROUND_ONSET_SD)) is not None:
        instants.append(onset)
    if push is None and not instants:
        instants.append((start.begin, 0.1))
    felt = [] if push is None else [push.whatever_the_shape()]
    moved, release = _average([*felt, *instants])[0], None
    if switch is not None:
        release = release_near(switch, moved)
        if release is None:
            warnings += ("the launch switch isn't released within 0.6 s of the car's first motion; it is not used",)
        else:
            sd = float(np.hypot(RELEASE_LAG_SD, 0.3 / max(rate(switch), 1.0)))
            instants.append((release + RELEASE_LAG, sd))
    if acceleration is None or push is None:
        time, sd = _average(instants)
        return Launch(time, sd, start, warnings, release, turns)
    resolution = 0.003**2 + (0.15 / rate(acceleration)) ** 2
    own = zip(push.times, np.sqrt(push.sds**2 + resolution), strict=True)
    times, sds = zip(*(_average([*instants, onset]) for onset in own), strict=True)
    rises = Rises(tuple(push.likelihood.tolist()), times, sds)
    return Launch(*under(rises, unknown()), start, warnings, release, turns, rises)


def acceleration_onset(acceleration: Samples, start: Start) -> Onset | None:
    """Return when the acceleration rises, by a rise from the rest before to the push after."""
    before = between(acceleration, start.begin - 1.0, start.begin - 0.15).values
    rest = float(np.median(before)) if before.size else 0.0
    near = _thinned(between(acceleration, start.begin - 0.3, min(start.begin + 0.45, start.end + 0.1)))
    if near.time.size < 4 or float(np.percentile(near.values - rest, 90)) <= START_ACCELERATION:
        return None
    noise = max(LEAST_PUSH_NOISE, noise_sd(acceleration) / np.sqrt(max(rate(acceleration) / ONSET_RATE, 1.0)))
    return push_onset(near.time, near.values - rest, _around(near, start), noise, Sight(_blur(acceleration)))


def speed_onset(speed: Samples, start: Start, least_sd: float, wrap: float = 0.0) -> tuple[float, float] | None:
    """Return when the speed leaves zero and its sd [s], by the integral of a rise; slow sensors read zero at first.

    ``wrap`` [m]: how far the driven wheels turn into the tyre's wrap, as an sd about none; 0 for undriven wheels.
    """
    near = _thinned(between(speed, start.begin - 0.4, start.begin + 0.6))
    noise = max(noise_sd(speed), LEAST_SPEED_NOISE)
    moving = (near.values > max(MOVING, CLEAR_OF_NOISE * noise)) & (near.time > start.begin - 0.15)
    if int(moving.sum()) < 2:
        return None
    step = 1.0 / rate(speed)
    first = int(np.argmax(moving))
    if near.time.size - first < 6:
        time, values = near.time[first:], near.values[first:]
        slope = float(np.polyfit(time - time[0], values, 1)[0])
        if slope <= 0.5:
            return None
        return float(time[0] - values[0] / slope), float(np.hypot(least_sd, step / np.sqrt(12.0)))
    around = float(near.time[0]), float(near.time[first + 1])
    found = push_onset(near.time, near.values, around, noise, Sight(_blur(speed), speed=True, wrap=wrap))
    if found is None:
        return None
    when, sd = found.whatever_the_shape()
    return when, float(np.sqrt(least_sd**2 + sd**2 + step**2 / 12.0))


def first_turn(shaft: Samples, start: Start) -> float | None:
    """Return when the driven wheels' speed [m/s] leaves its rest, between two samples; None with too few samples.

    The tyre's wrap lets them turn before the car moves. A sensor that reads nothing at low speed says it late.
    """
    near = between(shaft, start.begin - 0.4, start.begin + 0.6)
    if rate(shaft) < LEAST_TURN_RATE or near.time.size < 4:
        return None
    still = np.flatnonzero(near.values <= TURNS)
    if not still.size or still[-1] + 1 >= near.time.size:
        return None
    return 0.5 * float(near.time[still[-1]] + near.time[still[-1] + 1])


def _thinned(near: Samples) -> Samples:
    """Return the channel at no more than ``ONSET_RATE``."""
    if rate(near) <= 1.5 * ONSET_RATE:
        return near
    centres = np.arange(near.time[0] + 0.5 / ONSET_RATE, near.time[-1], 1.0 / ONSET_RATE)
    return Samples(centres, window_mean(near, centres, 1.0 / ONSET_RATE))


def _blur(channel: Samples) -> float:
    """Return what each sample that is looked at is a mean over [s]: hardly anything where nothing was averaged."""
    return 1.0 / ONSET_RATE if rate(channel) > 1.5 * ONSET_RATE else 0.001


def _around(near: Samples, start: Start) -> tuple[float, float]:
    return float(near.time[0]), min(start.begin + 0.3, float(near.time[-1]))


def release_near(switch: Samples, moved: float) -> float | None:
    """Return the last release of the switch within ``SWITCH_SEARCH`` of the first motion, or None."""
    middle = 0.5 * (float(switch.values.min()) + float(switch.values.max()))
    held = switch.values > middle
    edges = np.flatnonzero(held[:-1] & ~held[1:])
    times = 0.5 * (switch.time[edges] + switch.time[edges + 1])
    near = times[np.abs(times - moved) <= SWITCH_SEARCH]
    return float(near[np.argmin(np.abs(near - moved))]) if near.size else None


def _average(instants: list[tuple[float, float]]) -> tuple[float, float]:
    """Return the mean weighted by variance and its sd, widened where the instants disagree by more than their sd."""
    times = np.array([time for time, _ in instants])
    weights = np.array([sd**-2 for _, sd in instants])
    mean = float(times @ weights / weights.sum())
    scatter = float(((times - mean) ** 2) @ weights)
    widening = max(1.0, scatter / (times.size - 1)) if times.size > 1 else 1.0
    return mean, float(np.sqrt(widening / weights.sum()))
