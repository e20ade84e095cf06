"""Everything that a trace shows to have happened, in order of time, each with place and confidence.

Names: ``burnout``, ``staging``, ``release``, ``shaft turns``, ``launch`` (first motion), ``beam clear``, ``shift``,
``gear slip``, ``tyre slip``, ``mean g``, ``peak g``, ``front wheels up``, ``wheelstand``, ``spin``, ``shake``,
``throttle stab``, ``throttle lift``, ``throttle again``, ``abort``, ``coast-down``, ``brake``, ``parachute``,
``brake or parachute``; and those of ``signals.trouble``. Confidence is a judgement, not a measured frequency.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from runlog.records import Samples, TraceEvent
from runlog.signals.before_run import before_run
from runlog.signals.ending import ending
from runlog.signals.events import shake_starts
from runlog.signals.pull import front_lift, gear_slips, mean_g, most_slip, peak_g, spins
from runlog.signals.sources import rest_bias
from runlog.signals.splits import beam_clear

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from runlog.records import Shift
    from runlog.signals.events import Lift
    from runlog.signals.launch import Launch
    from runlog.signals.limits import Span
    from runlog.signals.motion import Motion
    from runlog.signals.sources import Setting, Sources


@dataclass(frozen=True)
class Seen:
    """What the analysis has found so far of a run."""

    sources: Sources
    launch: Launch
    motion: Motion
    span: Span
    shifts: Sequence[Shift]
    lift: Lift | None


def happenings(good: Mapping[str, Samples], seen: Seen, setting: Setting) -> tuple[TraceEvent, ...]:
    """Return the events of a run."""
    motion, span = seen.motion, seen.span
    felt = seen.sources.acceleration is not None or seen.sources.ground is not None
    found = [
        *before_run(seen.sources, seen.launch),
        *_launch(seen.launch, motion, setting.rollout),
        *(_shift(shift) for shift in seen.shifts),
        *mean_g(motion, setting.rollout, span),
        *gear_slips(good, motion, seen.shifts, span, setting),
        *front_lift(good, motion, span),
        *((*most_slip(motion, span), *spins(motion, span)) if felt else ()),
        *_peak_g(seen, setting.rollout),
        *_shake(seen),
        *ending(good, motion, seen.lift, span, setting),
    ]
    return tuple(found)


def in_order(events: Iterable[TraceEvent], place: Callable[[float], float | None]) -> tuple[TraceEvent, ...]:
    """Return events in order of time, each with its place: before the launch nothing of the run is covered.

    ``place``: the distance [m] at seconds after launch.
    """
    placed = []
    for event in events:
        where = place(event.time) if event.distance is None else event.distance
        placed.append(replace(event, distance=0.0 if event.time <= 0.0 else where))
    return tuple(sorted(placed, key=lambda event: event.time))


def _peak_g(seen: Seen, rollout: float) -> list[TraceEvent]:
    """Return the peak of every increment by the accelerometer, else by the speed over ground."""
    sources, motion, span = seen.sources, seen.motion, seen.span
    if sources.acceleration is not None:
        return peak_g(sources.acceleration, rest_bias(sources.acceleration, seen.launch)[0], motion, rollout, span)
    if sources.ground is not None:
        return peak_g(Samples(motion.time + span.launch, motion.acceleration), 0.0, motion, rollout, span)
    return []


def launch_only(launch: Launch) -> list[TraceEvent]:
    """Return the instants of a launch where nothing is known of the motion after it."""
    return _instants(launch, float(np.clip(1.0 - 4.0 * launch.sd, 0.5, 0.98)))


def _launch(launch: Launch, motion: Motion, rollout: float) -> list[TraceEvent]:
    """Return the instants of a launch: release, driveshaft, first motion, beam clear."""
    found = launch_only(launch)
    if (beam := beam_clear(motion, rollout, launch.sd)) is not None:
        text = f"the start beam clears if the rollout is {rollout / 0.0254:.1f} in, ± {1000 * beam[1]:.0f} ms"
        found.append(TraceEvent("beam clear", beam[0], rollout, found[0].confidence, text))
    return found


def _instants(launch: Launch, confidence: float) -> list[TraceEvent]:
    found = [TraceEvent("launch", 0.0, 0.0, confidence, f"first motion, ± {1000 * launch.sd:.0f} ms")]
    if launch.release is not None:
        found.append(TraceEvent("release", launch.release - launch.time, None, 0.95, "the launch switch is let go"))
    if launch.shaft is not None:
        when = launch.shaft - launch.time
        found.append(TraceEvent("shaft turns", when, None, confidence, "the driveshaft begins to turn"))
    return found


def _shift(shift: Shift) -> TraceEvent:
    return TraceEvent("shift", shift.time, shift.distance, 0.9, f"shift at {shift.engine_speed * 30 / np.pi:.0f} rpm")


def _shake(seen: Seen) -> list[TraceEvent]:
    acceleration = seen.sources.acceleration
    if acceleration is None:
        return []
    starts = shake_starts(acceleration, seen.span.launch + 0.15, seen.span.end)
    if not starts:
        return []
    time = starts[0] - seen.span.launch
    place = float(np.interp(time, seen.motion.time, seen.motion.distance))
    return [TraceEvent("shake", time, place, 0.7, "a strong tone of 10 to 45 Hz in the acceleration: tyre shake?")]
