"""What to try next, and in which order, to learn most from the runs that are left.

The sequence minimises the expected variance of the chosen effects (A-optimal; Chaloner & Verdinelli 1995) within the
clock and the guards below. It is searched by exchange from several starts (Meyer & Nachtsheim 1995), without random
numbers: the same question has the same answer.

An effect on time is not a recommendation: limits, rules and makers come first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from runlog import catalogue
from runlog.constants import INCREMENTS_FT
from runlog.learning.forecast import expected_air
from runlog.learning.leaving import Leave, leaving
from runlog.learning.lookahead import Lookahead, make_lookahead
from runlog.learning.sequences import Space, change_and_stay, search, there_and_back
from runlog.learning.verdicts import chance_of_claim, chance_of_verdict

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from runlog.learning.car import CarFit

    FloatArray = NDArray[np.float64]
    IntArray = NDArray[np.int_]


@dataclass(frozen=True)
class Candidate:
    """An adjustable that the crew wants to learn about; levels and limits in usual steps from the baseline."""

    name: str
    minutes: float
    """to change it"""
    levels: tuple[float, ...] = (0.0, 1.0)
    low: float | None = None
    high: float | None = None
    """limits of the car file, which no proposal passes"""
    blocked: tuple[float, ...] = ()
    """levels that gave a wheelstand, shake or a stop item and that nobody has released since"""
    weight: float = 1.0
    available: bool = True
    """False: it needs a part they lack"""
    cautions: str = ""
    """letters of ``catalogue.CAUTIONS``"""
    short_ft: int | None = None
    """a setting is first tried in a hit of this length; None: it may be run to the finish at once"""
    proven: tuple[float, ...] = ()
    """levels that have been run, which need no short hit"""

    def allowed(self, level: float) -> bool:
        """Return whether a level may be proposed."""
        inside = (self.low is None or level >= self.low - 1e-9) and (self.high is None or level <= self.high + 1e-9)
        return inside and all(abs(level - other) > 1e-9 for other in self.blocked)


@dataclass(frozen=True)
class Request:
    """What is left of the day."""

    runs: int
    candidates: tuple[Candidate, ...]
    settings: FloatArray
    """(P,) in the car now, in usual steps"""
    day: int
    hour: float
    """now, on that day's clock"""
    turnaround_minutes: float = 45.0
    minutes_left: float | None = None
    changes_per_gap: int = 1
    leave_with: FloatArray | None = None
    """(P,) settings of the last run, where the owner wants to leave with them"""
    shakedown_ft: tuple[int, ...] = ()
    """distances of the release steps that the car hasn't made; they come first, as the car stands"""
    first_ft: int | None = None
    """how far the first run goes at most, where something in the car was never run; None: that isn't so"""
    furthest_ft: int | None = None
    """no run goes further; None: all may go to the finish"""


@dataclass(frozen=True)
class Step:
    """One planned run."""

    run: int
    """counted from 1"""
    to_ft: int
    changes: tuple[tuple[str, float], ...]
    """adjustable and its new setting in usual steps"""
    minutes: float
    """of work before the run"""
    hour: float
    """of the run, on the day's clock"""
    why: str
    short_hit: bool = False
    """whether it is short because a setting is tried for the first time"""


@dataclass(frozen=True)
class Outlook:
    """What a sequence is expected to leave of the doubt."""

    sd_after_s: float
    chance_of_verdict: float
    """that the verdict will be helped or hurt"""
    chance_settled: float
    """that it will be helped, hurt or no difference that matters"""


@dataclass(frozen=True)
class Expected:
    """What is known of one step of an adjustable now, and after the plan and two plain ways of testing."""

    adjustable: str
    from_ft: int
    to_ft: int
    sd_now_s: float
    plan: Outlook
    there_and_back: Outlook
    change_and_stay: Outlook


@dataclass(frozen=True)
class Plan:
    """A proposal for the runs that are left."""

    steps: tuple[Step, ...]
    expected: tuple[Expected, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...] = field(default=())
    """what was left out, and why"""
    leave: tuple[Leave, ...] = ()
    """what to leave the day with"""


