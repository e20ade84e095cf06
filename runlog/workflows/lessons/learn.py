"""From a car's results to what the regression needs, and from its answer to the effects page."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np

from runlog import catalogue
from runlog.constants import INCREMENTS_FT
from runlog.learning import Runs, Settings, fit_car, spoil_rates
from runlog.learning.effects import step_priors
from runlog.learning.forecast import forecast
from runlog.learning.nuisances import Coding, code
from runlog.physics.vehicle_fit import fit_from
from runlog.store import facts, results
from runlog.workflows.lessons.clock import on_the_clock
from runlog.workflows.lessons.combinations import combination_columns
from runlog.workflows.lessons.conditions import by_name, conditions_of
from runlog.workflows.lessons.expected import lever_of
from runlog.workflows.lessons.geometry import geometry_part, with_shared
from runlog.workflows.midnight import after_midnight, clock_hour
from runlog.workflows.results.spoiled_by import CLASSES, car_caused, whose
from runlog.workflows.setup import baseline

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.learning import CarFit, Effect, FleetFit, Lever, Shared
    from runlog.physics.vehicle import Vehicle
    from runlog.records import Adjustable, Car, FloatArray, RunKey, Sheet
    from runlog.results import RunResult
    from runlog.store.connection import Logbook
    from runlog.workflows.lessons.geometry import AntiSquat

_QUICK = Settings(quick=True)
_LOOK_BACK = 40
"""runs before a run that its expectation is drawn from: enough to know the car, few enough to be quick"""
_HOURS_BETWEEN_RUNS = 0.75
"""[h] between runs whose clock time wasn't noted. Common practice, no source."""


@dataclasses.dataclass(frozen=True)
class Subject:
    """A car that is learned about: its file, its sheets, and its fitted longitudinal model where there is one."""

    car: Car
    sheets: Sequence[Sheet]
    vehicle: Vehicle | None = None
    conditions: Mapping[RunKey, Mapping[str, float | str | None]] = dataclasses.field(default_factory=dict)
    """what the crew noted of runs that is no setting, by name: driver, tyre age, surface temperature …"""


def subject_of(book: Logbook, car: Car) -> Subject:
    """Return a car with what the logbook holds of it."""
    stored = results.car_result(book, car.name)
    fitted = fit_from(stored[0]) if stored else None
    return Subject(car, facts.sheets(book, car.name), fitted.vehicle if fitted else None)


@dataclasses.dataclass(frozen=True)
class Lesson:
    """A car's runs and adjustables as the regression sees them, with the values that steps are counted from."""

    runs: Runs
    levers: tuple[Lever, ...]
    adjustables: tuple[Adjustable, ...]
    baseline: Mapping[str, float]
    left_out: tuple[tuple[str, str], ...]
    """(run key, why)"""
    shared: Shared | None = None
    """what link holes and ballast act through"""
    links: AntiSquat | None = None
    """what holes do to the side view, where the car file and the sheets tell"""
    coding: Coding = dataclasses.field(default_factory=lambda: Coding((), ()))
    """how the conditions of a run become nuisances of the regression"""
    correlation: FloatArray | None = None
    """of the priors, where other cars have told them"""

    def informed_by(self, others: FleetFit | None) -> Lesson:
        """Return the lesson with what other cars say as priors, where nothing nearer to the car speaks."""
        if others is None:
            return self
        count = len(self.levers)
        terms = (*self.levers, *(self.shared.quantities if self.shared else ()))
        told, correlation = others.beliefs_for(None, terms)
        shared = self.shared and dataclasses.replace(self.shared, quantities=told[count:])
        return dataclasses.replace(self, levers=told[:count], shared=shared, correlation=correlation)

    def fit(self, settings: Settings | None = None) -> CarFit:
        """Return what these runs say."""
        return fit_car(self.runs, self.levers, settings, self.shared, self.correlation)

    def nuisances(self, conditions: Mapping[str, float | str | None]) -> dict[str, float]:
        """Return the conditions of a run yet to come as the forecast takes them; what isn't known is left out."""
        columns = self.coding.columns({name: [value] for name, value in conditions.items()}, 1)
        return {name: float(column[0]) for name, column in columns.items()}

    def value(self, item: Adjustable, steps: float) -> float | str:
        """Return a setting as the crew says it, from steps off the baseline."""
        number = round(self.baseline[item.name] + steps * item.step, 9)
        return item.label(number) if item.holes else number


