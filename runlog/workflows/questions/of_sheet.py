"""Questions about the setup sheet: what was meant against what the trace shows was done, scales, units.

Thresholds are common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.physics.scales import MASS_TOLERANCE
from runlog.results import Answer, Question
from runlog.units import unit_of
from runlog.workflows.chassis.scales import DRIVER, FUEL, HELD, READINGS, weighings
from runlog.workflows.questions.case import of
from runlog.workflows.questions.factors import factor_between
from runlog.workflows.questions.of_words import word_questions
from runlog.workflows.release.limits import is_outside

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from runlog.records import SheetEntry
    from runlog.workflows.chassis.scales import Weighing
    from runlog.workflows.questions.case import RunCase

LAUNCH_OFF, SHIFT_OFF = (150.0, 0.04), (200.0, 0.03)
"""[rpm] and share by which launch and shift speed may differ between sheet and trace, the larger of the two"""
RATIO_OFF: Final = (0.95, 1.2)
"""engine over driveshaft, over what the car file's last gear gives: a converter slips, a clutch hardly"""
CIRCUMFERENCE_OFF: Final = 0.03
"""share by which the driven wheels may read high or low"""
SHIFTED: Final = 0.3
"""share by which a setting may have been changed at once where its decimal point was misplaced"""
DOUBT: Final = 3.0
"""standard deviations of that share"""
_RPM: Final = unit_of("rpm").factor
_AGAIN: Final = "and import it again"


def sheet_questions(case: RunCase, circumference: tuple[float, float] | None) -> Iterator[Question]:
    """Yield what has to be asked about the sheet of a run.

    ``circumference``: by which share the driven wheels read high as the slips have taught, and its sd; None: nothing
    was learned yet.
    """
    yield from word_questions(case)
    yield from _rpm(case)
    yield from _gears(case)
    yield from _wheels(case, circumference)
    yield from _scales(case)
    yield from _units(case)


def _rpm(case: RunCase) -> Iterator[Question]:
    found = case.found
    if found is None:
        return
    launched = found["launch_engine_speed"]
    if launched is not None:
        yield from _done(case, "launch rpm", launched / _RPM, LAUNCH_OFF)
    shifts = [shift["engine_speed"] / _RPM for shift in found["shifts"]]
    if shifts:
        yield from _done(case, "shift rpm", float(np.median(shifts)), SHIFT_OFF)
        for n, speed in enumerate(shifts, 1):
            yield from _done(case, f"shift rpm {n}", speed, SHIFT_OFF)


def _done(case: RunCase, item: str, done: float, allowed: tuple[float, float]) -> Iterator[Question]:
    entry = case.setup.get(item)
    if entry is None or entry.value is None or entry.unit != "rpm":
        return
    if abs(done - entry.value) <= max(allowed[0], allowed[1] * entry.value):
        return
    step = _step(case, item)
    rounded = round(done / step) * step
    yield Question(
        f"sheet-{item.replace(' ', '-')}-{of(entry.value, round(done, -1))}",
        f"the sheet says {item} {entry.value:.0f}, the trace shows {done:.0f}: what was really done?",
        (),
        (
            Answer(
                "t",
                f"as the trace shows: {item} {rounded:.0f} from this run on",
                {"do": "sheet", "text": item, "value": rounded, "unit": "rpm"},
            ),
            Answer("s", f"as the sheet says: the trace's {done:.0f} is off"),
        ),
    )


def _step(case: RunCase, item: str) -> float:
    """Return what a speed from the trace is rounded to: half the item's usual step."""
    adjustable = case.car.adjustable(item) if case.car else None
    return max((adjustable.step if adjustable else 100.0) / 2.0, 10.0)


def _gears(case: RunCase) -> Iterator[Question]:
    found, gears = case.found, case.car.gear_ratios if case.car else ()
    ratio = found.get("last_gear_ratio") if found else None
    if found is None or ratio is None or not gears or len(found["shifts"]) != len(gears) - 1:
        return
    if RATIO_OFF[0] <= ratio / gears[-1] <= RATIO_OFF[1]:
        return
    told = ", ".join(f"{gear:g}" for gear in gears[:-1])
    line = f"gear_ratios = [{told}{', ' if told else ''}{ratio:.2f}]"
    yield Question(
        f"gear-{of(gears)}",
        f"in the last gear the engine turns {ratio:.2f} times the driveshaft; the car file's ratio is {gears[-1]:g}: "
        "which is wrong?",
        (),
        (
            Answer("c", f"the car file: write {line} there, or what is in the box, and import it again"),
            Answer("l", "the logger: pulses per turn of one of the two speeds"),
            Answer("s", "neither: converter or clutch slips that much"),
        ),
    )


def _wheels(case: RunCase, circumference: tuple[float, float] | None) -> Iterator[Question]:
    if circumference is None or case.car is None:
        return
    off, sd = circumference
    if abs(off) <= CIRCUMFERENCE_OFF or abs(off) <= DOUBT * sd:
        return
    side, longer = ("high", "shorter") if off > 0 else ("low", "longer")
    inches = case.car.tyre_circumference / (1.0 + off) / 0.0254
    # a shaft that is taken to turn the wheels too fast has a larger ratio after it
    ratio = case.car.final_drive * (1.0 + off)
    yield Question(
        f"wheels-{of(case.car.tyre_circumference, case.car.final_drive, off > 0)}",
        f"by the slips the driven wheels read {100 * abs(off):.1f} ± {100 * sd:.1f} % {side}: the tyre is {longer} "
        f"than the car file says (about {inches:.1f} in), or the final drive is another: which is it?",
        (),
        (
            Answer("c", f'the circumference: write tyre_circumference = "{inches:.1f} in" in the car file, {_AGAIN}'),
            Answer("f", f"the final drive: write final_drive = {ratio:.2f} in the car file, {_AGAIN}"),
            Answer("n", "neither: leave it to the calibration"),
        ),
    )