def _put_right(fit: CarFit, request: Request) -> tuple[FloatArray, float, list[str]]:
    """Return the settings with those that no run may be made at put right, the minutes that takes, and what to say."""
    names = [lever.name for lever in fit.levers]
    settings, minutes, notes = request.settings.copy(), 0.0, []
    for candidate in request.candidates:
        if candidate.name not in names or candidate.allowed(float(settings[names.index(candidate.name)])):
            continue
        now = float(settings[names.index(candidate.name)])
        allowed = [level for level in candidate.levels if candidate.allowed(level)]
        if not allowed:
            notes.append(f"{candidate.name}: {_at(now)} is outside the limits or blocked: settle this before a run")
            continue
        settings[names.index(candidate.name)] = min(allowed, key=lambda level: (abs(level - now), level))
        minutes += candidate.minutes
        notes.append(f"{candidate.name}: {_at(now)} is outside the limits or blocked and is put right first")
    return settings, minutes, notes


def _chosen(fit: CarFit, request: Request) -> tuple[list[tuple[int, Candidate, tuple[float, ...]]], list[str]]:
    """Return the levers that can be tested, with their levels, and why others can't."""
    names = [lever.name for lever in fit.levers]
    chosen, notes = [], []
    for candidate in request.candidates:
        if candidate.name not in names:
            raise ValueError(f"no adjustable {candidate.name!r}; there are {', '.join(names)}")
        if not candidate.available:
            notes.append(f"{candidate.name}: left out, it needs a part that isn't here")
            continue
        place = names.index(candidate.name)
        wanted = dict.fromkeys((*candidate.levels, float(request.settings[place])))
        levels = tuple(level for level in wanted if candidate.allowed(level))
        notes += [
            f"{candidate.name}: {_at(level)} isn't proposed, it is outside the limits or blocked"
            for level in candidate.levels
            if level not in levels
        ]
        if len(levels) > 1:
            chosen.append((place, candidate, levels))
        else:
            notes.append(f"{candidate.name}: left out, fewer than two settings are allowed")
    return chosen, notes


def _reach(request: Request, finish: int) -> tuple[list[int], list[str]]:
    """Return how many segments each run covers, shakedown first, and what the clock takes away."""
    ends = [end for _, end in INCREMENTS_FT]
    count, notes = request.runs, []
    if request.minutes_left is not None and request.turnaround_minutes > 0:
        fits = int(request.minutes_left / request.turnaround_minutes + 1e-9)
        if fits < count:
            notes.append(f"{fits} of {count} runs fit into {request.minutes_left:g} minutes")
            count = fits
    furthest = () if request.furthest_ft is None else (request.furthest_ft,)
    unknown = [distance for distance in (*request.shakedown_ft, *furthest) if distance not in ends]
    if unknown:
        raise ValueError(f"no split at {unknown[0]} ft; a shakedown step ends at one of {ends}")
    finish = min([finish, *(ends.index(distance) + 1 for distance in furthest)])
    short = [min(ends.index(distance) + 1, finish) for distance in request.shakedown_ft][:count]
    return short + [finish] * (count - len(short)), notes


def _segments(distance_ft: int) -> int:
    """Return how many segments a run to a distance covers; ValueError where there is no split."""
    ends = [end for _, end in INCREMENTS_FT]
    if distance_ft not in ends:
        raise ValueError(f"no split at {distance_ft} ft; a short hit ends at one of {ends}")
    return ends.index(distance_ft) + 1