def make_lesson(subject: Subject, rows: Sequence[RunResult], *, lost: bool = False) -> Lesson:
    """Gather what can be learned from: every run with at least one increment that counts.

    ``lost``: also spoiled runs without one. Their times say nothing, but how often the car loses a run is counted.
    """
    car = subject.car
    late = after_midnight({row.key: row.time for row in rows})
    timed = [row for row in rows if _has_time(row)]
    used = [row for row in rows if _has_time(row) or (lost and row.spoiled is not None)]
    known = _known_start(rows, subject.sheets)
    start = {item.name: known.get(item.name, 0.0) for item in car.adjustables}
    settings = [_steps(row, car.adjustables, start) for row in used]
    conditions = dict(zip([row.key for row in rows], conditions_of(rows, subject.conditions), strict=True))
    recorded = by_name([conditions[row.key] for row in used])
    coding = code(recorded)
    runs = Runs(
        keys=tuple(str(row.key) for row in used),
        times=_array([increments(row.counted_times()) for row in used], len(INCREMENTS_FT)),
        day=np.array([row.key.date.toordinal() for row in used], dtype=int),
        hour=np.array([_hour(row, row.key in late) for row in used], dtype=float),
        settings=_array(settings, len(car.adjustables)),
        air_shift=_array([air_shift(row) for row in used], len(INCREMENTS_FT)),
        spoiled=np.array([row.spoiled is not None for row in used], dtype=bool),
        nuisances={**coding.columns(recorded, len(used)), **combination_columns(used)},
        car_caused=np.array([car_caused(row.spoiled) for row in used], dtype=bool),
    )
    left_out = [(str(row.key), _why(row)) for row in rows if row not in timed]
    levers = [lever_of(car, subject.vehicle, item, start[item.name]) for item in car.adjustables]
    own, shared, links = with_shared(car, subject.vehicle, levers, known)
    return Lesson(runs, own, car.adjustables, start, tuple(left_out), shared, links, coding)


def _has_time(row: RunResult) -> bool:
    return any(feet <= (row.valid_to_ft or 0) for feet in row.times)


def _array(rows: Sequence[Sequence[float]], width: int) -> FloatArray:
    return np.array(rows, dtype=float).reshape(len(rows), width)


def increments(times: Mapping[int, float]) -> list[float]:
    """Return the times [s] between neighbouring beams; nan where one of the two is missing."""
    marks = {0: 0.0, **times}
    return [marks.get(end, np.nan) - marks.get(start, np.nan) for start, end in INCREMENTS_FT]


def air_shift(row: RunResult) -> list[float]:
    """Return what the air added to each increment [s] by the car's own model; nan where it isn't known."""
    shifts = {feet: row.times[feet] - value for feet, value in row.corrected_times.items()}
    return increments(shifts)


def _hour(row: RunResult, late: bool) -> float:
    """Return a run's hour on its test day's clock, which goes on past 24 after midnight."""
    if row.time is None:
        return row.key.number * _HOURS_BETWEEN_RUNS
    return clock_hour(row.time) + 24.0 * late


def _known_start(rows: Sequence[RunResult], sheets: Sequence[Sheet]) -> dict[str, float]:
    """Return the value of each item that steps are counted from: the baseline's, else the first that was run."""
    base = baseline(sheets)
    first: dict[str, float] = {}
    for row in rows:
        for entry in row.setup:
            if entry.value is not None:
                first.setdefault(entry.item, entry.value)
    for item, entry in base.items():
        if entry.value is not None:
            first[item] = entry.value
    return first


