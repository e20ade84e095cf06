"""From acceleration over speed to time and distance.

With engine, converter and tyres taken quasi-statically the acceleration depends on speed and gear alone, so time and
distance are integrals over speed, ∫dv/a and ∫v dv/a. Each gear's range is cut where the acceleration bends: at knots
of the engine's curve, where the converter couples or the clutch lets go, and where the tyres hand over to the engine.
On each piece 1/a is smooth, and the polynomial through its Gauss-Legendre nodes is integrated exactly; a beam's speed
is the root of the integral. Between two gears the car coasts for the time of the shift. A stepping scheme would need
thousands of steps for the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np

from runlog.physics.quadrature import NODES, ORDER, WEIGHTS, evaluate, first_root, integral_series, series

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runlog.physics.vehicle import FloatArray

    BoolArray = NDArray[np.bool_]

LEAST_ACCELERATION: Final = 0.05
"""[m/s²] a car that gains speed more slowly is at its top speed: it counts as not getting any further"""
_CUTS: Final = 4
"""pieces that a gear's range is cut into beside where the acceleration bends"""
_HANDOVERS: Final = 3
"""changes between tyres and engine that are looked for in each gear"""


class Forces(Protocol):
    """What the solver asks of a car in its air. Cases are rows: (c, k) speeds give (c, k) values."""

    @property
    def gears(self) -> FloatArray:
        """The ratio of each gear (g,)."""

    @property
    def fastest(self) -> FloatArray:
        """A speed [m/s] (c, 1) that isn't reached before the last beam."""

    @property
    def shift_time(self) -> FloatArray:
        """Time of coasting at each shift [s] (c, 1)."""

    def engine_limited(self, speed: FloatArray, gear: FloatArray) -> FloatArray:
        """Return the acceleration [m/s²] with all that the engine gives; ``gear`` (k,) holds ratios."""

    def tyre_limited(self, speed: FloatArray) -> FloatArray:
        """Return the acceleration [m/s²] with all that the tyres hold."""

    def coasting(self, speed: FloatArray) -> FloatArray:
        """Return the acceleration [m/s²] without drive."""

    def bends(self, gear: float) -> list[FloatArray]:
        """Return the speeds [m/s], each (c, 1), at which ``engine_limited`` bends in this gear."""

    def shift_at(self, number: int) -> FloatArray:
        """Return the speed [m/s] (c, 1) at which gear ``number``, counted from 0, is left for the next."""


@dataclass(frozen=True)
class Passage:
    """When [s] from rest, how fast [m/s] and in which gear, counted from 0, each distance (c, b) was passed.

    nan where it never was.
    """

    time: FloatArray
    speed: FloatArray
    gear: FloatArray


@dataclass(frozen=True)
class _Gear:
    """The ends of the pieces of a gear (c, p + 1) in rising order, and how the shift before it went."""

    edges: FloatArray
    pause: FloatArray
    """(c, 1) [s] of coasting before it"""
    gap: FloatArray
    """(c, 1) [m] covered meanwhile"""
    stuck: BoolArray
    """(c, 1) whether the car gets no further in this gear, at its last edge"""


def passage(forces: Forces, distance: FloatArray) -> Passage:
    """Return when each distance [m] (b,), more than 0 and rising, is passed from rest."""
    gears: list[_Gear] = []
    start = np.zeros_like(forces.fastest)
    pause = gap = np.zeros_like(start)
    for number, ratio in enumerate(forces.gears):
        last = number == forces.gears.size - 1
        end = forces.fastest if last else np.minimum(forces.shift_at(number), forces.fastest)
        gears.append(_cut(forces, float(ratio), start, np.maximum(end, start), (pause, gap)))
        start, pause, gap = _coast(forces, gears[-1].edges[:, -1:])
    return _passed(forces, gears, distance)


