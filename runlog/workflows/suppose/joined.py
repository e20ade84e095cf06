"""The answer to supposed changes: what the car's own runs and physics say together, and which of them says it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from runlog.constants import INCREMENTS_FT
from runlog.learning.joining import Belief, nothing, posterior_of, prior_sds, share_added, share_learned, told_by_runs
from runlog.learning.mixture import normal_cdf_at
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.physics.what_if import Outcome
    from runlog.records import Adjustable, FloatArray
    from runlog.workflows.ahead.next_run import Standing
    from runlog.workflows.suppose.changes import Wish

LEARNED: Final = "learned"
PHYSICS: Final = "physics"
BOTH: Final = "both"
PRIOR: Final = "prior only"
PARTLY: Final = "partly prior"
"""of several changes together, one of which only the prior speaks of"""
NAMED: Final = 0.10
"""share of the certainty from which a source is named. Common practice, no source"""
_NOTHING: Final = 1e6
"""[s²] variance of what tells nothing"""
_OWN_PRIORS: Final = ("default", "car file")
"""origins of a prior that physics has no part in"""
_Z90: Final = 1.6448536269514722


@dataclass(frozen=True)
class Joined:
    """The answer: one part for each change, one for the air, and the rows of all of it together."""

    changes: tuple[dict[str, Any], ...]
    air: list[dict[str, Any]]
    together: list[dict[str, Any]]


@dataclass(frozen=True)
class _Moved:
    """An adjustable's move as the regression sees it, in usual steps from the baseline."""

    position: int
    item: Adjustable
    start: float
    end: float
    known: bool
    """whether a sheet tells where it starts"""


@dataclass(frozen=True, eq=False)
class _Asked:
    """One change, or the other air: what the runs can say of it, and what physics says."""

    outcome: Outcome | None
    """None: physics has no opinion"""
    row: FloatArray | None = None
    """(S, K) functional of the coefficients; None: the runs can't tell of it"""
    prior: FloatArray | None = None
    """(S + 1,) [s] sd of it before any run, on the increments and their sum"""
    tried: tuple[bool, ...] = ()
    """(S + 1,) whether the runs of each increment, and of any, can tell of it"""
    in_prior: bool = True
    """physics is the prior, or all there is: it isn't joined to what the runs say, which holds it already"""
    told: tuple[FloatArray, FloatArray] | None = None
    """(S,) [s] and (S,) [s²] what the runs alone tell of it, where ``row`` doesn't"""

    def joins(self, segments: int) -> bool:
        """Return whether physics is a second word on it beside the posterior."""
        if self.row is None or self.in_prior or self.outcome is None:
            return False
        return bool(np.isfinite(self.outcome.increments(segments)[0]).all())


def join(
    stand: Standing,
    wishes: Sequence[Wish],
    physics: Sequence[Outcome | None],
    air: Outcome | None,
    known: Mapping[str, Any],
) -> Joined:
    """Return what runs and physics say of the changes and of other air.

    ``physics``: each change alone by the car's model, None where it has no opinion; ``air``: the other air alone;
    ``known``: the effects page as stored, for what stands in the way of a claim.
    """
    levers = [_lever(stand, wish) for wish in wishes]
    asked = [_of_change(stand, lever, outcome) for lever, outcome in zip(levers, physics, strict=True)]
    if air is not None:
        asked.append(_of_air(stand, air))
    answered = [one for one in asked if one.row is not None or one.outcome is not None]
    # first what the runs tell of, then what physics alone does
    order = sorted(answered, key=lambda one: one.row is None)
    before, belief = _beliefs(stand, order)
    found = {id(one): _rows(stand, before, belief, one, order.index(one)) for one in order}
    rows = [found.get(id(one), []) for one in asked]
    parts = [_part(stand, wish, lever, known, part) for wish, lever, part in zip(wishes, levers, rows, strict=False)]
    return Joined(tuple(parts), rows[-1] if air is not None else [], _together(stand, belief, [r for r in rows if r]))


