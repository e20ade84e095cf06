"""Questions about the timing slip: is it this run's, and how much of it is a measurement of the car pulling?

Thresholds are common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from runlog.constants import FOOT, MILE_PER_HOUR
from runlog.results import Answer, Question
from runlog.workflows.questions.case import figures, of
from runlog.workflows.results.counting import from_beam, last_beam, planned_ft

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runlog.records import Slip
    from runlog.workflows.questions.case import RunCase

WRONG_SLIP: Final = "timing: not this run's slip"
SAME: Final = 0.0011
"""[s] figures of two slips that are the same"""
SAME_SPEED: Final = 0.011 * MILE_PER_HOUR
"""[m/s] the same of trap speeds"""
LEAST_SAME: Final = 3
"""figures, reaction included, that two runs don't share by chance"""
UNLIKE: Final = 0.06
"""share by which every time is off the car's usual one, all to one side"""
KILOMETRES: Final = 1.609344
NEAR: Final = 0.06
"""share within which a trap speed is taken for one in another unit"""


def slip_questions(case: RunCase) -> Iterator[Question]:
    """Yield what has to be asked about a run's slip."""
    if not case.slip.times:
        return
    yield from _beyond_plan(case)
    yield from _lift(case)
    same = list(_same_as_another(case))
    yield from same
    if case.contradicted:
        yield _against_trace(case)
    elif not same:
        yield from _unlike_the_car(case)
    yield from _speed_unit(case)


def left_out(slip: Slip) -> dict[str, str]:
    """Return what leaves these figures out, and not those of the right slip once it is found."""
    return {"do": "spoil", "text": WRONG_SLIP, "slip": of(figures(slip))}


def _beyond_plan(case: RunCase) -> Iterator[Question]:
    """A slip prints on after a planned shut-off; where the trace pulls on too, the plan may have been left."""
    slip, found = case.slip, case.found
    plan = planned_ft(slip.purpose, case.finish_ft)
    printed = [feet for feet in slip.times if feet > plan]
    if not printed or found is None or slip.true_to_ft is not None or slip.spoiled:
        return
    pulled = _pulled_to(case)
    if pulled is None or pulled <= last_beam(plan):
        return
    yield Question(
        f"plan-{of(slip.purpose, figures(slip))}",
        f"planned to {plan} ft, but the trace pulls to {pulled} ft: do the figures after {plan} ft count?",
        (f"the slip prints {', '.join(f'{feet} ft' for feet in sorted(printed))} after the planned shut-off",),
        (
            Answer("n", "no, the shut-off was as planned"),
            Answer("y", f"yes, the driver went on to {pulled} ft", {"do": "pulled_on"}),
        ),
    )


def _pulled_to(case: RunCase) -> int | None:
    """Return the last beam that the car pulled to by its trace, None without a motion."""
    found = case.found
    if found is None or found["basis"] is None:
        return None
    lift = found["lift_distance"]
    reached = [feet for feet in found["basis"]["feet"] if feet <= case.finish_ft]
    if lift is not None:
        reached = [feet for feet in reached if feet <= last_beam(from_beam(lift, case.rollout) / FOOT)]
    return max(reached, default=None)


def _lift(case: RunCase) -> Iterator[Question]:
    slip, place = case.slip, case.found["lift_distance"] if case.found else None
    if place is None or (slip.spoiled and slip.true_to_ft is None):
        return
    asked = min(planned_ft(slip.purpose, case.finish_ft), slip.true_to_ft or case.finish_ft)
    lift = from_beam(place, case.rollout)
    lifted = last_beam(lift / FOOT)
    if not any(lifted < feet <= last_beam(asked) for feet in slip.times):
        return
    yield Question(
        f"lift-{of(round(place, 1), figures(slip))}",
        f"the trace shows a throttle lift at {lift / FOOT:.0f} ft: the slip's figures after {lifted} ft are taken as "
        "coasting and don't count; is that so?",
        (),
        (
            Answer("y", "yes, the driver lifted there"),
            Answer("n", "no, the car pulled on: the throttle channel is wrong", {"do": "no_lift"}),
        ),
    )


