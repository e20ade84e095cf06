"""What to try in the runs that are left of a day, in which order, and what it can be expected to tell."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from runlog import catalogue
from runlog.errors import RunlogError, UsageError
from runlog.learning import Request, plan
from runlog.store import proposals
from runlog.workflows.ahead.candidates import candidates
from runlog.workflows.ahead.finish_speed import finish_speeds
from runlog.workflows.ahead.forecast import keep_proposal
from runlog.workflows.ahead.next_run import TURNAROUND_MINUTES, outside_limits, standing
from runlog.workflows.ahead.parts import read_parts
from runlog.workflows.ahead.quick_end import next_clearance, quick_end
from runlog.workflows.ahead.short_hits import first_ft, with_short_hits
from runlog.workflows.release.clearance import UNCHANGED
from runlog.workflows.release.limits import outside
from runlog.workflows.release.steps import FULL, step_words
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from runlog.learning import Candidate, Plan
    from runlog.learning.leaving import Leave
    from runlog.learning.planning import Expected, Step
    from runlog.records import Adjustable, FloatArray, SheetEntry
    from runlog.store.connection import Logbook
    from runlog.workflows.ahead.candidates import TooFast
    from runlog.workflows.ahead.next_run import Standing
    from runlog.workflows.release.clearance import Clearance

SHAKEDOWN_FT: Final = (60, 330, 660)
"""a new car is let further down the track step by step, then to the finish. Common practice, no source"""
_MOST_RUNS: Final = 12
"""a search over more takes long, and no day has more"""
_FIRST_LOOK: Final = 5
"""runs that the adjustables worth moving are found with"""
_MORNING: Final = 9.25
"""[h] from where the clock of a day counts that hasn't begun"""
_SIGNED = "reaching a distance isn't passing its step: its checks are ticked and signed before the next"


@dataclass(frozen=True)
class Left:
    """What is left of the day, as said."""

    runs: int = 3
    turnaround_minutes: float = TURNAROUND_MINUTES
    minutes_left: float | None = None
    adjustables: tuple[str, ...] = ()
    """to be tested; empty: the program chooses"""
    changes_per_gap: int = 1
    date: dt.date | None = None
    parts: tuple[str, ...] = ()
    """values at hand of what takes another part, such as ``final drive=4.10,4.30``"""


def plan_page(book: Logbook, name: str, left: Left, *, accept: bool = False) -> dict[str, Any]:
    """Return the plan for a car's next runs in the shape of ``plan --json``; ``accept`` makes it the plan of the day.

    ``NotFound`` without a car file; ``UsageError`` for numbers that make no sense or an adjustable that the car doesn't
    have; ``RunlogError`` for one that is never proposed, and when there is no step to accept.
    """
    _check(left)
    stand = standing(book, name, left.date)
    too_fast = finish_speeds(book, stand.car, stand.rows, stand.setup, stand.finish_ft)
    page = {**make_plan(stand, left, next_clearance(book, stand), too_fast), "accepted": accept}
    if accept:
        if not page["steps"]:
            reasons = page["clearance"]["reasons"] or [f"no run fits into {left.minutes_left:g} minutes"]
            raise RunlogError(f"there is no plan to accept: {'; '.join(reasons)}")
        keep_proposal(book, proposals.PLAN, str(stand.key), page)
    return page