def _space(fit: CarFit, request: Request, chosen: list[tuple[int, Candidate, tuple[float, ...]]],
           reach: list[int]) -> Space:  # fmt: skip
    P, names = len(fit.levers), [lever.name for lever in fit.levers]
    minutes = np.zeros(P)
    for place, candidate, _ in chosen:
        minutes[place] = candidate.minutes
    today = np.flatnonzero(fit.runs.day == request.day)
    today = today[np.argsort(fit.runs.hour[today], kind="stable")]
    leave = None if request.leave_with is None else request.settings.copy()
    if leave is not None and request.leave_with is not None:
        for place, candidate, _ in chosen:
            if candidate.allowed(float(request.leave_with[place])):
                leave[place] = request.leave_with[place]
    return Space(
        start=request.settings,
        levels={place: levels for place, _, levels in chosen},
        earlier=fit.runs.settings[today],
        minutes=minutes,
        turnaround=request.turnaround_minutes,
        minutes_left=math.inf if request.minutes_left is None else request.minutes_left,
        changes_per_gap=request.changes_per_gap,
        runs=len(reach),
        shakedown=min(len(request.shakedown_ft), len(reach)),
        leave_with=leave,
        short={
            names.index(candidate.name): (candidate.proven, _segments(candidate.short_ft))
            for candidate in request.candidates
            if candidate.short_ft is not None
        },
        first=None if request.first_ft is None else _segments(request.first_ft),
    )


@dataclass(frozen=True)
class _Criterion:
    """Σ over the chosen levers of weight × variance of the step on the elapsed increments, in units of the prior's."""

    ahead: Lookahead
    space: Space
    hour: float
    reach: IntArray
    scale: FloatArray
    """(P,)"""
    finish: int

    def hours(self, sequences: FloatArray) -> FloatArray:
        return self.hour + self.space.clock(sequences) / 60.0

    def variances(self, sequences: FloatArray) -> FloatArray:
        """Return the variances (B, S, P) of one step after each sequence, cut short or whole."""
        return self.ahead.variances(sequences, self.hours(sequences), self.space.reaches(sequences, self.reach))

    def __call__(self, sequences: FloatArray) -> FloatArray:
        total: FloatArray = self.variances(sequences)[:, : self.finish].sum(axis=1) @ self.scale
        return total


def _steps(fit: CarFit, space: Space, sequence: FloatArray, hours: FloatArray, reach: IntArray) -> list[Step]:
    moves, work = space.moves(sequence[None])[0], space.work(sequence[None])[0]
    steps = []
    seen = [*space.earlier, space.start]
    reached = space.reaches(sequence[None], reach)[0]
    for run, settings in enumerate(sequence):
        changes = tuple((fit.levers[p].name, float(settings[p])) for p in np.flatnonzero(moves[run]))
        if run < space.shakedown:
            why = "shakedown step, as the car stands"
        elif not changes:
            why = "the same setup again: shows the spread and the drift of the day"
        elif any(np.allclose(settings, row) for row in seen[:-1]):
            why = (
                f"back to a setup that was run before: tells the change of {_listed(changes)} from the drift of the day"
            )
        else:
            why = f"tries {_listed(changes)}"
        seen.append(settings)
        short = bool(reached[run] < reach[run])
        if short and not changes:
            why = "a short hit: as it stands, the car hasn't run yet"
        to_ft = INCREMENTS_FT[reached[run] - 1][1]
        steps.append(Step(run + 1, to_ft, changes, float(work[run]), float(hours[run]), why, short))
    return steps


def _at(level: float) -> str:
    """Return a setting in words."""
    return f"{level:+g} steps" if level else "baseline"


def _listed(changes: tuple[tuple[str, float], ...]) -> str:
    return " and ".join(f"{name} at {_at(level)}" for name, level in changes)


def _expected(fit: CarFit, chosen: list[tuple[int, Candidate, tuple[float, ...]]], before: FloatArray,
              after: FloatArray) -> tuple[Expected, ...]:  # fmt: skip
    """Return the outlook; variances ``before`` (S, P), ``after`` (3, S, P) of plan, there and back, change and stay.

    The posterior's own sd now is scaled by what the typical point says a sequence takes off.
    """
    effects = {(effect.adjustable, effect.from_ft, effect.to_ft): effect for effect in fit.effects}
    places = [(k, *edges) for k, edges in enumerate(INCREMENTS_FT)]
    result = []
    for p, candidate, _ in chosen:
        for k, start, end in (*places, (-1, 0, INCREMENTS_FT[fit.finish - 1][1])):
            effect = effects[candidate.name, start, end]
            smallest = fit.settings.smallest_elapsed if k < 0 else fit.settings.smallest_difference[k]
            if k < 0:
                ratios = fit.sum_variance(np.sqrt(after[:, : fit.finish, p].T))
                ratios = ratios / fit.sum_variance(np.sqrt(before[: fit.finish, p]))
            else:
                ratios = after[:, k, p] / before[k, p]
            now = effect.sd_s**2
            outlooks = [
                Outlook(
                    math.sqrt(now * ratio),
                    chance_of_claim(effect.mean_s, now, now * float(ratio), smallest),
                    chance_of_verdict(effect.mean_s, now, now * float(ratio), smallest),
                )
                for ratio in ratios
            ]
            result.append(Expected(candidate.name, start, end, effect.sd_s, *outlooks))
    return tuple(result)