def _same_as_another(case: RunCase) -> Iterator[Question]:
    """The slip of the run before, typed or scanned twice; or the column of the other lane."""
    slip = case.slip
    for other in case.others:
        later = (other.key.date, other.key.number) > (slip.key.date, slip.key.number)
        if slip.spoiled or other.spoiled or (other.key.car == slip.key.car and later):
            continue
        same, shared = in_common(slip, other)
        if same < LEAST_SAME or same < shared:
            continue
        own = other.key.car == slip.key.car
        whose = f"run {other.key.number}'s" if own else f"{other.key.car}'s run {other.key.number}'s"
        lane = f" in the {other.lane} lane" if other.lane and not own else ""
        yield Question(
            f"{'same' if own else 'lane'}-{of(other.key, figures(slip))}",
            f"the slip has the same {same} figures as {whose}{lane}: is it that run's, read for this one?",
            (f"{shared} figures in common, all within {1000 * SAME:.0f} ms",),
            (
                Answer("y", "yes, the wrong slip or column: leave it out", left_out(slip)),
                Answer("n", "no, both runs really had these figures"),
            ),
        )
        return


def in_common(slip: Slip, other: Slip) -> tuple[int, int]:
    """Return how many figures of two slips are the same, and how many they share."""
    pairs = [(slip.times[feet], other.times[feet]) for feet in slip.times.keys() & other.times.keys()]
    if slip.reaction is not None and other.reaction is not None:
        pairs.append((slip.reaction, other.reaction))
    speeds = [(slip.speeds[feet], other.speeds[feet]) for feet in slip.speeds.keys() & other.speeds.keys()]
    same = sum(abs(a - b) <= SAME for a, b in pairs) + sum(abs(a - b) <= SAME_SPEED for a, b in speeds)
    return same, len(pairs) + len(speeds)


def _against_trace(case: RunCase) -> Question:
    first, *more = case.contradicted
    launch = round(case.found["launch_time"], 3) if case.found and case.found["launch_time"] is not None else None
    rest = f" (and {len(more)} more)" if len(more) > 1 else f"; {more[0]}" if more else ""
    return Question(
        f"slip-{of(figures(case.slip), launch)}",
        f"{first}{rest}: whose slip is it?",
        tuple(case.contradicted),
        (
            Answer("w", "another run's or the other lane's: leave it out", left_out(case.slip)),
            Answer("t", "this run's, and the trace is another run's", {"do": "no_trace", "value": launch}),
            Answer("k", "this run's: the slip is right and the trace is off"),
        ),
    )


def _unlike_the_car(case: RunCase) -> Iterator[Question]:
    """Without a trace: every time far off what the car runs, to one side, may be the other lane's column."""
    slip = case.slip
    if slip.spoiled or case.found is not None:
        return
    off = {
        feet: time / case.usual[feet] - 1.0
        for feet, time in slip.times.items()
        if feet in case.usual and feet <= case.valid_to_ft
    }
    if len(off) < 2 or min(map(abs, off.values())) < UNLIKE or len({value > 0 for value in off.values()}) > 1:
        return
    worst = max(off, key=lambda feet: abs(off[feet]))
    side = "slower" if off[worst] > 0 else "quicker"
    yield Question(
        f"unlike-{of(figures(slip))}",
        f"every time is {100 * min(map(abs, off.values())):.0f} % or more {side} than this car runs: is it the other "
        "lane's column?",
        tuple(f"{feet} ft {slip.times[feet]:.3f} s, usually {case.usual[feet]:.3f} s" for feet in sorted(off)),
        (
            Answer("y", "yes, the wrong column or slip: leave it out", left_out(slip)),
            Answer("n", "no, the car really ran that"),
        ),
    )


def _speed_unit(case: RunCase) -> Iterator[Question]:
    """A trap speed against the average of the last interval, which it is a few percent above while the car pulls."""
    slip, marks = case.slip, {0: 0.0, **case.slip.times}
    for feet, speed in slip.speeds.items():
        before = max((mark for mark in marks if mark < feet), default=None)
        if feet not in marks or not before or feet > case.valid_to_ft:
            continue
        ratio = speed * (marks[feet] - marks[before]) / ((feet - before) * FOOT)
        # at constant power the end speed is this much above the mean of the interval (v² grows with time)
        wanted = 1.0 + 0.5 * (1.0 - marks[before] / marks[feet]) * 0.5
        for factor, unit in ((KILOMETRES, "km/h"), (1.0 / KILOMETRES, "mph read as km/h")):
            if abs(ratio / wanted / factor - 1.0) <= NEAR:
                yield Question(
                    f"speed-{feet}-{of(round(speed, 3))}",
                    # number and unit apart, as it was written: a metric page turns quantities
                    f"{speed / MILE_PER_HOUR:.1f} at {feet} ft, read as mph, is {ratio:.2f} times the average before "
                    f"it: is it in {unit}?",
                    (f"average from {before} to {feet} ft {speed / ratio / MILE_PER_HOUR:.1f} mph",),
                    (
                        Answer("y", f"yes, {unit}", {"do": "slip_speed", "text": str(feet), "value": 1.0 / factor}),
                        Answer("n", "no, it is as written"),
                    ),
                )
                return