def make_plan(
    stand: Standing, left: Left, cleared: Clearance | None = None, too_fast: TooFast | None = None
) -> dict[str, Any]:
    """Return the plan for a car as it stands, no run further than cleared. Deterministic; errors as ``plan_page``.

    Without a clearance nothing is known of release steps, credentials, open items and bars.
    """
    parts = read_parts(stand.car, left.parts)
    chosen, notes = candidates(stand, left.adjustables, cleared.bars if cleared else None, too_fast, parts)
    if cleared is not None:
        cleared = cleared.for_setup(_not_put_right(stand, cleared, chosen))
    request = _request(stand, left, with_short_hits(stand, chosen), cleared)
    made, request = _gently(stand, *_focused(stand, request, chosen=bool(left.adjustables)))
    if cleared is not None:
        tighter = cleared.for_quick(quick_end(stand, [request.settings, *_settings(stand, request, made)]))
        if tighter.to_ft < cleared.to_ft:
            return make_plan(stand, left, tighter, too_fast)
    return {
        "car": stand.car.name,
        "run": str(stand.key),
        "date": stand.key.date.isoformat(),
        "turnaround_minutes": left.turnaround_minutes,
        "minutes_left": left.minutes_left,
        "accepted": False,
        "steps": _steps(stand, request, made),
        "expected": [_expected(row) for row in made.expected],
        "clearance": cleared.part() if cleared else None,
        "leave_with": [_leave(stand, leave) for leave in made.leave],
        "notes": [*notes, *made.notes, *_late(left, made), *_step_notes(cleared)],
        "cautions": [*([_SIGNED] if request.shakedown_ft else []), *outside_limits(stand), *made.cautions],
    }


def _check(left: Left) -> None:
    if not 1 <= left.runs <= _MOST_RUNS:
        raise UsageError(f"--runs: {left.runs} is outside 1 to {_MOST_RUNS}")
    if not 5 <= left.turnaround_minutes <= 600:
        raise UsageError(f"--turnaround: {left.turnaround_minutes:g} is outside 5 to 600 minutes")
    if left.minutes_left is not None and left.minutes_left < 0:
        raise UsageError(f"--minutes-left: {left.minutes_left:g} is below 0")
    if not 1 <= left.changes_per_gap <= 3:
        raise UsageError(f"--changes: {left.changes_per_gap} is outside 1 to 3")


def _request(stand: Standing, left: Left, chosen: tuple[Candidate, ...], cleared: Clearance | None) -> Request:
    hours = stand.hours_so_far
    short = shakedown(stand, cleared)
    step = cleared.release.next if cleared else None
    runs = min(left.runs, len(short)) if step is not None else left.runs
    return Request(
        runs=0 if cleared is not None and cleared.to_ft == 0 else runs,
        candidates=chosen,
        settings=stand.settings({}),
        day=stand.key.date.toordinal(),
        hour=float(hours.max()) if len(hours) else _MORNING,
        turnaround_minutes=left.turnaround_minutes,
        minutes_left=left.minutes_left,
        changes_per_gap=left.changes_per_gap,
        shakedown_ft=short,
        first_ft=first_ft(stand),
        furthest_ft=None if cleared is None or cleared.to_ft in (0, stand.finish_ft) else cleared.to_ft,
    )


def shakedown(stand: Standing, cleared: Clearance | None = None) -> tuple[int, ...]:
    """Return the distances of the runs that come first, as the car stands: its release step, and unchanged runs.

    A car that is at a release step makes that one; its sign-off comes before the next. One that is released makes the
    unchanged runs to the finish that are still missing since then.
    """
    found = cleared.release if cleared else None
    since = found.since if found else None
    rows = [row for row in stand.rows if since is None or (row.key.date, row.key.number) >= since]
    reached = [max(row.counted_times(), default=0) for row in rows if row.clean]
    if found is not None and found.next is not None and found.next.step != FULL:
        return (found.next.feet,) if found.next.feet else ()
    if found is not None and (found.next is not None or found.needed):
        whole = sum(feet >= stand.finish_ft for feet in reached)
        return (stand.finish_ft,) * max(UNCHANGED - whole, 1 if found.next is not None else 0)
    furthest = max(reached, default=0)
    short = [feet for feet in SHAKEDOWN_FT if furthest < feet < stand.finish_ft]
    whole = sum(feet >= stand.finish_ft for feet in reached)
    return (*short, *[stand.finish_ft] * max(UNCHANGED - whole, 0))


