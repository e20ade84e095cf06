"""All cars of the shop together: what they teach each other, how it carries over, and what is worth testing next.

Each car's statistics are stored with its results. The page puts them together in the order of the cars' names, so that
it doesn't depend on what was imported first, and no other car has to be fitted again when one has run.
"""

from __future__ import annotations

import dataclasses
import functools
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from runlog.constants import REFERENCE_NAME, SPLIT_DISTANCES_FT
from runlog.errors import NotFound
from runlog.learning import CarRuns, CarStatistics, Lever, Settings, car_statistics, fit_fleet, fleet_levers
from runlog.learning.columns import find_lever
from runlog.store import facts, results
from runlog.workflows.ahead.testable import why_not
from runlog.workflows.lessons.learn import Subject, make_lesson
from runlog.workflows.lessons.next_tests import worth_testing
from runlog.workflows.release.page import stands
from runlog.workflows.setup import in_force

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.learning import FleetFit, PooledEffect
    from runlog.records import Car, SheetEntry
    from runlog.results import RunResult
    from runlog.store.connection import Logbook
    from runlog.workflows.lessons.learn import Lesson
    from runlog.workflows.lessons.next_tests import WhyNot
    from runlog.workflows.release.clearance import Clearance


@dataclasses.dataclass(frozen=True)
class Member:
    """A car as the fleet knows it."""

    statistics: CarStatistics
    levers: tuple[Lever, ...]
    tried: tuple[tuple[float, float], ...]
    """lowest and highest setting that was run of each lever, then of each quantity, in steps from the baseline"""
    runs: int
    days: int
    finish_ft: int
    quantities: tuple[Lever, ...] = ()
    """what levers share"""
    carried: tuple[tuple[float, ...], ...] = ()
    """what a step of each lever makes of each quantity, in steps of both"""
    lost: tuple[tuple[int, int], ...] = ()
    """of each lever, runs at other settings than the baseline, and how many of them the car itself lost"""

    def plain(self) -> dict[str, Any]:
        """Return strings, numbers and lists only; the numbers keep every digit."""
        return {
            "statistics": self.statistics.plain(),
            "levers": [_plain(lever) for lever in self.levers],
            "quantities": [_plain(term) for term in self.quantities],
            "carried": [list(row) for row in self.carried],
            "tried": [list(span) for span in self.tried],
            "lost": [list(counts) for counts in self.lost],
            **{"runs": self.runs, "days": self.days, "finish_ft": self.finish_ft},
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> Member:
        """Return the member that ``plain`` was made from."""
        return cls(
            CarStatistics.from_plain(plain["statistics"]),
            tuple(_lever(lever) for lever in plain["levers"]),
            tuple((float(low), float(high)) for low, high in plain["tried"]),
            plain["runs"],
            plain["days"],
            plain["finish_ft"],
            tuple(_lever(term) for term in plain["quantities"]),
            tuple(tuple(map(float, row)) for row in plain["carried"]),
            tuple((int(runs), int(lost)) for runs, lost in plain.get("lost", ())),
        )


_ARRAYS: Final = ("mean", "sd", "curvature_mean", "curvature_sd")


def _plain(lever: Lever) -> dict[str, Any]:
    arrays = {name: getattr(lever, name) for name in _ARRAYS}
    numbers = {name: None if values is None else values.tolist() for name, values in arrays.items()}
    return {name: getattr(lever, name) for name in ("name", "step", "unit", "curved", "origin")} | numbers


def _lever(plain: Mapping[str, Any]) -> Lever:
    arrays = {name: None if plain[name] is None else np.array(plain[name], dtype=float) for name in _ARRAYS}
    return Lever(**{**plain, **arrays})


def make_member(subject: Subject, rows: Sequence[RunResult], finish_ft: int) -> Member:
    """Condense one car's runs; no other car is looked at."""
    lesson = make_lesson(subject, rows)
    statistics = car_statistics(CarRuns(subject.car.name, lesson.runs, lesson.levers, shared=lesson.shared))
    settings = lesson.runs.settings
    count = len(lesson.levers)
    ran = np.concatenate([settings, lesson.shared.of(settings)], axis=1) if lesson.shared else settings
    tried = tuple((float(column.min(initial=0.0)), float(column.max(initial=0.0))) for column in ran.T)
    moved = [lesson.shared.moved_by(p, 0.0, 1.0, count) if lesson.shared else () for p in range(count)]
    return Member(
        statistics,
        lesson.levers,
        tried,
        len(lesson.runs.keys),
        len(np.unique(lesson.runs.day)),
        finish_ft,
        lesson.shared.quantities if lesson.shared else (),
        tuple(tuple(map(float, row)) for row in moved),
        _lost_runs(make_lesson(subject, rows, lost=True)),
    )


def _lost_runs(lesson: Lesson) -> tuple[tuple[int, int], ...]:
    """Return for each lever how many runs were made at other settings than the baseline, and the car itself lost."""
    away = lesson.runs.settings != 0.0
    caused = np.zeros(len(away), dtype=bool) if lesson.runs.car_caused is None else lesson.runs.car_caused
    return tuple((int(column.sum()), int((column & caused).sum())) for column in away.T)


def pooled(members: Sequence[Member], settings: Settings | None = None) -> FleetFit:
    """Return what cars say together; adjustables first, then the quantities that they share."""
    levers = fleet_levers([member.levers for member in members])
    quantities = fleet_levers([member.quantities for member in members])
    carried = np.array([[_carried(members, lever, term) for term in quantities] for lever in levers])
    statistics = [member.statistics for member in members]
    shape = (len(levers), len(quantities))
    return fit_fleet(statistics, (*levers, *quantities), settings, carried=carried.reshape(shape))


def _carried(members: Sequence[Member], lever: Lever, term: Lever) -> float:
    """Return what a step of an adjustable makes of a quantity, in the fleet's steps; the mean of cars with both."""
    found = []
    for member in members:
        p = find_lever(member.levers, lever.name, lever.unit)
        q = find_lever(member.quantities, term.name, term.unit)
        if p is not None and q is not None:
            scale = lever.step / member.levers[p].step * member.quantities[q].step / term.step
            found.append(scale * member.carried[p][q])
    return float(np.mean(found)) if found else 0.0


def others_of(book: Logbook, car: str) -> FleetFit | None:
    """Return what all cars but one say together, for that one's priors; None where no other has run.

    Nothing of the car itself takes part, and the others stand in the order of their names, so that what comes of it
    doesn't depend on which car's runs were imported first.
    """
    stored = results.fleet_statistics(book)
    members = [member for name in sorted(stored) if name != car and (member := Member.from_plain(stored[name])).runs]
    return pooled(members) if members else None


def fleet_page(book: Logbook) -> dict[str, Any]:
    """Return what all cars say together, in the shape of ``fleet --json``; ``NotFound`` when no car has run."""
    stored = results.fleet_statistics(book)
    members = [member for member in (Member.from_plain(stored[name]) for name in sorted(stored)) if member.runs]
    if not members:
        raise NotFound("no car with a car file has run yet: import car files and slips first")
    return fleet_content(members, facts.cars(book), _as_they_stand(book))


def _as_they_stand(book: Logbook) -> WhyNot:
    """Return what says why a car can't test an adjustable as it stands before its next run."""

    @functools.cache
    def known(car: str) -> tuple[Clearance, Mapping[str, SheetEntry]]:
        cleared = stands(book, car)
        return cleared, in_force(facts.sheets(book, car), [cleared.key])[cleared.key]

    return lambda car, name: why_not(*known(car), name)


def fleet_content(
    members: Sequence[Member], cars: Mapping[str, Car], as_they_stand: WhyNot | None = None
) -> dict[str, Any]:
    """Return the page from the members, whatever their order; ``as_they_stand`` as in ``worth_testing``."""
    members = sorted(members, key=lambda member: member.statistics.car)
    finish = max((member.finish_ft for member in members), default=SPLIT_DISTANCES_FT[-1])
    fit = pooled(members, Settings(finish_ft=finish))
    levers = fit.levers
    having = {(lever.name, lever.unit): [m.statistics.car for m in members if _has(m, lever)] for lever in levers}
    reached = {(lever.name, lever.unit): any(_reaches(m, lever) for m in members) for lever in levers}
    return {
        "reference": REFERENCE_NAME,
        "cars": [{"car": m.statistics.car, "runs": m.runs, "days": m.days} for m in members],
        "finish_ft": finish,
        "effects": [
            {**_effect(effect, fit, having), "beyond_tried": not reached[effect.adjustable, effect.unit]}
            for effect in fit.effects
        ],
        "disagreements": [dataclasses.asdict(item) for item in fit.disagreements],
        "next": worth_testing(fit, having, cars, _lost(members), as_they_stand),
        "next_by_file_alone": as_they_stand is None,
    }


def _has(member: Member, lever: Lever) -> bool:
    return find_lever((*member.levers, *member.quantities), lever.name, lever.unit) is not None


def _reaches(member: Member, lever: Lever) -> bool:
    """Return whether a car has tried a whole step of the fleet up from its own baseline."""
    return any(
        (own.name, own.unit) == (lever.name, lever.unit) and low <= lever.step / own.step <= high
        for own, (low, high) in zip((*member.levers, *member.quantities), member.tried, strict=True)
    )


def _effect(effect: PooledEffect, fit: FleetFit, having: Mapping[tuple[str, str], list[str]]) -> dict[str, Any]:
    handle = effect.adjustable, effect.unit
    place = next(n for n, lever in enumerate(fit.levers) if (lever.name, lever.unit) == handle)
    return {
        **dataclasses.asdict(effect),
        "inseparable_from": list(effect.inseparable_from),
        "disagree": list(effect.disagree),
        "shared": place >= len(fit.carried),
        "cars_with": having[handle],
        "cars_tried": [fit.cars[n] for n in fit.tried_by(place)],
    }


def _lost(members: Sequence[Member]) -> dict[tuple[str, str], tuple[int, int]]:
    """Return by adjustable the runs away from the baseline of all cars, and how many of them the car itself lost."""
    found: dict[tuple[str, str], tuple[int, int]] = {}
    for member in members:
        for lever, (runs, lost) in zip(member.levers, member.lost, strict=False):
            before = found.get((lever.name, lever.unit), (0, 0))
            found[lever.name, lever.unit] = before[0] + runs, before[1] + lost
    return found
