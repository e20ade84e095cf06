"""Several runs in one logger file: where it is cut, and which run each part belongs to.

A reader already tells recordings apart whose clock begins anew. Here a recording is cut where nothing was logged for
long, and between launches that are too far apart to be burnout and run. The thresholds are common practice, no source.
"""

from __future__ import annotations

import datetime as dt
import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.problems import Problems
from runlog.readers.resets import between
from runlog.records import LoggerFile, Samples
from runlog.signals.launch import starts_by_acceleration, starts_by_speed
from runlog.signals.sampling import usable
from runlog.workflows.intake import resolve

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from runlog.records import FloatArray, Given, RunKey
    from runlog.signals.launch import Start
    from runlog.workflows.intake.parsing import Known

GAP: Final = 60.0
"""[s] without any sample that end a recording: between runs it takes minutes, and no dropout lasts so long"""
GAP_STEPS: Final = 20
"""a file logged slowly may pause for so many of its own steps"""
APART: Final = 150.0
"""[s] between launches of two runs; burnout, staging and run lie nearer together"""
LEAST_GAIN: Final = 12.0
"""[m/s] gained by a launch, also of a run to 60 ft"""
SHAFT_RADIUS: Final = 0.09
"""[m/rad] road covered by the turning driveshaft of a usual car: enough to tell a launch from creeping"""
REMEDY: Final = "Say which with --run CAR/DATE/NUMBER --part N, once for each part."


@dataclass(frozen=True)
class Part:
    """A part of a logger file: its number from 1, its recording, and when its launches begin [s, logger's clock]."""

    number: int
    log: LoggerFile
    launches: tuple[float, ...]

    @property
    def span(self) -> tuple[float, float]:
        """First and last time [s] on the logger's clock."""
        bases = self.log.times
        return min(base.start for base in bases), max(base.end for base in bases)

    def __str__(self) -> str:
        start, end = self.span
        began = f", began {self.log.started_at:%H:%M:%S}" if self.log.started_at else ""
        shown = ", ".join(f"{time:.1f}" for time in self.launches)
        return (
            f"part {self.number}: {start:.1f} to {end:.1f} s{began}, {f'launch at {shown} s' if shown else 'no launch'}"
        )


def split(recordings: Sequence[LoggerFile]) -> tuple[Part, ...]:
    """Return the parts of a logger file; a single one has no launches looked for."""
    pieces = [piece for log in recordings for gapless in _at_gaps(log) for piece in _at_launches(gapless)]
    if len(pieces) == 1:
        return (Part(1, pieces[0], ()),)
    return tuple(
        Part(number, piece, tuple(round(group[-1].begin, 3) for group in _runs(piece)))
        for number, piece in enumerate(pieces, start=1)
    )


def _at_gaps(log: LoggerFile) -> list[LoggerFile]:
    bases = _time_bases(log)
    longest = min((float(np.max(np.diff(time))) for time in bases if time.size > 1), default=0.0)
    if longest < GAP:
        return [log]
    ticks = np.unique(np.concatenate(bases))
    steps = np.diff(ticks)
    gaps = np.flatnonzero(steps > max(GAP, GAP_STEPS * float(np.median(steps))))
    return _cut(log, [float(ticks[place + 1]) for place in gaps])


def _at_launches(log: LoggerFile) -> list[LoggerFile]:
    bases = _time_bases(log)
    if max(float(time[-1] - time[0]) for time in bases) < APART:
        return [log]
    groups = _runs(log)
    # what lies between two runs is cut in the middle
    middles = [(one[-1].end + other[0].begin) / 2 for one, other in itertools.pairwise(groups)]
    return _cut(log, middles)


def _time_bases(log: LoggerFile) -> list[FloatArray]:
    return [time for time in {id(channel.time): channel.time for channel in log.channels}.values() if time.size]


def _cut(log: LoggerFile, begins: Sequence[float]) -> list[LoggerFile]:
    """Cut a recording at times [s, logger's clock]; a later part knows its start from that of the first."""
    if not begins:
        return [log]
    first = min(float(time[0]) for time in _time_bases(log))
    parts = []
    for low, high in zip([-np.inf, *begins], [*begins, np.inf], strict=True):
        part = between(log, low, high)
        if log.started_at is not None and np.isfinite(low):
            begin = min(base.start for base in part.times)
            part = replace(part, started_at=log.started_at + dt.timedelta(seconds=begin - first))
        parts.append(part)
    return parts