def _focused(stand: Standing, request: Request, *, chosen: bool) -> tuple[Plan, Request]:
    """Return the plan. Where nobody chose, it is made in two passes.

    The first finds which of all adjustables are worth moving, in few runs and with steps to one side, which is quick;
    the second plans for those, so that the plain ways which it is compared with are about the same ones.
    """
    if not chosen:
        items = tuple(_one_sided(stand, request, item) for item in request.candidates)
        runs = min(request.runs, len(request.shakedown_ft) + _FIRST_LOOK)
        first = plan(stand.fit, replace(request, candidates=items, runs=runs, changes_per_gap=1))
        moved = {name for step in first.steps for name, _ in step.changes}
        request = replace(request, candidates=tuple(item for item in request.candidates if item.name in moved))
    return plan(stand.fit, request), request


def _one_sided(stand: Standing, request: Request, item: Candidate) -> Candidate:
    """Return a candidate with steps up only, where it may go up at all."""
    names = [lever.name for lever in stand.car.adjustables]
    start = float(request.settings[names.index(item.name)])
    levels = tuple(level for level in item.levels if level >= start or level == 0.0)
    return replace(item, levels=levels) if len(levels) > 1 else item


def _gently(stand: Standing, made: Plan, request: Request) -> tuple[Plan, Request]:
    """Return the plan without jumps over several steps to a setting that was never run.

    An adjustable that has one is planned anew with steps to one side only, until none has.
    """
    done: set[str] = set()
    while jumped := _jumped(stand, made, request) - done:
        done |= jumped
        kept = [_one_sided(stand, request, item) if item.name in jumped else item for item in request.candidates]
        request = replace(request, candidates=tuple(kept))
        made = plan(stand.fit, request)
    return made, request


def _jumped(stand: Standing, made: Plan, request: Request) -> set[str]:
    """Return what the plan moves by more than a step to a setting that it was never run at."""
    column = {item.name: n for n, item in enumerate(stand.car.adjustables)}
    now = request.settings.copy()
    jumped = set()
    # of parts the next set is the next step
    sets = {item.name for item in stand.car.adjustables if item.at_hand} | catalogue.NEEDS_PART
    for step in made.steps:
        for name, level in step.changes:
            tried = np.append(stand.lesson.runs.settings[:, column[name]], request.settings[column[name]])
            if name not in sets and abs(level - now[column[name]]) > 1.0 + 1e-9 and np.abs(tried - level).min() > 1e-9:
                jumped.add(name)
            now[column[name]] = level
    return jumped


def _settings(stand: Standing, request: Request, made: Plan) -> list[FloatArray]:
    """Return the settings [steps] of each planned run."""
    column = {item.name: n for n, item in enumerate(stand.car.adjustables)}
    now, found = request.settings.copy(), []
    for step in made.steps:
        for name, level in step.changes:
            now[column[name]] = level
        found.append(now.copy())
    return found


def _not_put_right(stand: Standing, cleared: Clearance, chosen: Sequence[Candidate]) -> dict[str, SheetEntry]:
    """Return what is in the car barred or past a limit, and isn't moved away from before the plan's first run."""
    movable = {item.name for item in chosen if any(item.allowed(level) for level in item.levels)}
    wrong = {name for name, entry in stand.setup.items() if cleared.bars.of(name, entry.value) is not None}
    wrong |= outside(stand.car, stand.setup).keys()
    return {name: entry for name, entry in stand.setup.items() if name in wrong - movable}


def _step_notes(cleared: Clearance | None) -> list[str]:
    """Say what comes after the release step that the plan ends with."""
    following = cleared.release.next if cleared else None
    if cleared is None or following is None:
        return []
    return [
        f"{step_words(following.step)} is signed before the next step: "
        f"runlog release {cleared.car.name} --sign {following.step}"
    ]


# --- the page's parts -------------------------------------------------------------------------------------------------