def _steps(row: RunResult, items: Sequence[Adjustable], start: Mapping[str, float]) -> list[float]:
    """Return how many steps from its start each adjustable stood; none where the setup doesn't tell it."""
    values = {entry.item: entry.value for entry in row.setup}
    return [
        0.0 if (value := values.get(item.name)) is None else round((value - start[item.name]) / item.step, 9)
        for item in items
    ]


def _why(row: RunResult) -> str:
    if row.spoiled:
        return f"spoiled: {row.spoiled}"
    return "no time that counts" if row.times else "no slip"


def effects_content(
    subject: Subject, rows: Sequence[RunResult], finish_ft: int, others: FleetFit | None = None
) -> dict[str, Any]:
    """Return the effects page of a car as plain values, in the shape of ``effects --json``.

    ``finish_ft`` is where the elapsed time ends: the longest finish of the tracks that the car ran on. ``others``: what
    the shop's other cars say together.
    """
    lesson, car = make_lesson(subject, rows, lost=True).informed_by(others), subject.car
    fit = lesson.fit(Settings(finish_ft=finish_ft))
    by_name = {item.name: item for item in car.adjustables}
    effects = [_effect(effect, by_name[effect.adjustable], lesson) for effect in fit.effects]
    return {
        "car": car.name,
        "runs_used": sum(map(_has_time, rows)),
        "days": len(fit.layout.days),
        "runs_left_out": [{"key": key, "why": why} for key, why in lesson.left_out],
        "suspects": list(fit.suspects),
        "priors_too_narrow": bool(fit.kappa_warning),
        "repeatability": [_repeatability(item) for item in fit.repeatability],
        "effects": effects,
        "on_the_clock": on_the_clock(rows, effects),
        "priors": _priors(fit),
        "shared": [_prior(term.mean, term.sd, term) for term in fit.layout.terms[len(fit.levers) :]],
        "spoiled_runs": _spoiled_runs(rows),
        "lost_runs": [_lost(lesson, position) for position in range(len(lesson.levers))],
    }


def _priors(fit: CarFit) -> list[dict[str, Any]]:
    """Return what was assumed of one usual step of each adjustable before any run, all that it does together."""
    means, sds = step_priors(fit)
    shared = fit.layout.shared
    found = []
    for p, lever in enumerate(fit.levers):
        moved = shared.moved_by(p, 0.0, 1.0, len(fit.levers)) if shared else ()
        pairs = zip(shared.quantities, moved, strict=True) if shared else ()
        through = [{"quantity": term.name, "amount": float(amount) * term.step, "unit": term.unit,
                    "origin": term.origin} for term, amount in pairs if abs(amount) > 1e-9]  # fmt: skip
        found.append({**_prior(means[p], sds[p], lever), "through": through})
    return found


def _prior(mean: FloatArray, sd: FloatArray, lever: Lever) -> dict[str, Any]:
    return {
        "adjustable": lever.name,
        "step": lever.step,
        "unit": lever.unit,
        "curved": lever.curved,
        "origin": lever.origin,
        "increments": [
            {"from_ft": start, "to_ft": end, "mean_s": float(mean[k]), "sd_s": float(sd[k]), **_bend(lever, k)}
            for k, (start, end) in enumerate(INCREMENTS_FT)
        ],
    }


def _bend(lever: Lever, segment: int) -> dict[str, float | None]:
    """Return what was assumed of the curvature on an increment; None where it is straight."""
    if not lever.curved:
        return {"curvature_mean_s": None, "curvature_sd_s": None}
    mean = 0.0 if lever.curvature_mean is None else float(lever.curvature_mean[segment])
    share = Settings().curvature_share * float(lever.sd[segment])
    return {
        "curvature_mean_s": mean,
        "curvature_sd_s": share if lever.curvature_sd is None else float(lever.curvature_sd[segment]),
    }


