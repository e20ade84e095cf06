"""The release steps of a car: which are signed, which is next, and how far that lets it go.

A step is passed by a sign-off with its ticked checks, never by having reached its distance. Common practice, no source.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from runlog.records import STEPS

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from runlog.records import Car, CrewFact, RunKey

FULL: Final = "full"
_ALWAYS: Final = (
    "wheel nuts", "link jam nuts", "driveshaft bolts", "wheelie-bar bolts", "no leaks", "brakes", "throttle returns",
    "tyres and beads",
)  # fmt: skip
"""looked at between all runs. Common practice, no source."""
CHECKS: Final[dict[str, tuple[str, ...]]] = {
    "fire-up": (
        "no leaks: fuel, oil, coolant, transmission", "oil pressure at once", "throttle returns", "brake pedal firm",
        "shut-off switches and fuel cut work", "fire system armed",
    ),
    "burnout": ("brakes hold and release", "car pulls straight under braking", "no leaks", "wheel nuts",
                "driveshaft bolts", "link jam nuts", "tyres and beads"),
    "60": _ALWAYS,
    "330": _ALWAYS,
    "660": (*_ALWAYS, "parachute packed"),
    FULL: (*_ALWAYS, "parachute packed"),
}  # fmt: skip
"""what is ticked before a step is signed, where the car file has no list of its own. Common practice, no source."""
BETWEEN_RUNS: Final = (*_ALWAYS, "parachute packed")
RESTART: Final[dict[str, str]] = {
    "engine": "fire-up", "converter": "fire-up", "clutch": "fire-up", "transmission": "fire-up", "chassis": "fire-up",
    "gear set": "burnout", "final drive": "burnout", "tyre set": "60",
}  # fmt: skip
"""the first step to be passed again after a part was replaced: what holds a fluid may leak, gears and brakes are tried
in the burnout, tyres in a short hit. Common practice, no source."""
ESTABLISHED: Final = 2
"""clean runs to the finish after which a car whose steps nobody kept here isn't taken for new: one alone may have been
the first. Common practice, no source"""
_KINDS: Final = ("check", "sign_off", "start_again", "combination")


@dataclass(frozen=True)
class Past:
    """What is known of how far a car has run."""

    runs: int = 0
    established: dt.date | None = None
    """day of the last of the first ``ESTABLISHED`` clean runs to the finish; None: it has made fewer"""
    furthest: Mapping[int, RunKey] | None = None
    """[ft] the newest clean run whose figures count so far, by that distance"""
    full: int = 0
    """clean runs to the finish, counted to ``ESTABLISHED``"""

    def reached(self, feet: int) -> RunKey | None:
        """Return the newest clean run that went so far."""
        found = [key for far, key in (self.furthest or {}).items() if far >= feet]
        return max(found, default=None)


@dataclass(frozen=True)
class StepState:
    """A release step: ``checks`` with whether each is ticked, and the sign-off that stands, if one does."""

    step: str
    feet: int
    """how far its run goes; 0: none is made"""
    checks: tuple[tuple[str, bool], ...]
    signed: CrewFact | None
    assumed: bool = False
    """passed before steps were kept here"""
    reached: RunKey | None = None
    """the newest clean run that went so far"""

    @property
    def passed(self) -> bool:
        """Whether the car is through it."""
        return self.signed is not None or self.assumed

    @property
    def missing(self) -> tuple[str, ...]:
        """The checks that aren't ticked."""
        return tuple(text for text, good in self.checks if not good)


@dataclass(frozen=True)
class Release:
    """Where a car stands in its release."""

    needed: bool
    """False: it was established before steps were kept here, or its car file says so, and nothing has asked since"""
    states: tuple[StepState, ...]
    why: str
    """what the release rests on, or what it has begun again for"""
    since: tuple[dt.date, int] | None = None
    """day and run from which on runs count, where it has begun again"""

    @property
    def next(self) -> StepState | None:
        """The step that the car is at; None: it is released."""
        return next((state for state in self.states if not state.passed), None) if self.needed else None

    @property
    def to_ft(self) -> int:
        """How far the next run may go; 0: not at all."""
        return self.states[-1].feet if self.next is None else self.next.feet


def steps_to(finish_ft: int) -> tuple[tuple[str, int], ...]:
    """Return the steps for a track, each with how far [ft] its run goes."""
    feet = {step: int(step) for step in STEPS if step.isdigit()}
    return tuple(
        (step, finish_ft if step == FULL else feet.get(step, 0))
        for step in STEPS
        if step == FULL or feet.get(step, 0) < finish_ft
    )


def step_words(step: str) -> str:
    """Return a step as a page names it."""
    return {"fire-up": "fire-up and leaks", "burnout": "burnout and brakes", FULL: "full run"}.get(step, f"{step} ft")


