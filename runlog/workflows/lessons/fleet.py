"""All cars of the shop together: what they teach each other, how it carries over, and what is worth testing next.

Each car's statistics are stored with its results. The page puts them together in the order of the cars' names, so that
it doesn't depend on what was imported first, and no other car has to be fitted again when one has run.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from runlog import catalogue
from runlog.constants import REFERENCE_NAME, SPLIT_DISTANCES_FT
from runlog.errors import NotFound
from runlog.learning import CarRuns, CarStatistics, Lever, Settings, car_statistics, fit_fleet, fleet_levers
from runlog.store import facts, results
from runlog.workflows.lessons.learn import Subject, make_lesson

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.learning import FleetFit, PooledEffect
    from runlog.records import Car
    from runlog.results import RunResult
    from runlog.store.connection import Logbook

MOST_PROPOSED: Final = 5
_SETTLED: Final = ("helped", "hurt", "no_difference")


@dataclasses.dataclass(frozen=True)
class Member:
    """A car as the fleet knows it."""

    statistics: CarStatistics
    levers: tuple[Lever, ...]
    tried: tuple[tuple[float, float], ...]
    """lowest and highest setting that was run of each lever, in its steps from the car's baseline"""
    runs: int
    days: int
    finish_ft: int

    def plain(self) -> dict[str, Any]:
        """Return strings, numbers and lists only; the numbers keep every digit."""
        names = ("name", "step", "unit", "curved", "origin")
        levers = [
            {name: getattr(lever, name) for name in names} | {"mean": lever.mean.tolist(), "sd": lever.sd.tolist()}
            for lever in self.levers
        ]
        counts = {"runs": self.runs, "days": self.days, "finish_ft": self.finish_ft}
        tried = [list(span) for span in self.tried]
        return {"statistics": self.statistics.plain(), "levers": levers, "tried": tried, **counts}

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> Member:
        """Return the member that ``plain`` was made from."""
        levers = tuple(
            Lever(**{**lever, "mean": np.array(lever["mean"], dtype=float), "sd": np.array(lever["sd"], dtype=float)})
            for lever in plain["levers"]
        )
        statistics = CarStatistics.from_plain(plain["statistics"])
        tried = tuple((float(low), float(high)) for low, high in plain["tried"])
        return cls(statistics, levers, tried, plain["runs"], plain["days"], plain["finish_ft"])


def make_member(subject: Subject, rows: Sequence[RunResult], finish_ft: int) -> Member:
    """Condense one car's runs; no other car is looked at."""
    lesson = make_lesson(subject, rows)
    statistics = car_statistics(CarRuns(subject.car.name, lesson.runs, lesson.levers))
    settings = lesson.runs.settings
    spans = tuple((float(column.min()), float(column.max())) for column in settings.T) if len(settings) else ()
    tried = spans or ((0.0, 0.0),) * len(lesson.levers)
    return Member(statistics, lesson.levers, tried, len(lesson.runs.keys), len(np.unique(lesson.runs.day)), finish_ft)


def fleet_page(book: Logbook) -> dict[str, Any]:
    """Return what all cars say together, in the shape of ``fleet --json``; ``NotFound`` when no car has run."""
    stored = results.fleet_statistics(book)
    members = [member for member in (Member.from_plain(stored[name]) for name in sorted(stored)) if member.runs]
    if not members:
        raise NotFound("no car with a car file has run yet: import car files and slips first")
    return fleet_content(members, facts.cars(book))


def fleet_content(members: Sequence[Member], cars: Mapping[str, Car]) -> dict[str, Any]:
    """Return the page from the members, whatever their order."""
    members = sorted(members, key=lambda member: member.statistics.car)
    finish = max((member.finish_ft for member in members), default=SPLIT_DISTANCES_FT[-1])
    levers = fleet_levers([member.levers for member in members])
    fit = fit_fleet([member.statistics for member in members], levers, Settings(finish_ft=finish))
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
        "next": _next(fit, having, cars),
    }


def _has(member: Member, lever: Lever) -> bool:
    return any((own.name, own.unit) == (lever.name, lever.unit) for own in member.levers)


def _reaches(member: Member, lever: Lever) -> bool:
    """Return whether a car has tried a whole step of the fleet up from its own baseline."""
    return any(
        (own.name, own.unit) == (lever.name, lever.unit) and low <= lever.step / own.step <= high
        for own, (low, high) in zip(member.levers, member.tried, strict=True)
    )


def _effect(effect: PooledEffect, fit: FleetFit, having: Mapping[tuple[str, str], list[str]]) -> dict[str, Any]:
    handle = effect.adjustable, effect.unit
    place = next(n for n, lever in enumerate(fit.levers) if (lever.name, lever.unit) == handle)
    return {
        **dataclasses.asdict(effect),
        "inseparable_from": list(effect.inseparable_from),
        "disagree": list(effect.disagree),
        "cars_with": having[handle],
        "cars_tried": [fit.cars[n] for n in fit.tried_by(place)],
    }


def _next(fit: FleetFit, having: Mapping[tuple[str, str], list[str]], cars: Mapping[str, Car]) -> list[dict[str, Any]]:
    """Return what is worth testing next: most cars have it, and least is known of it on the elapsed time.

    What is settled for the shop isn't proposed, nor what risks the engine.
    """
    open_: list[dict[str, Any]] = []
    for effect in fit.effects:
        if effect.from_ft or effect.to_ft != fit.effects[-1].to_ft or effect.verdict in _SETTLED:
            continue
        owners = having[effect.adjustable, effect.unit]
        items = [cars[name].adjustable(effect.adjustable) for name in owners if name in cars]
        letters = "".join(dict.fromkeys(letter for item in items if item for letter in item.cautions))
        if "F" in letters:
            continue
        open_.append(
            {
                "adjustable": effect.adjustable,
                "step": effect.step,
                "unit": effect.unit,
                "share_learned": effect.share_learned,
                "cars_with": owners,
                "cars_tried": effect.cars,
                "worth": (1.0 - effect.share_learned) * len(owners),
                "cautions": list(catalogue.cautions_for(letters)),
            }
        )
    return sorted(open_, key=lambda row: (-row["worth"], row["adjustable"]))[:MOST_PROPOSED]