def _spoiled_runs(rows: Sequence[RunResult]) -> dict[str, int]:
    """Return how many runs were spoiled by whose doing."""
    by = [whose(row.spoiled) or "not_told" for row in rows if row.spoiled is not None]
    return {name: by.count(name) for name in (*CLASSES, "not_told")}


def _lost(lesson: Lesson, position: int) -> dict[str, Any]:
    """Return how often the car itself loses a run at each setting of an adjustable that was run."""
    item, caused = lesson.adjustables[position], lesson.runs.car_caused
    assert caused is not None, "make_lesson always fills it"
    return {
        "adjustable": item.name,
        "unit": item.unit,
        "settings": [
            {"setting": lesson.value(item, rate.steps or 0.0)}
            | {name: getattr(rate, name) for name in ("runs", "spoiled", "rate", "lo90", "hi90")}
            for rate in spoil_rates(lesson.runs.settings[:, position], caused)
        ],
    }


def _repeatability(item: Any) -> dict[str, Any]:
    return {name: getattr(item, name) for name in ("from_ft", "to_ft", "sd_s", "lo90_s", "hi90_s", "measured")}


_PLAIN = (
    "adjustable", "step", "unit", "from_ft", "to_ft", "mean_s", "lo50_s", "hi50_s", "lo90_s", "hi90_s",
    "probability_helps", "verdict", "runs_needed", "share_learned", "prior_origin", "together_mean_s",
    "together_lo90_s", "together_hi90_s", "beyond_tried", "confounded_with_day",
)  # fmt: skip


def _effect(effect: Effect, item: Adjustable, lesson: Lesson) -> dict[str, Any]:
    made = effect.change_made
    return {
        **{name: getattr(effect, name) for name in _PLAIN},
        "baseline": lesson.value(item, 0.0),
        "inseparable_from": list(effect.inseparable_from),
        "together": [{"adjustable": name, "steps": steps} for name, steps in effect.together_steps],
        "runs_each_side": list(effect.runs_each_side),
        "cautions": list(catalogue.cautions_for(item.cautions)),
        "note": effect.held_back.why if effect.held_back else "",
        "through": [{"quantity": name, "amount": amount, "unit": unit} for name, amount, unit in effect.through],
        "geometry": _geometry(lesson, item, effect),
        "change_made": made
        and {
            "from": lesson.value(item, made.from_steps),
            "to": lesson.value(item, made.to_steps),
            "mean_s": made.mean_s,
            "lo90_s": made.lo90_s,
            "hi90_s": made.hi90_s,
            "probability_helps": made.probability_helps,
            "verdict": made.verdict,
            "note": made.held_back.why if made.held_back else "",
            "held_back": made.held_back and {"lost": made.held_back.spoiled, "runs": made.held_back.runs},
        },
    }


def _geometry(lesson: Lesson, item: Adjustable, effect: Effect) -> dict[str, Any] | None:
    made = effect.change_made
    change = (made.from_steps, made.to_steps) if made else (0.0, 1.0)
    return geometry_part(lesson.links, lesson.adjustables.index(item), change, len(lesson.adjustables))


def expected_splits(subject: Subject, rows: Sequence[RunResult], row: RunResult) -> dict[int, tuple[float, float]]:
    """Return (mean, sd) [s] of each split as the runs before this one led to expect it, in its air and setup."""
    before = [other for other in rows if other.key < row.key][-_LOOK_BACK:]
    lesson = make_lesson(subject, before)
    if not lesson.runs.keys:
        return {}
    settings = np.array(_steps(row, subject.car.adjustables, lesson.baseline))
    shift = np.array(air_shift(row)) if row.corrected_times else None
    expected = forecast(
        lesson.fit(_QUICK),
        settings,
        row.key.date.toordinal(),
        _hour(row, row.key in after_midnight({other.key: other.time for other in [*before, row]})),
        shift,
        lesson.nuisances(conditions_of([*before, row], subject.conditions)[-1]),
    )
    return {split.to_ft: (split.mean_s, split.sd_s) for split in expected.splits if np.isfinite(split.mean_s)}
