"""How far a car's next run may go and why no further, and which settings are barred: asked by every page that proposes.

Estimates and house rules, not permission: the sanctioning body's rules, licensed inspection and the makers come first.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

from runlog.records import RunKey
from runlog.store import crew, reached
from runlog.workflows.release.barred import Bars, Trouble, bar_part, bar_words, bars, troubles_of
from runlog.workflows.release.holds import Hold, Quick, beaten, expired, expiring
from runlog.workflows.release.items import STOP, OpenItem, open_items
from runlog.workflows.release.limits import outside
from runlog.workflows.release.steps import ESTABLISHED, Past, Release, release, step_words
from runlog.workflows.results.spoiling import CAR_AT_RISK, SPOILS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.records import Car, CrewFact, SheetEntry
    from runlog.store.connection import Logbook

KINDS: Final = (
    "item", "item_closed", "check", "sign_off", "start_again", "setting_released", "combination",
)  # fmt: skip
"""what the crew says that bears on the next run"""
UNCHANGED: Final = 2
"""clean runs to the finish, as the car stands, before the first change. Common practice, no source"""


@dataclass(frozen=True)
class Clearance:
    """What stands before a car's next run."""

    car: Car
    key: RunKey
    """the next run"""
    finish_ft: int
    release: Release
    items: tuple[OpenItem, ...] = ()
    holds: tuple[Hold, ...] = ()
    """what lets the next run go less far than the finish, the shortest first"""
    bars: Bars = field(default_factory=Bars)
    notes: tuple[str, ...] = ()

    @property
    def to_ft(self) -> int:
        """How far [ft] the next run may go; 0: there is none."""
        return min([self.finish_ft, *(hold.to_ft for hold in self.holds)])

    @property
    def reasons(self) -> list[str]:
        """Why it may go no further."""
        return [hold.why for hold in self.holds]

    def held(self, holds: list[Hold]) -> Clearance:
        """Return the clearance with further holds."""
        found = {(hold.kind, hold.why): hold for hold in (*self.holds, *holds) if hold.to_ft < self.finish_ft}
        return replace(self, holds=tuple(sorted(found.values(), key=lambda hold: hold.to_ft)))

    def for_quick(self, quick: Quick) -> Clearance:
        """Return the clearance with the ceilings that a run as quick as this could beat."""
        return self.held(beaten(self.car, quick, self.finish_ft))

    def for_setup(self, setup: Mapping[str, SheetEntry]) -> Clearance:
        """Return the clearance of a run in this setup: none where a setting is barred or passes the car's limits."""
        found = [self.bars.of(item, entry.value) for item, entry in setup.items()]
        barred = [f"{bar_words(self.car, bar)}; put it back, or release it by name" for bar in found if bar is not None]
        return self.held([Hold("setting", 0, why) for why in (*barred, *outside(self.car, setup).values())])

    def part(self) -> dict[str, Any]:
        """Return it as the pages' JSON has it."""
        following = self.release.next
        return {
            "run": str(self.key),
            "released": following is None,
            "step": None if following is None else following.step,
            "to_ft": self.to_ft,
            "reasons": self.reasons,
            "barred": [bar_part(self.car, bar) for bar in self.bars.bars],
            "notes": list(self.notes),
        }


def clearance(
    book: Logbook,
    car: Car,
    key: RunKey,
    finish_ft: int,
    *,
    past: bool = False,
) -> Clearance:
    """Return what stands before run ``key`` of a car on a track of so many feet.

    ``past``: that run, or a later one, has been made: what counts is what had been said by then, on that day. Else the
    day is today where the calendar has gone past the run's.
    """
    day = key.date if past else max(key.date, dt.date.today())
    facts = crew.said(book, car.name, *KINDS)
    if past:
        facts = [fact for fact in facts if _told_before(fact, key)]
    found = troubles_of(reached.spoiled(book, car.name), facts, _suspected(book, car.name))
    marks = [mark for mark in found if mark[0] < key]
    setups = reached.setups(book, car.name, {run for run, _, _ in marks})
    troubles = [Trouble(run, why, *setups[run], named) for run, why, named in marks if run in setups]
    made = assemble(car, key, finish_ft, day, facts, _past(book, car.name, finish_ft, key), troubles)
    if not made.release.needed or made.release.next is not None:
        return made
    date, number = made.release.since or (dt.date.min, 1)
    unchanged = reached.clean_runs_since(book, car.name, date, number, finish_ft)
    return made if unchanged >= UNCHANGED else replace(made, notes=(_unchanged(unchanged), *made.notes))


def assemble(
    car: Car,
    key: RunKey,
    finish_ft: int,
    day: dt.date,
    facts: Sequence[CrewFact],
    past: Past,
    troubles: Sequence[Trouble] = (),
) -> Clearance:
    """Return what stands before a run, from what was said, how far the car has run, and what its setups gave."""
    found = release(car, past, facts, finish_ft)
    items = open_items(facts)
    notes = [*_unasked(car, key, found, past), *expiring(car, day)]
    made = Clearance(car, key, finish_ft, found, items, bars=bars(car, troubles, facts), notes=tuple(notes))
    holds = [Hold("open item", 0, f"open stop item: {item.text}") for item in items if item.due == STOP]
    if found.next is not None:
        holds.append(Hold("step", found.to_ft, _step_words(found)))
        if found.to_ft >= finish_ft:
            made = replace(made, notes=(_step_words(found), *made.notes))
    return made.held([*holds, *expired(car, day)])


def _unasked(car: Car, key: RunKey, found: Release, past: Past) -> list[str]:
    """Say so, on the day that a car has become established on, that no step was asked for."""
    if found.needed or past.established != key.date:
        return []
    return [
        f"no release steps asked for: {found.why}; if it is new, runlog release {car.name} --again fire-up --why TEXT"
    ]


def _suspected(book: Logbook, car: str) -> dict[RunKey, str]:
    """Return the runs whose trace shows tyre shake or a wheelstand, as long as the crew hasn't said whether it was."""
    return {
        key: f"the trace shows {SPOILS[name][1]}: 'runlog answer' settles it"
        for name in CAR_AT_RISK
        for key in reached.asked(book, car, f"spoiled-{name}")
    }


def _unchanged(made: int) -> str:
    return f"{UNCHANGED} clean runs to the finish, as the car stands, before the first change: {made} so far"


def _told_before(fact: CrewFact, key: RunKey) -> bool:
    """Tell whether something had been said before a run: on an earlier day, or of an earlier run of its day."""
    if fact.date != key.date:
        return fact.date < key.date
    return fact.number is None or fact.number < key.number


def _past(book: Logbook, car: str, finish_ft: int, key: RunKey) -> Past:
    full = reached.first_clean(book, car, finish_ft, ESTABLISHED, key)
    established = full[-1].date if len(full) == ESTABLISHED else None
    return Past(reached.count_runs(book, car, key), established, reached.furthest(book, car, key), len(full))


def _step_words(found: Release) -> str:
    following = found.next
    if following is None:
        return ""
    signed = [state for state in found.states if state.signed is not None and state.passed]
    last = f"; {step_words(signed[-1].step)} signed by {signed[-1].signed.by}" if signed and signed[-1].signed else ""
    return f"release step: {step_words(following.step)}, not yet signed{last}"