def release(car: Car, past: Past, facts: Iterable[CrewFact], finish_ft: int) -> Release:
    """Return where a car stands in its release, from what was ticked, signed and replaced, in any order of telling."""
    told = [fact for fact in sorted(facts, key=lambda fact: fact.order) if fact.what in _KINDS]
    book = _Book(car)
    for fact in told:
        book.take(fact, past)
    needed = book.begun or not _known_of_old(car, past)
    states = tuple(book.state(step, feet, past) for step, feet in steps_to(finish_ft))
    last = states[-1].signed
    if needed and last is not None and all(state.passed for state in states):
        why = f"the full run was signed by {last.by} on {last.date}"
    elif book.again:
        why = book.again
    elif not needed and car.new is False:
        why = "its car file says that it isn't new"
    elif not needed:
        why = f"{ESTABLISHED} clean runs to the finish by {past.established}, before its steps were kept here"
    elif not past.runs:
        why = "it has made no run yet"
    elif past.full and car.new is None:
        why = f"one clean run to the finish may be its first: {ESTABLISHED}, or new = false in its car file, say more"
    else:
        why = "reaching a distance is not passing its step: its checks are ticked and signed before the next"
    return Release(needed, states, why, book.since)


def _known_of_old(car: Car, past: Past) -> bool:
    """Tell whether a car is taken to have passed its steps before they were kept here."""
    return car.new is False or (car.new is None and past.established is not None)


class _Book:
    """What has been ticked and signed so far, as facts are taken in order."""

    def __init__(self, car: Car) -> None:
        self.car = car
        self.lists: Mapping[str, tuple[str, ...]] = {**CHECKS, **dict(car.release_checks)}
        self.ticked: dict[str, dict[str, bool]] = {step: {} for step in STEPS}
        self.signed: dict[str, CrewFact] = {}
        self.assumed: set[str] = set()
        self.parts: dict[str, str] = {}
        self.begun = False
        self.again = ""
        self.since: tuple[dt.date, int] | None = None

    def take(self, fact: CrewFact, past: Past) -> None:
        if fact.what == "combination":
            part, name = fact.content["part"], fact.content["name"]
            before = self.parts.get(part)
            self.parts[part] = name
            if before is not None and before != name:
                self._begin(fact, past)
                self._again(fact, RESTART[part], f"{part} replaced on {fact.date}: {before} → {name}")
            return
        self._begin(fact, past)
        step = fact.content["step"]
        if fact.what == "start_again":
            self._again(fact, step, f"begun again on {fact.date}: {fact.content['text']}")
        elif fact.what == "check":
            self.ticked[step][fact.content["check"]] = fact.content["good"]
            if not fact.content["good"]:
                self._drop(step)
        else:
            self.ticked[step].update(dict.fromkeys(fact.content["checks"], True))
            self.signed[step] = fact

    def _begin(self, fact: CrewFact, past: Past) -> None:
        """An established car has passed all its steps until something asks for them again."""
        before = past.established is None or past.established < fact.date
        if not self.begun and _known_of_old(self.car, past) and before:
            self.assumed = set(STEPS)
        self.begun = True

    def _drop(self, step: str) -> None:
        for later in STEPS[STEPS.index(step) :]:
            self.signed.pop(later, None)
            self.assumed.discard(later)

    def _again(self, fact: CrewFact, step: str, why: str) -> None:
        self._drop(step)
        self.since = (fact.date, fact.number or 1)
        for later in STEPS[STEPS.index(step) :]:
            self.ticked[later].clear()
        self.again = why

    def state(self, step: str, feet: int, past: Past) -> StepState:
        ticked = self.ticked[step]
        checks = [(text, ticked.get(text, False)) for text in self.lists[step]]
        checks += [(text, good) for text, good in ticked.items() if text not in self.lists[step]]
        reached = past.reached(feet) if feet else None
        if reached is not None and self.since is not None and (reached.date, reached.number) < self.since:
            reached = None
        return StepState(step, feet, tuple(checks), self._sign_off(step, feet), step in self.assumed, reached)

    def _sign_off(self, step: str, feet: int) -> CrewFact | None:
        """Return the sign-off of a step, which on another track may have had another name.

        660 ft are the full run of a short track; the full run of a longer track isn't signed by that of a shorter one.
        """
        own, full = self.signed.get(step), self.signed.get(FULL)
        went = None if full is None else full.content["finish_ft"]
        if step != FULL:
            return own or (full if feet and went == feet else None)
        if full is not None and (went is None or went >= feet):
            return full
        return next((fact for far, fact in self.signed.items() if far.isdigit() and int(far) >= feet), None)


def part(found: Release) -> dict[str, Any]:
    """Return the steps as ``release --json`` has them."""
    return {
        "needed": found.needed,
        "released": found.next is None,
        "step": found.next.step if found.next else None,
        "why": found.why,
        "steps": [_state_part(state) for state in found.states],
    }


def _state_part(state: StepState) -> dict[str, Any]:
    signed = state.signed
    return {
        "step": state.step,
        "to_ft": state.feet,
        "passed": state.passed,
        "signed_by": signed.by if signed else None,
        "signed_on": signed.date.isoformat() if signed else None,
        "checks": [{"check": text, "good": good} for text, good in state.checks],
        "reached": str(state.reached) if state.reached else None,
    }


def unsigned_before(states: Sequence[StepState], step: str) -> str | None:
    """Return the first step before this one that isn't passed."""
    for state in states:
        if state.step == step:
            return None
        if not state.passed:
            return state.step
    return None