def _coast(forces: Forces, speed: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the speed after the shift, its time and the distance covered: one step of the classic Runge-Kutta."""
    step = forces.shift_time + np.zeros_like(speed)
    first = forces.coasting(speed)
    second = forces.coasting(speed + 0.5 * step * first)
    third = forces.coasting(speed + 0.5 * step * second)
    fourth = forces.coasting(speed + step * third)
    after = np.maximum(speed + step / 6.0 * (first + 2.0 * second + 2.0 * third + fourth), 0.0)
    return after, step, step * speed + step**2 / 6.0 * (first + second + third)


def _cut(
    forces: Forces, ratio: float, start: FloatArray, end: FloatArray, before: tuple[FloatArray, FloatArray]
) -> _Gear:
    """Find the pieces of a gear from the speed it begins at to the one it is left at."""
    bends = [np.clip(speed, start, end) for speed in forces.bends(ratio)]
    even = [start + (end - start) * n / _CUTS for n in range(1, _CUTS)]
    edges = np.sort(np.concatenate([start, end, *bends, *even], axis=1), axis=1)
    speed = _nodes(edges)
    flat = speed.reshape(speed.shape[0], speed.shape[1] * ORDER)
    engine = forces.engine_limited(flat, np.full(flat.shape[1], ratio)).reshape(speed.shape)
    tyre = forces.tyre_limited(flat).reshape(speed.shape)
    # multiplied by speed, because constant power alone makes the acceleration infinite at rest
    handovers = _speeds_of(edges, first_root(speed * (engine - tyre)), end)[:, :_HANDOVERS]
    never = np.full_like(end, np.inf)
    slow = [first_root(speed * (limit - LEAST_ACCELERATION), falling=True) for limit in (engine, tyre)]
    top = np.minimum(*(_speeds_of(edges, places, never)[:, :1] for places in slow))
    at_start = np.minimum(engine, tyre)[:, :1, 0] <= LEAST_ACCELERATION
    top = np.where(at_start & (end > start), start, top)
    stuck = top < end
    end = np.minimum(end, top)
    # 1/a grows like a pole towards the top speed, so there the pieces get shorter and shorter
    graded = [start + (end - start) * np.where(stuck, 1.0 - 0.4**n, n / _CUTS) for n in range(1, _CUTS + 4)]
    final = [np.minimum(edge, end) for edge in (edges, handovers, *graded)]
    return _Gear(np.sort(np.concatenate(final, axis=1), axis=1), *before, stuck)


def _nodes(edges: FloatArray) -> FloatArray:
    return edges[:, :-1, None] + np.diff(edges, axis=1)[:, :, None] * NODES


def _speeds_of(edges: FloatArray, places: FloatArray, absent: FloatArray) -> FloatArray:
    """Return the speeds at places in pieces, in rising order (c, p); ``absent`` (c, 1) where there is no place."""
    speeds = edges[:, :-1] + np.diff(edges, axis=1) * places
    return np.sort(np.where(np.isnan(places), absent, speeds), axis=1)


def _passed(forces: Forces, gears: list[_Gear], distance: FloatArray) -> Passage:
    """Integrate over all pieces of all gears, and find when and how fast the distances are passed."""
    counts = [made.edges.shape[1] - 1 for made in gears]
    number = np.repeat(np.arange(len(gears)), counts)
    speed = np.concatenate([_nodes(made.edges) for made in gears], axis=1)
    low = np.concatenate([made.edges[:, :-1] for made in gears], axis=1)
    width = np.concatenate([np.diff(made.edges, axis=1) for made in gears], axis=1)
    flat = speed.reshape(speed.shape[0], speed.shape[1] * ORDER)
    engine = forces.engine_limited(flat, np.repeat(forces.gears[number], ORDER))
    gain = np.maximum(np.minimum(engine, forces.tyre_limited(flat)), 0.1 * LEAST_ACCELERATION)
    slowness = width[:, :, None] / gain.reshape(speed.shape)
    covering = slowness * speed
    pauses, gaps = np.zeros_like(low), np.zeros_like(low)
    firsts = np.cumsum([0, *counts[:-1]])
    pauses[:, firsts] = np.concatenate([made.pause for made in gears], axis=1)
    gaps[:, firsts] = np.concatenate([made.gap for made in gears], axis=1)
    stuck = np.cumsum(np.concatenate([made.stuck for made in gears], axis=1), axis=1)
    out_of_reach = np.concatenate([np.zeros_like(stuck[:, :1]), stuck[:, :-1]], axis=1)[:, number] > 0
    piece_time = np.where(out_of_reach, 0.0, slowness @ WEIGHTS)
    piece_distance = np.where(out_of_reach, 0.0, covering @ WEIGHTS)
    after = np.cumsum(piece_distance + np.where(out_of_reach, 0.0, gaps), axis=1)
    elapsed = np.cumsum(piece_time + np.where(out_of_reach, 0.0, pauses), axis=1)
    wanted = np.broadcast_to(distance, (low.shape[0], distance.size))
    piece = np.minimum((after[:, None, :] < wanted[:, :, None]).sum(axis=2), low.shape[1] - 1)

    def of(values: FloatArray) -> FloatArray:
        return np.take_along_axis(values, piece, axis=1)

    inside = wanted - (of(after) - of(piece_distance))
    rows = np.arange(low.shape[0])[:, None]
    ways, times = series(covering[rows, piece]), series(slowness[rows, piece])
    place = _place(ways, inside, of(piece_distance))
    time = of(elapsed) - of(piece_time) + evaluate(integral_series(times), place)
    reached = of(low) + of(width) * place
    time, reached = _while_coasting(forces, (time, reached), inside, of(pauses))
    sound = np.isfinite(time) & (wanted <= after[:, -1:] * (1.0 + 1e-12))
    return Passage(*(np.where(sound, values, np.nan) for values in (time, reached, number[piece].astype(np.float64))))


def _place(ways: FloatArray, inside: FloatArray, whole: FloatArray) -> FloatArray:
    """Return where in its piece, 0…1, so much of its distance has been covered: root of the integral by Newton."""
    integral = integral_series(ways)
    share = np.clip(inside / np.where(whole > 0.0, whole, 1.0), 0.0, 1.0)
    rest = evaluate(ways, np.zeros_like(share)) <= 1e-6 * whole  # from rest distance goes with the square of speed
    place = np.where(rest, np.sqrt(share), share)
    for _ in range(20):
        slope = np.maximum(evaluate(ways, place), 1e-300)
        step = (inside - evaluate(integral, place)) / slope
        moved = np.clip(place + step, 0.25 * place, 1.0)
        change, place = np.abs(moved - place), moved
        if not np.any(change > 1e-13):
            break
    return place


def _while_coasting(
    forces: Forces, found: tuple[FloatArray, FloatArray], inside: FloatArray, pause: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Correct time and speed of beams that are passed while the car coasts before the piece they were counted to."""
    time, speed = found
    coasts = (inside < 0.0) & (pause > 0.0)
    if not coasts.any():
        return time, speed
    slowing = forces.coasting(speed)
    # back from the end of the shift, deceleration taken as constant over what is left of it
    back = 2.0 * inside / (speed + np.sqrt(np.maximum(speed**2 + 2.0 * slowing * inside, 0.0)))
    return np.where(coasts, time + back, time), np.where(coasts, speed + slowing * back, speed)
