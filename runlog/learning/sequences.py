"""Sequences of settings: which are allowed, and the search for the one that scores least.

A sequence is an array (q, P) of the settings of each planned run, in usual steps. The search is exchange (Meyer &
Nachtsheim 1995) from several fixed starts: of all ways to hold one lever at one level over neighbouring runs, and all
swaps of neighbouring runs, the best is taken until none is better.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import product
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]
    BoolArray = NDArray[np.bool_]
    IntArray = NDArray[np.int_]

CHANGE_COST: Final = 0.002
"""added to the score for each change: of equally good sequences the one with fewer changes"""
RETURNS_FROM: Final = 3
"""with so many free runs or more, what is changed must be changed back"""
_TINY: Final = 1e-9
_GOLDEN: Final = 0.6180339887498949


@dataclass(frozen=True, eq=False)
class Space:
    """The sequences that may be proposed."""

    start: FloatArray
    """(P,) settings in the car now"""
    levels: Mapping[int, tuple[float, ...]]
    """the levers that may move, and to where"""
    earlier: FloatArray
    """(m, P) settings of the day's runs so far, in their order"""
    minutes: FloatArray
    """(P,) to change each"""
    turnaround: float
    """[min]"""
    minutes_left: float
    changes_per_gap: int
    runs: int
    shakedown: int
    """so many of the first runs are made as the car stands"""
    leave_with: FloatArray | None
    """(P,) settings of the last run"""
    short: Mapping[int, tuple[tuple[float, ...], int]] = field(default_factory=dict)
    """levers of which a setting is first tried in a short hit: settings that need none, and its number of segments"""
    first: int | None = None
    """segments that the first run covers at most: something in the car is new"""

    def moves(self, sequences: FloatArray) -> BoolArray:
        """Return (B, q, P) which levers are changed before each run."""
        before = np.concatenate([np.broadcast_to(self.start, (len(sequences), 1, len(self.start))), sequences], axis=1)
        result: BoolArray = np.abs(np.diff(before, axis=1)) > _TINY
        return result

    def reaches(self, sequences: FloatArray, reach: IntArray) -> IntArray:
        """Return (B, q) the segments that each run covers, ``reach`` (q,) where nothing calls for a short hit."""
        found = np.tile(reach[: sequences.shape[1]], (len(sequences), 1))
        if self.first is not None:
            found[:, :1] = np.minimum(found[:, :1], self.first)
        for lever, (proven, segments) in self.short.items():
            values = sequences[:, :, lever]
            fresh = (np.abs(values[..., None] - np.array(proven)) > _TINY).all(axis=-1)
            for run in range(values.shape[1]):
                seen = (np.abs(values[:, :run] - values[:, run : run + 1]) < _TINY).any(axis=1)
                found[:, run] = np.where(fresh[:, run] & ~seen, np.minimum(found[:, run], segments), found[:, run])
        return found

    def work(self, sequences: FloatArray) -> FloatArray:
        """Return (B, q) minutes of changing before each run."""
        result: FloatArray = self.moves(sequences) @ self.minutes
        return result

    def clock(self, sequences: FloatArray) -> FloatArray:
        """Return (B, q) minutes from now to each run; a change longer than the turnaround delays it."""
        return np.cumsum(np.maximum(self.work(sequences), self.turnaround), axis=1)

    def interleaves(self, sequence: FloatArray) -> bool:
        """Return whether every lever that is moved has its levels interleaved, the day's runs so far included."""
        path = np.concatenate([self.earlier, self.start[None, :], sequence])
        for lever in self.levels:
            values = path[:, lever]
            if np.ptp(sequence[:, lever]) < _TINY and abs(sequence[0, lever] - self.start[lever]) < _TINY:
                continue
            turns = int((np.abs(np.diff(values)) > _TINY).sum())
            if turns < len(np.unique(np.round(values, 9))):
                return False
        return True

    def feasible(self, sequences: FloatArray) -> BoolArray:
        """Return (B,) which sequences keep to the clock, the changes per gap, the shakedown and the end."""
        moves = self.moves(sequences)
        allowed: BoolArray = (moves.sum(axis=2) <= self.changes_per_gap).all(axis=1)
        allowed &= ~moves[:, : self.shakedown].any(axis=(1, 2))
        allowed &= self.clock(sequences)[:, -1] <= self.minutes_left + _TINY
        if self.leave_with is not None:
            allowed &= (np.abs(sequences[:, -1] - self.leave_with) < _TINY).all(axis=1)
        if self.runs - self.shakedown >= RETURNS_FROM:
            for place in np.flatnonzero(allowed):
                allowed[place] = self.interleaves(sequences[place])
        return allowed