def _steps(stand: Standing, request: Request, made: Plan) -> list[dict[str, Any]]:
    items = {item.name: item for item in stand.car.adjustables}
    column = {name: n for n, name in enumerate(items)}
    runs = stand.lesson.runs
    today = list(runs.settings[runs.day == request.day])
    now = request.settings.copy()
    part = []
    for step in made.steps:
        before, today = now.copy(), [*today, now.copy()]
        for name, level in step.changes:
            now[column[name]] = level
        part.append(
            {
                "run": stand.key.number + step.run - 1,
                "purpose": "full" if step.to_ft >= stand.finish_ft else str(step.to_ft),
                "set": [
                    {
                        "item": name,
                        "from": _shown(stand, items[name], float(before[column[name]])),
                        "value": _shown(stand, items[name], level),
                        "unit": items[name].unit,
                    }
                    for name, level in step.changes
                ],
                "why": _why(
                    step, [(column[name], level) for name, level in step.changes], today, len(request.shakedown_ft)
                ),
                "minutes": rounded(step.minutes, 1),
                "short_hit": step.short_hit,
                "time": f"{int(step.hour) % 24:02d}:{int(step.hour * 60) % 60:02d}" if stand.day_begun else None,
            }
        )
    return part


def _late(left: Left, made: Plan) -> list[str]:
    """Say which runs wait for the work on the car: it takes longer than the turnaround."""
    return [
        f"{step.minutes:.0f} minutes of work don't fit into {left.turnaround_minutes:g}: that run is later by the rest"
        for step in made.steps
        if step.minutes > left.turnaround_minutes
    ]


def _leave(stand: Standing, leave: Leave) -> dict[str, Any]:
    """Return what to leave the day with: the best known of what was run, and how likely it is the best."""
    item = next(item for item in stand.car.adjustables if item.name == leave.adjustable)
    return {
        "item": item.name,
        "value": _shown(stand, item, leave.level),
        "unit": item.unit,
        "chance_now": rounded(leave.chance_now),
        "chance_after": rounded(leave.chance_after),
        "among": [_shown(stand, item, level) for level in leave.among],
    }


def _shown(stand: Standing, item: Adjustable, steps: float) -> float | str:
    value = stand.own_unit(item, steps)
    return item.label(value) if item.holes else value


def _why(step: Step, moved: Sequence[tuple[int, float]], today: Sequence[FloatArray], shakedown_runs: int) -> str:
    """Say what a step is for; ``moved``: column and level of what is changed, ``today``: what was in the car before."""
    if step.run <= shakedown_runs and not step.changes:
        return "shakedown step, as the car stands"
    names = " and ".join(name for name, _ in step.changes)
    if step.short_hit:
        return f"a short hit first, at a setting that is new: {names or 'what is in the car'}"
    if step.why.startswith("puts right"):
        return f"puts right what is outside the limits or lost a run: {names}"
    if not step.changes:
        return "the same again: shows the spread and the drift of the day"
    if all(any(abs(row[column] - level) < 1e-9 for row in today) for column, level in moved):
        return f"back again: tells {names} from the drift of the day"
    return f"tries {names}"


def _expected(row: Expected) -> dict[str, Any]:
    return {
        "adjustable": row.adjustable,
        "from_ft": row.from_ft,
        "to_ft": row.to_ft,
        "sd_now_s": rounded(row.sd_now_s, 5),
        "sd_after_s": rounded(row.plan.sd_after_s, 5),
        "sd_there_and_back_s": rounded(row.there_and_back.sd_after_s, 5),
        "sd_change_and_stay_s": rounded(row.change_and_stay.sd_after_s, 5),
        "chance_of_verdict": rounded(row.plan.chance_of_verdict),
        "chance_there_and_back": rounded(row.there_and_back.chance_of_verdict),
        "chance_change_and_stay": rounded(row.change_and_stay.chance_of_verdict),
        "chance_settled": rounded(row.plan.chance_settled),
        "chance_settled_there_and_back": rounded(row.there_and_back.chance_settled),
        "chance_settled_change_and_stay": rounded(row.change_and_stay.chance_settled),
    }