def guard_question(case: RunCase, rollout: tuple[float, float] | None) -> Iterator[Question]:
    """Yield the question that a clock asks which seems to start beyond the guard beam.

    ``rollout``: what the slips have taught it to start further from rest than the track file says [m], and its sd.
    """
    track = case.track
    if rollout is None or track is None or track.guard_beam is None:
        return
    start, sd = track.rollout + rollout[0], rollout[1]
    line = f'write rollout = "{start / 0.0254:.1f} in" and the real guard_beam, which is no nearer,'
    if start - DOUBT * sd <= track.guard_beam:
        return
    yield Question(
        f"guard-{of(track.name, track.rollout, track.guard_beam)}",
        f"by the slips the clock starts {start / 0.0254:.1f} ± {sd / 0.0254:.1f} in, from rest, beyond the guard beam "
        f"at {track.guard_beam / 0.0254:.1f} in: is the track file right?",
        (),
        (
            Answer("t", f"no: {line} in the track file, {_AGAIN}"),
            Answer("c", "yes: the car's figures are off, look at circumference and staging"),
        ),
    )


def _scales(case: RunCase) -> Iterator[Question]:
    """Scale readings that came with this run's sheet, under other conditions than those before."""
    key = case.slip.key
    own = [sheet for sheet in case.sheets if (sheet.date, sheet.number) == (key.date, key.number)]
    if not any(entry.item in READINGS for sheet in own for entry in sheet.entries):
        return
    found = weighings(case.sheets, key)
    if len(found) < 2 or found[-1].sheet != str(key):
        return
    from runlog.physics.scales import comparable

    why = comparable(found[-2].conditions, found[-1].conditions, "lb", "psi")
    if not why:
        return
    yield Question(
        f"scales-{of(key, *why)}",
        f"the scale readings of this sheet can't be held against those of {found[-2].sheet}: {why[0]}; were they "
        "taken under the same conditions?",
        tuple(why),
        (
            Answer("n", "no: don't compare them"),
            Answer("y", f"yes: write what is missing into the sheet of each weighing, such as {_noted(found[-2:])}"),
        ),
    )


def _noted(pair: Sequence[Weighing]) -> str:
    """Return the lines of a sheet that would tell what wasn't noted with two weighings, or what differs."""
    lines = []
    for item, name, value in ((DRIVER, "driver_mass", "180,lb"), (FUEL, "fuel", "20,lb")):
        masses = [getattr(one.conditions, name) for one in pair]
        if None in masses or abs(masses[0] - masses[1]) > MASS_TOLERANCE:
            lines.append(f"{item},{value}")
    if None in [one.conditions.tyre_pressures for one in pair]:
        lines += ["front tyre pressure,32,psi", "rear tyre pressure,7,psi"]
    lines += [f"{item},yes," for item, name in HELD.items() if not all(getattr(one.conditions, name) for one in pair)]
    return " · ".join(lines) or "the pressures of its tyres"


def _units(case: RunCase) -> Iterator[Question]:
    """A setting that is what it was times the factor between two units, or that only so is within its limits."""
    for item, entry in case.setup.items():
        before = (case.before or {}).get(item)
        if entry.value is None or before is None or before.value is None or before.value == entry.value:
            continue
        yield from _decimals(case, entry, before.value)
        mistaken = factor_between(item, entry.value, before.value, _sisters(entry))
        if mistaken is None:
            continue
        meant = round(entry.value * mistaken.factor, 2)
        yield Question(
            f"unit-{item.replace(' ', '-')}-{of(entry.value, before.value)}",
            # the unit apart from the number, which stays as it was written: a metric page turns quantities
            f"{item} went from {before.text} to {entry.text} ({entry.unit}), {mistaken.times:.3g} times as much: "
            f"{mistaken.words}?",
            (),
            (
                Answer(
                    "y",
                    f"yes: it was {meant:g} {entry.unit}",
                    {"do": "sheet", "text": item, "value": meant, "unit": entry.unit},
                ),
                Answer("n", "no, it was changed that much"),
            ),
        )


def _decimals(case: RunCase, entry: SheetEntry, before: float) -> Iterator[Question]:
    """A setting past its limits that a misplaced decimal point makes of one within them, near where it was."""
    item = case.car.adjustable(entry.item) if case.car else None
    if case.car is None or item is None or item.holes or entry.value is None:
        return
    if before <= 0.0 or not is_outside(case.car, item, entry.value):
        return
    for factor in (10.0, 100.0, 0.1, 0.01):
        meant = round(entry.value * factor, 6)
        if is_outside(case.car, item, meant) or abs(meant / before - 1.0) > SHIFTED:
            continue
        yield Question(
            f"point-{entry.item.replace(' ', '-')}-{of(entry.value, before)}",
            f"{entry.item} {entry.text} {entry.unit} is outside the car file's limits, {meant:g} {entry.unit} isn't: "
            "was the decimal point misplaced?",
            (),
            (
                Answer(
                    "y",
                    f"yes: it was {meant:g} {entry.unit}",
                    {"do": "sheet", "text": entry.item, "value": meant, "unit": entry.unit},
                ),
                Answer("n", "no, it really stood there"),
            ),
        )
        return


def _sisters(entry: SheetEntry) -> set[str]:
    """Return the units that a setting's unit may be mistaken for, itself included."""
    families = ({"psi", "kPa", "bar"}, {"lb", "kg"}, {"in", "mm"}, {"mph", "km/h"}, {"s", "ms"})
    return next((family for family in families if entry.unit in family), set())