def stay(space: Space) -> FloatArray:
    """Return the sequence without changes, but for those that it takes to leave with what is wanted."""
    sequence = np.tile(space.start, (space.runs, 1))
    if space.leave_with is not None:
        due = np.flatnonzero(np.abs(space.leave_with - space.start) > _TINY)
        for rank, lever in enumerate(due[::-1]):
            first = space.runs - 1 - rank // max(space.changes_per_gap, 1)
            sequence[max(first, space.shakedown) :, lever] = space.leave_with[lever]
    return sequence


def there_and_back(space: Space) -> FloatArray:
    """Return the plain way: one lever changed, changed back, then the next, and again from the first."""
    sequence = stay(space)
    levers = list(space.levels)
    for run in range(space.shakedown, space.runs):
        rank = run - space.shakedown
        if rank % 2 == 1 or not levers:
            continue
        lever = levers[(rank // 2) % len(levers)]
        sequence[run, lever] = _other_level(space, lever)
    return sequence


def change_and_stay(space: Space) -> FloatArray:
    """Return the way that learns little: each lever is changed once, one after the other, and left."""
    sequence = stay(space)
    levers = list(space.levels)
    free = space.runs - space.shakedown
    for rank, lever in enumerate(levers):
        first = space.shakedown + max(((rank + 1) * free) // (len(levers) + 1), rank)
        sequence[first:, lever] = _other_level(space, lever)
    return sequence


def _other_level(space: Space, lever: int) -> float:
    return next(level for level in space.levels[lever] if abs(level - space.start[lever]) > _TINY)


def _spread_start(space: Space, number: int) -> FloatArray:
    """Return a start spread over the space by a golden-ratio sequence, changes beyond those allowed put off."""
    sequence = stay(space)
    now = space.start.copy()
    count = number + 1
    for run in range(space.shakedown, space.runs):
        changed = 0
        for lever, levels in space.levels.items():
            count += 1
            wanted = levels[int(len(levels) * ((count * _GOLDEN * (number + 1)) % 1.0))]
            if abs(wanted - now[lever]) > _TINY and changed < space.changes_per_gap:
                now[lever], changed = wanted, changed + 1
        sequence[run] = now
    return sequence


def _neighbours(space: Space, sequence: FloatArray) -> FloatArray:
    """Return (B, q, P) all sequences one exchange or one swap away."""
    found = []
    free = range(space.shakedown, space.runs)
    for lever, levels in space.levels.items():
        for first, last, level in product(free, free, levels):
            if first <= last:
                other = sequence.copy()
                other[first : last + 1, lever] = level
                found.append(other)
    for run in range(space.shakedown, space.runs - 1):
        other = sequence.copy()
        other[[run, run + 1]] = other[[run + 1, run]]
        found.append(other)
    return np.array(found)


def _greedy(space: Space, score: Callable[[FloatArray], FloatArray]) -> FloatArray:
    """Return the sequence that takes the best next run each time."""
    sequence = stay(space)
    for run in range(space.shakedown, space.runs):
        options = [sequence]
        for lever, levels in space.levels.items():
            for level in levels:
                other = sequence.copy()
                other[run:, lever] = level
                options.append(other)
        batch = np.array(options)
        sequence = batch[int(np.argmin(score(batch[:, : run + 1])))]
    return sequence


def search(space: Space, score: Callable[[FloatArray], FloatArray]) -> FloatArray:
    """Return the feasible sequence with the least score plus ``CHANGE_COST`` for each change.

    ``score`` maps sequences (B, q, P) to (B,). Without a feasible start the car stays as it is.
    """

    def cost(batch: FloatArray) -> FloatArray:
        changes = space.moves(batch).sum(axis=(1, 2))
        total = np.full(len(batch), np.inf)
        allowed = np.flatnonzero(space.feasible(batch))
        if len(allowed):
            total[allowed] = score(batch[allowed]) + CHANGE_COST * changes[allowed]
        return total

    best, least = stay(space), float(cost(stay(space)[None])[0])
    if not space.levels or space.runs == space.shakedown:
        return best
    starts = [stay(space), there_and_back(space), _greedy(space, score)]
    starts += [_spread_start(space, number) for number in range(4)]
    for sequence in starts:
        now = float(cost(sequence[None])[0])
        while True:
            batch = _neighbours(space, sequence)
            costs = cost(batch)
            place = int(np.argmin(costs))
            if not costs[place] < now - _TINY:
                break
            sequence, now = batch[place], float(costs[place])
        if now < least - _TINY:
            best, least = sequence, now
    return best