def _runs(log: LoggerFile) -> list[list[Start]]:
    """Return the starts that could be runs, those that lie near together in one group, as a burnout and its run."""
    groups: list[list[Start]] = []
    for start in _starts(log):
        if groups and start.begin - groups[-1][-1].begin < APART:
            groups[-1].append(start)
        else:
            groups.append([start])
    return groups


def _starts(log: LoggerFile) -> list[Start]:
    """Return great starts by the channel that tells them best."""
    logged = {channel.canonical: Samples(channel.time, channel.values) for channel in log.channels if channel.canonical}
    for name in ("ground_speed", "front_wheel_speed", "rear_wheel_speed", "driveshaft_speed", "acceleration_x"):
        samples = usable(logged.get(name))
        if samples is None:
            continue
        if name == "acceleration_x":
            found = starts_by_acceleration(samples)
        elif name == "driveshaft_speed":
            found = starts_by_speed(Samples(samples.time, samples.values * SHAFT_RADIUS))
        else:
            found = starts_by_speed(samples)
        return [start for start in found if start.gain >= LEAST_GAIN]
    return []


def assign(path: Path, parts: Sequence[Part], given: Given, known: Known, inner: str = "") -> list[tuple[Part, RunKey]]:
    """Return the parts to be stored, each with its run.

    ``FileFaults`` that lists the parts when it isn't settled which run each belongs to. ``inner`` is the name of what a
    packed file holds.
    """
    chosen = _chosen(path, parts, given)
    if len(chosen) == 1:
        log = chosen[0].log
        run = resolve.find_run(
            path, log.started_at, given, known.times, known.logged, known.cars, inner, order_guessed=log.order_guessed
        )
        return [(chosen[0], run)]
    named = resolve.named_run(path, given)
    tried = [f"{named} names one run"] if named else []
    if not named:
        by_start, why = _by_start(chosen, given, known)
        if by_start:
            return by_start
        tried.append(why)
        by_count, why = _by_count(path, chosen, given, known)
        if by_count:
            return by_count
        tried.append(why)
    problems = Problems(str(path))
    listed = "; ".join(map(str, parts))
    problems.add(
        "its runs", f"{len(parts)} recordings ({listed}); {'; '.join(tried)}", "parts that tell their runs", REMEDY
    )
    problems.raise_if_any()
    raise AssertionError


def _chosen(path: Path, parts: Sequence[Part], given: Given) -> list[Part]:
    """Return the part that was asked for, the only one with a launch, or all."""
    if given.part is not None:
        chosen = [part for part in parts if part.number == given.part]
        if not chosen:
            problems = Problems(str(path))
            listed = f" ({'; '.join(map(str, parts))})" if len(parts) > 1 else ""
            problems.add("", f"no part {given.part}", f"1 to {len(parts)}{listed}" if listed else "1, its only one")
            problems.raise_if_any()
        return chosen
    launched = [part for part in parts if part.launches]
    return launched or list(parts)


def _by_start(parts: Sequence[Part], given: Given, known: Known) -> tuple[list[tuple[Part, RunKey]], str]:
    taken = set(known.logged)
    found = []
    for part in parts:
        run, why = resolve.from_start(part.log.started_at, given, known.times, taken)
        if run is None:
            return [], f"part {part.number}: {why}"
        found.append((part, run))
        taken.add(run)
    return found, ""


def _by_count(path: Path, parts: Sequence[Part], given: Given, known: Known) -> tuple[list[tuple[Part, RunKey]], str]:
    """Take the runs of the day without a trace in order, where there are as many of them as parts."""
    date = resolve.date_of(path, next((part.log.started_at for part in parts if part.log.started_at), None))
    if date is None:
        return [], "no date in its name or in it"
    cars = {key.car for key in known.times if key.date == date}
    car = given.car or resolve.car_in_name(path, cars) or (next(iter(cars)) if len(cars) == 1 else None)
    waiting = sorted(key for key in known.times if (key.car, key.date) == (car, date) and key not in known.logged)
    if car is None or len(waiting) != len(parts):
        whose = f" of {car}" if car else ""
        return [], f"{len(parts)} parts and {len(waiting)} runs{whose} on {date} without a trace"
    return list(zip(parts, waiting, strict=True)), ""