def _beliefs(stand: Standing, order: Sequence[_Asked]) -> tuple[Belief, Belief]:
    """Return what runs and priors say of what the runs can tell of, and all of it with physics joined."""
    segments = stand.fit.finish
    told = [one for one in order if one.row is not None]
    before = posterior_of(stand.fit, np.array([one.row for one in told])) if told else nothing(segments)
    belief = before
    for place, one in enumerate(told):
        if one.joins(segments) and one.outcome is not None:
            belief = belief.joined(place, *one.outcome.increments(segments))
    for place, one in enumerate(order[len(told) :], start=len(told)):
        if one.outcome is None:
            continue
        belief = belief.beside(*one.outcome.increments(segments))
        if one.told is not None:
            mean, variance = one.told
            belief = belief.joined(place, mean, np.diag(np.minimum(variance, _NOTHING)))
    return before, belief


def _lever(stand: Standing, wish: Wish) -> _Moved | None:
    """Return the move of an adjustable; None for what the regression doesn't know."""
    item = wish.adjustable
    if item is None or wish.amount is None:
        return None
    position = [other.name for other in stand.car.adjustables].index(item.name)
    if wish.before is None or wish.after is None:
        return _Moved(position, item, 0.0, wish.amount / item.step, False)
    return _Moved(position, item, stand.steps(item, wish.before), stand.steps(item, wish.after), True)


def _of_change(stand: Standing, lever: _Moved | None, outcome: Outcome | None) -> _Asked:
    if lever is None or lever.start == lever.end:
        return _Asked(outcome)
    fit = stand.fit
    row = np.repeat(fit.layout.lever_functional(lever.position, lever.start, lever.end)[None], fit.finish, axis=0)
    settings = fit.runs.settings[:, lever.position]
    moved = [bool(len(data.rows)) and bool(np.ptp(settings[data.rows]) > 0) for data in fit.data[: fit.finish]]
    # what other cars say rests on their models too, and would count physics twice
    in_prior = fit.levers[lever.position].origin not in _OWN_PRIORS
    if fit.levers[lever.position].origin == PHYSICS and not any(moved) and outcome is not None:
        # nothing learned: physics itself, of this very change and with its own doubt
        return _Asked(outcome)
    return _Asked(outcome, row, prior_sds(fit, row[None])[0], (*moved, any(moved)), in_prior)


def _of_air(stand: Standing, outcome: Outcome) -> _Asked:
    """Return the other air: the runs tell how much of the model's shift the car really makes.

    The model's own doubt, which is large where it doesn't know whether grip or torque limits, stands in for the share
    that the regression takes for granted everywhere.
    """
    shift = outcome.increments(stand.fit.finish)[0]
    if not stand.fit.layout.air or not np.isfinite(shift).all():
        return _Asked(outcome)
    return _Asked(outcome, told=told_by_runs(stand.fit, shift))


def _rows(stand: Standing, before: Belief, belief: Belief, one: _Asked, place: int) -> list[dict[str, Any]]:
    """Return a change on each increment and, last, on the elapsed time."""
    means, sds = belief.sums(place)
    segments, rows = stand.fit.finish, []
    for n, (mean, sd) in enumerate(zip(means, sds, strict=True)):
        learned, physics = 0.0, 1.0
        if one.told is not None and one.outcome is not None:
            learned = share_added(_sds(one.outcome, segments)[n], float(sd))
            physics = 1.0 - learned
        if one.row is not None and one.prior is not None:
            told = float(before.sums(place)[1][n])
            learned = share_learned(float(one.prior[n]), told, float(sd)) if one.tried[n] else 0.0
            # what isn't learned is the prior's: physics', where it has a part in that
            spoken = one.in_prior and one.outcome is not None
            physics = share_added(told, float(sd)) if one.joins(segments) else (1.0 - learned) * spoken
        rows.append(_row_of(stand, n, float(mean), float(sd), _word(learned, physics), learned))
    return rows


def _sds(outcome: Outcome, segments: int) -> list[float]:
    """Return physics' own sd of a change on each increment and on their sum [s]."""
    covariance = outcome.increments(segments)[1]
    return [float(sd) for sd in np.sqrt(np.append(np.diag(covariance), covariance.sum()))]


def _word(learned: float, physics: float) -> str:
    if learned >= NAMED:
        return BOTH if physics >= NAMED else LEARNED
    return PHYSICS if physics >= NAMED else PRIOR