def _leave(fit: CarFit, request: Request, chosen: list[tuple[int, Candidate, tuple[float, ...]]],
           sequence: FloatArray, expected: Sequence[Expected]) -> tuple[Leave, ...]:  # fmt: skip
    """Return what to leave each chosen lever at: of the levels that may be proposed, those that were run or will be."""
    timed = np.isfinite(fit.runs.times).any(axis=1)
    whole = {
        row.adjustable: row for row in expected if (row.from_ft, row.to_ft) == (0, INCREMENTS_FT[fit.finish - 1][1])
    }
    found = []
    for p, candidate, may in chosen:
        ran = [*fit.runs.settings[timed, p], *sequence[:, p]]
        row = whole[candidate.name]
        left_over = (row.plan.sd_after_s / row.sd_now_s) ** 2
        levels = [level for level in may if any(abs(level - float(other)) < 1e-9 for other in ran)]
        found.append(leaving(fit, p, float(request.settings[p]), levels, min(left_over, 1.0)))
    return tuple(leave for leave in found if leave is not None)


def _cautions(chosen: list[tuple[int, Candidate, tuple[float, ...]]], steps: list[Step]) -> tuple[str, ...]:
    moved = {name for step in steps for name, _ in step.changes}
    texts = dict.fromkeys(
        f"{candidate.name}: {text}"
        for _, candidate, _ in chosen
        if candidate.name in moved
        for text in catalogue.cautions_for(candidate.cautions)
    )
    always = "a proposal for learning, not for safety: limits, rules, inspection and makers come first"
    return (*texts, always)


def plan(fit: CarFit, request: Request) -> Plan:
    """Return what to try in the runs that are left. Deterministic.

    Raises ValueError for an adjustable or a shakedown distance that doesn't exist.
    """
    now, minutes, notes = _put_right(fit, request)
    stands = request.settings
    request = replace(request, settings=now, hour=request.hour + minutes / 60.0)
    chosen, left_out = _chosen(fit, request)
    reach, lost = _reach(request, fit.finish)
    notes += left_out + lost
    space = _space(fit, request, chosen, reach)
    if not reach:
        return Plan((), (), _cautions(chosen, []), tuple(notes))
    scale = np.zeros(len(fit.levers))
    for p, candidate, _ in chosen:
        scale[p] = candidate.weight / float((fit.levers[p].sd[: fit.finish] ** 2).sum())
    ahead = make_lookahead(fit, request.day, request.hour, expected_air(fit, request.day, None))
    criterion = _Criterion(ahead, space, request.hour, np.array(reach, dtype=int), scale, fit.finish)
    best = search(space, criterion)
    trio = np.array([best, there_and_back(space), change_and_stay(space)])
    steps = _steps(fit, space, best, criterion.hours(best[None])[0], criterion.reach)
    if minutes:
        changes = tuple((fit.levers[p].name, float(best[0, p])) for p in np.flatnonzero(best[0] != stands))
        why = f"puts right what was outside the limits or blocked; {_listed(changes)}"
        steps[0] = replace(steps[0], changes=changes, minutes=steps[0].minutes + minutes, why=why)
    if chosen and not any(step.changes for step in steps):
        notes.append("no sequence of changes fits the clock and the returns to baseline: run as the car stands")
    before = criterion.variances(trio[:1, :0])[0]
    expected = _expected(fit, chosen, before, criterion.variances(trio))
    leave = _leave(fit, request, chosen, best, expected)
    return Plan(tuple(steps), expected, _cautions(chosen, steps), tuple(notes), leave)
