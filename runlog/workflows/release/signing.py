"""Ticking checks, signing release steps, going back to one, and releasing barred settings: each by someone's word."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from runlog import units
from runlog.errors import RunlogError, UsageError
from runlog.records import STEPS
from runlog.workflows.intake.crew import say
from runlog.workflows.release.barred import bar_words, same_setting
from runlog.workflows.release.items import STOP
from runlog.workflows.release.page import stands
from runlog.workflows.release.steps import FULL, step_words, unsigned_before
from runlog.workflows.suppose.changes import read_wish

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.store.connection import Logbook
    from runlog.workflows.release.clearance import Clearance
    from runlog.workflows.release.steps import StepState

ALL: Final = "all"


@dataclass(frozen=True)
class Who:
    """Who says it, and why; None: not said."""

    by: str | None = None
    text: str | None = None


def head(found: Clearance, who: Who) -> dict[str, Any]:
    """Return what every entry about a car before its next run has in common."""
    newest = found.key.number - 1
    date = max(found.key.date, dt.date.today())
    run = newest if newest and date == found.key.date else None
    return {"car": found.car.name, "date": date.isoformat(), "run": run, "by": who.by}


def to_tick(found: Clearance, step: str | None) -> StepState:
    """Return the step that checks are ticked for: the one named, else the one that the car is at.

    ``UsageError`` for a step that doesn't exist here; ``RunlogError`` where the car is released.
    """
    names = [state.step for state in found.release.states]
    if step is not None and step not in names:
        raise UsageError(f"no release step {step!r}; there are: {', '.join(names)}")
    following = found.release.next
    if following is None:
        raise RunlogError(
            f"{found.car.name} is released, {found.release.why}: there is no step to sign; "
            f"to take it through its steps again: runlog release {found.car.name} --again fire-up --why TEXT"
        )
    return next(state for state in found.release.states if state.step == (step or following.step))


def read_ticks(state: StepState, said: Sequence[str]) -> list[str]:
    """Return the checks that are meant: each by its words or their beginning, or all; ``UsageError`` for others."""
    if any(text.strip().lower() == ALL for text in said):
        return [text for text, _ in state.checks]
    return [_check(state, text) for text in said]


def _check(state: StepState, said: str) -> str:
    words = " ".join(said.lower().split())
    texts = [text for text, _ in state.checks]
    exact = [text for text in texts if text.lower() == words]
    found = exact or [text for text in texts if text.lower().startswith(words)]
    if len(found) != 1:
        raise UsageError(f"{said!r} is {'no' if not found else 'more than one'} check of {step_words(state.step)}; "
                         f"there are: {'; '.join(texts)}")  # fmt: skip
    return found[0]


def tick(book: Logbook, name: str, step: str | None, checks: Sequence[str], who: Who, *, good: bool = True) -> None:
    """Note checks of a step as good, or as no longer good, which takes back its sign-off and those after it."""
    found = stands(book, name)
    state = next((item for item in found.release.states if item.step == step), None) if not good else None
    state = state or to_tick(found, step)
    texts = read_ticks(state, checks)
    common = head(found, who)
    say(
        book,
        f"checks {name} {state.step}",
        *({"what": "check", **common, "step": state.step, "check": text, "good": good} for text in texts),
    )


def sign(book: Logbook, name: str, step: str | None, ticks: Sequence[str], who: Who) -> None:
    """Sign a release step. ``RunlogError`` that says what stands in the way."""
    found = stands(book, name)
    state = to_tick(found, step)
    if not who.by or not who.by.strip():
        raise UsageError("a sign-off needs a name: --by NAME")
    ticked = {text for text, good in state.checks if good} | set(read_ticks(state, ticks))
    hinders(found, state, ticked)
    extra = {"finish_ft": found.finish_ft} if state.step == FULL else {}
    checks = [text for text, _ in state.checks]
    entry = {"what": "sign_off", **head(found, who), "step": state.step, "checks": checks, "text": who.text, **extra}
    say(book, f"sign-off {name} {state.step}", entry)


def hinders(found: Clearance, state: StepState, ticked: set[str]) -> None:
    """Raise ``RunlogError`` with everything that keeps a step from being signed."""
    faults = []
    before = unsigned_before(found.release.states, state.step)
    if state.passed:
        faults.append(f"{step_words(state.step)} is signed already")
    if before is not None:
        faults.append(f"{step_words(before)} comes first and isn't signed")
    faults += [f"open stop item: {item.text}" for item in found.items if item.due == STOP]
    if state.feet and state.reached is None:
        since = f" since {found.release.since[0]}" if found.release.since else ""
        faults.append(f"no clean run to {state.feet} ft in the logbook{since}: import or type its slip first")
    missing = [text for text, _ in state.checks if text not in ticked]
    if missing:
        faults.append(f"not ticked: {'; '.join(missing)}")
    if faults:
        raise RunlogError(
            "\n".join(f"{found.car.name} {step_words(state.step)} isn't signed: {text}" for text in faults)
        )


def start_again(book: Logbook, name: str, step: str, who: Who) -> None:
    """Take a car back to a release step. ``UsageError`` without a reason."""
    if step not in STEPS:
        raise UsageError(f"no release step {step!r}; there are: {', '.join(STEPS)}")
    if not who.text:
        raise UsageError("say why the car goes back to a step: --why TEXT")
    found = stands(book, name)
    common = head(found, who)
    if common["run"] is not None:
        common["run"] += 1  # from the next run on
    say(book, f"back to {step} {name}", {"what": "start_again", **common, "step": step, "text": who.text})


def release_setting(book: Logbook, name: str, text: str, who: Who) -> None:
    """Release a barred setting, written ``NAME=VALUE``, on someone's word.

    ``UsageError`` without a name and a reason; ``RunlogError`` for one that isn't barred.
    """
    found = stands(book, name)
    if not who.by or not who.text:
        raise UsageError("releasing a setting needs a name and a reason: --by NAME --why TEXT")
    wish = read_wish(found.car, {}, text)
    item = wish.adjustable
    if item is None or wish.after is None:
        raise UsageError(f"{text!r}: write an adjustable of {name} as NAME=VALUE")
    label = item.label(wish.after)
    barred = [bar for bar in found.bars.bars if bar.item == item.name and same_setting(item, label, bar.value)]
    if not barred:
        own = [bar_words(found.car, bar) for bar in found.bars.bars if bar.item == item.name]
        raise RunlogError(f"{item.name} {label} {units.unit_of(item.unit).symbol} isn't barred"
                          + (f"; what is: {'; '.join(own)}" if own else ""))  # fmt: skip
    entry = {"what": "setting_released", **head(found, who), "setting": item.name, "value": label, "text": who.text}
    say(book, f"released {name} {item.name}", entry)


def replace_part(book: Logbook, name: str, text: str, who: Who) -> None:
    """Note which part is in the car from the next run on, written ``PART=NAME``; ``UsageError`` for anything else."""
    part, equals, which = text.partition("=")
    if not equals or not which.strip():
        raise UsageError(f'{text!r}: write the part and which one it is, such as "engine=No. 2"')
    found = stands(book, name)
    common = head(found, who)
    if common["run"] is not None:
        common["run"] += 1
    entry = {"what": "combination", **common, "part": " ".join(part.lower().split()), "name": which}
    say(book, f"part {name} {part.strip()}", entry)