def _row_of(stand: Standing, n: int, mean: float, sd: float, word: str, learned: float) -> dict[str, Any]:
    edges = (0, stand.finish_ft) if n == stand.fit.finish else INCREMENTS_FT[n]
    chance = None
    if word not in (PRIOR, PARTLY) and sd > 0.0 and math.isfinite(mean):
        chance = normal_cdf_at(-mean / sd)
    figures = {"mean_s": mean, "sd_s": sd, "lo90_s": mean - _Z90 * sd, "hi90_s": mean + _Z90 * sd}
    return {
        "from_ft": edges[0],
        "to_ft": edges[1],
        **{name: rounded(value, 5) if math.isfinite(value) else None for name, value in figures.items()},
        "probability_helps": rounded(chance),
        "source": word,
        "share_learned": rounded(learned),
    }


def _together(stand: Standing, belief: Belief, parts: Sequence[Sequence[dict[str, Any]]]) -> list[dict[str, Any]]:
    """Return all of it together; the share learned is the parts' own, weighed by how much each moves the time."""
    if not parts:
        return []
    means, sds = belief.sums()
    rows = []
    for n, (mean, sd) in enumerate(zip(means, sds, strict=True)):
        words = {part[n]["source"] for part in parts}
        word = words.pop() if len(words) == 1 else PARTLY if words & {PRIOR, PARTLY} else BOTH
        sizes = np.array([abs(part[n]["mean_s"] or 0.0) for part in parts]) + 1e-9
        learned = float(sizes @ [part[n]["share_learned"] for part in parts] / sizes.sum())
        rows.append(_row_of(stand, n, float(mean), float(sd), word, learned))
    return rows


def _part(
    stand: Standing, wish: Wish, lever: _Moved | None, known: Mapping[str, Any], rows: list[dict[str, Any]]
) -> dict[str, Any]:
    if lever is None:
        return {"answer": rows, "beyond_tried": False, "prior_origin": None, "remarks": []}
    remarks = ["it stands there already: nothing changes"] if lever.start == lever.end else []
    beyond = _beyond(stand, lever)
    if beyond:
        remarks.append(beyond)
    if rows and rows[-1]["source"] == PRIOR:
        origin = stand.fit.levers[lever.position].origin
        remarks.append(
            "no claim: its own runs tell next to nothing of it; the figures are what was expected before them "
            f"({origin})"
        )
    if not lever.known:
        remarks.append("no sheet tells where it stands now: counted from the baseline")
    remarks += _in_the_way(stand, wish, known)
    return {
        "answer": rows,
        "beyond_tried": beyond is not None,
        "prior_origin": stand.fit.levers[lever.position].origin,
        "remarks": remarks,
    }


def _beyond(stand: Standing, lever: _Moved) -> str | None:
    """Return in words that a move leads past what was run; None: it doesn't."""
    timed = np.isfinite(stand.fit.runs.times).any(axis=1)
    settings = stand.fit.runs.settings[timed, lever.position]
    if not len(settings):
        return "never run: no run of this car has tried anything"
    low, high = float(settings.min()), float(settings.max())
    if all(low - 1e-9 <= end <= high + 1e-9 for end in (lever.start, lever.end)):
        return None
    names = [_said(stand, lever, steps) for steps in (low, high)]
    span = f"only {names[0]}" if low == high else f"{names[0]} to {names[1]}"
    return f"past what was tried ({span} has been run): carried on from there, which is an assumption"


def _said(stand: Standing, lever: _Moved, steps: float) -> str:
    value = stand.own_unit(lever.item, steps)
    return str(lever.item.label(value)) if lever.item.holes else f"{value:g} {lever.item.unit}"


def _in_the_way(stand: Standing, wish: Wish, known: Mapping[str, Any]) -> list[str]:
    """Return what the effects page says stands in the way of a claim."""
    rows = [row for row in known.get("effects", []) if row["adjustable"] == wish.item and row["from_ft"] == 0]
    row = next((row for row in rows if row["to_ft"] == stand.finish_ft), None)
    if row is None:
        return []
    said = []
    if row["inseparable_from"]:
        said.append(
            f"always moved together with {', '.join(row['inseparable_from'])}: which of them did it isn't known"
        )
    made = row["change_made"]
    if made and made["note"]:
        said.append(made["note"])
    return said
