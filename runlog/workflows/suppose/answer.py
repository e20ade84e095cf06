"""What runs and physics say of a change before it is made: per increment, with its doubt, and which of them says it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from runlog import units
from runlog.constants import DEFAULT_ROLLOUT, FOOT, REFERENCE_NAME
from runlog.errors import NotFound, RunlogError, UsageError
from runlog.physics.atmosphere import STANDARD_AIR, Air, density_altitude
from runlog.physics.car_vehicle import vehicle_of
from runlog.physics.longitudinal import simulate
from runlog.physics.power import caveat
from runlog.physics.vehicle_fit import fit, fit_from
from runlog.physics.what_if import Supposed, doubts, outcome
from runlog.store import facts, results
from runlog.workflows.ahead.next_run import standing
from runlog.workflows.ahead.quick_end import next_clearance
from runlog.workflows.lessons.current import current_effects
from runlog.workflows.release.barred import bar_words
from runlog.workflows.run_content import air_part, rounded
from runlog.workflows.runs.page import ALWAYS
from runlog.workflows.setup import baseline
from runlog.workflows.suppose.changes import OWN, Wish, read_wish
from runlog.workflows.suppose.finish import GEARED, Ends, finish_part, gearing_of
from runlog.workflows.suppose.joined import join
from runlog.workflows.suppose.model_parts import beams, effects, speeds, splits
from runlog.workflows.suppose.physics import Answer, answer, is_ballast

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.physics.vehicle import Vehicle
    from runlog.physics.vehicle_fit import VehicleFit
    from runlog.physics.what_if import Alter, Outcome
    from runlog.records import Car
    from runlog.results import AirState
    from runlog.store.connection import Logbook
    from runlog.workflows.ahead.next_run import Standing
    from runlog.workflows.release.clearance import Clearance


_NO_RUN: Final = (np.empty((0, 5)), np.empty((0, 2)), STANDARD_AIR)


@dataclass(frozen=True)
class TypedAir:
    """The air that is supposed, as typed; None: as it was. Temperature [K], humidity 0…1, pressure [Pa], wind [m/s]."""

    temperature: float | None = None
    relative_humidity: float | None = None
    station_pressure: float | None = None
    wind_along: float | None = None
    """tailwind positive"""

    @property
    def said(self) -> bool:
        """Whether anything was typed."""
        return any(value is not None for value in vars(self).values())


@dataclass(frozen=True)
class _Present:
    """The car as it stands now."""

    car: Car
    fitted: VehicleFit
    vehicle: Vehicle
    """fitted, in the setup of the newest run"""
    settings: Mapping[str, float]
    stand: Standing
    """before its next run, with what its runs have taught"""
    known: Mapping[str, Any]
    """the effects page as stored"""
    air: Air
    state: AirState | None
    notes: tuple[str, ...]

    @property
    def finish_ft(self) -> int:
        """Where the elapsed time ends [ft]."""
        return self.stand.finish_ft


def suppose_page(book: Logbook, name: str, changes: Sequence[str], typed: TypedAir) -> dict[str, Any]:
    """Return what runs and physics say of changes to a car, and of other air, in the shape of ``suppose --json``.

    ``answer`` holds both together, ``effects`` what physics alone says.

    ``NotFound`` without a car file; ``UsageError`` for what isn't a change; ``RunlogError`` that names the limit when a
    change would pass one of the car file, or the bar when it leads to a barred setting.
    """
    if not changes and not typed.said:
        raise UsageError('say what to suppose, such as "ballast rear +25", or other air with --temperature')
    present = _present(book, name)
    wishes = [read_wish(present.car, present.settings, text) for text in changes]
    _refuse_twice(wishes)
    _hold_to_minimum(present, wishes)
    cleared = next_clearance(book, present.stand)
    _refuse_barred(cleared, wishes)
    moved = {wish.item for wish in wishes}
    cleared = cleared.for_setup({item: entry for item, entry in present.stand.setup.items() if item not in moved})
    answers = [answer(present.car, present.vehicle, wish) for wish in wishes]
    air = _air_after(present.air, typed)
    supposed = Supposed(_together(answers), present.air, air, tuple(_others(answers)))
    opinion = typed.said or any(found.alter for found in answers)
    done = _outcome(present, supposed) if opinion else None
    ends = _ends(present, wishes, done)
    still = all(found.alter is None for found in answers) and not any(wish.item in GEARED for wish in wishes)
    finish = finish_part(present.car, present.finish_ft, ends, air_only=still)
    alone = [_alone(present, found) for found in answers]
    in_air = _outcome(present, Supposed(lambda car: car, present.air, air)) if typed.said else None
    joined = join(present.stand, wishes, alone, in_air, present.known)
    parts = [
        {**_change_part(present, wish, found, outcome), **part}
        for wish, found, outcome, part in zip(wishes, answers, alone, joined.changes, strict=True)
    ]
    last = present.stand.last
    return {
        "car": name,
        "run": None if last is None else str(last.key),
        "runs_fitted": present.fitted.runs,
        "runs_used": len(present.stand.lesson.runs.keys),
        "finish_ft": present.finish_ft,
        "air": _air_content(present.air, present.state),
        "air_after": _air_content(air, None) if typed.said else None,
        "answer": joined.together,
        "answer_air": joined.air,
        "opinion": opinion,
        "clearance": cleared.part(),
        "changes": parts,
        "effects": effects(done, present.finish_ft),
        "splits": splits(done, present.finish_ft),
        "speeds": speeds(done, present.finish_ft),
        "finish": finish.part,
        "limits": [*_limits(wishes), *finish.limits],
        "cautions": _cautions(parts, finish.cautions),
        "notes": [*present.notes, *_notes(present, air, done)],
    }


# --- the car as it stands ---------------------------------------------------------------------------------------------


def _present(book: Logbook, name: str) -> _Present:
    car = facts.car(book, name)
    if car is None:
        raise NotFound(f"nothing is known of {name} yet: import a car file")
    base = {item: entry.value for item, entry in baseline(facts.sheets(book, name)).items() if entry.value is not None}
    stored = results.car_result(book, name)
    # a car that has made no run is what its file says
    fitted = (fit_from(stored[0]) if stored else None) or fit(vehicle_of(car, DEFAULT_ROLLOUT, base), *_NO_RUN)
    stand = standing(book, name)
    now = {item: entry.value for item, entry in stand.setup.items() if entry.value is not None}
    own = own_values(car, fitted.vehicle)
    settings = {**own, **base, **now}
    vehicle, notes = brought_up_to_now(car, fitted.vehicle, {**own, **base}, settings)
    state = next((found.air for found in reversed(stand.rows) if found.air), None)
    air = STANDARD_AIR if state is None else air_of(state)
    if fitted.runs == 0:
        notes = (*notes, "no run to fit to: the model is the car file's, with common practice where it is silent")
    return _Present(car, fitted, vehicle, settings, stand, current_effects(book, name), air, state, notes)


def own_values(car: Car, vehicle: Vehicle) -> dict[str, float]:
    """Return what the car file says of what can be supposed beside its adjustables, in the units of ``OWN``."""
    found: dict[str, float | None] = {
        "race weight": car.race_mass,
        "power": car.power,
        "tyre circumference": car.tyre_circumference,
        "final drive": car.final_drive,
        "drag area": car.drag_area,
        "converter stall": car.powertrain.converter_stall if car.powertrain else None,
    }
    line = vehicle.driveline
    if line is not None and line.shift_speeds and car.powertrain and car.powertrain.shift_speeds:
        found["shift rpm"] = float(line.shift_speeds[-1])
    return {item: units.unit_of(OWN[item][0]).from_si(value) for item, value in found.items() if value is not None}


def brought_up_to_now(
    car: Car, vehicle: Vehicle, base: Mapping[str, float], now: Mapping[str, float]
) -> tuple[Vehicle, tuple[str, ...]]:
    """Bring the model, fitted in the baseline setup, to the setup of the newest run as far as physics speaks to it."""
    moved = []
    for name in dict.fromkeys([item.name for item in car.adjustables] + list(OWN)):
        before, after, item = base.get(name), now.get(name), car.adjustable(name)
        if before is None or after is None or before == after:
            continue
        unit = item.unit if item else OWN[name][0]
        found = answer(car, vehicle, Wish(name, name, unit, before, after, after - before, (), adjustable=item))
        if found.alter is not None:
            vehicle = found.alter(vehicle)
            moved.append(f"{name} {after:g} {unit}")
    return vehicle, ((f"starting from the newest run's setup: {', '.join(moved)}",) if moved else ())


def air_of(state: AirState) -> Air:
    """Return the air of a run for the model."""
    return Air(state.temperature, state.station_pressure, state.relative_humidity, state.wind_along or 0.0)


def _air_after(air: Air, typed: TypedAir) -> Air:
    given = {"temperature": typed.temperature, "relative_humidity": typed.relative_humidity}
    given |= {"pressure": typed.station_pressure, "wind_along": typed.wind_along}
    try:
        return replace(air, **{field: value for field, value in given.items() if value is not None})
    except ValueError as error:
        raise UsageError(str(error)) from None


# --- the changes ------------------------------------------------------------------------------------------------------


def _refuse_twice(wishes: Sequence[Wish]) -> None:
    items = [wish.item for wish in wishes]
    twice = next((item for item in items if items.count(item) > 1), None)
    if twice:
        raise UsageError(f"{twice} is supposed twice: write one change of it")


def _hold_to_minimum(present: _Present, wishes: Sequence[Wish]) -> None:
    """Refuse changes that together bring the car under the weight that its class asks for."""
    least = present.car.minimum_mass
    moved = [wish for wish in wishes if (is_ballast(wish) or wish.item == "race weight") and wish.amount]
    change = sum(units.unit_of(wish.unit).to_si(wish.amount or 0.0) for wish in moved)
    if least is None or change >= 0.0:
        return
    after = float(present.vehicle.mass) + change
    if after < least:
        pound = units.unit_of("lb")
        raise RunlogError(
            f"{', '.join(wish.text for wish in moved)}: race weight {pound.from_si(after):.1f} lb is under the car "
            f"file's minimum of {pound.from_si(least):.1f} lb"
        )


def _together(answers: Sequence[Answer]) -> Alter:
    def alter(vehicle: Vehicle) -> Vehicle:
        for found in answers:
            if found.alter is not None:
                vehicle = found.alter(vehicle)
        return vehicle

    return alter


def _others(answers: Sequence[Answer]) -> list[Alter]:
    """Return all changes together, each doubtful one in turn as it might be instead."""
    return [
        _together([replace(found, alter=other) if found is doubtful else found for found in answers])
        for doubtful in answers
        for other in doubtful.otherwise
    ]


def _outcome(present: _Present, supposed: Supposed) -> Outcome:
    measured = bool(present.car.powertrain and present.car.powertrain.power_curve)
    doubt = doubts(present.vehicle, measured_curve=measured)
    return outcome(present.vehicle, present.fitted.covariance, supposed, doubt)


def _ends(present: _Present, wishes: Sequence[Wish], done: Outcome | None) -> Ends | None:
    """Return the run before and after; as it was where only gearing changes, of which a bare model has no opinion."""
    settings = {**present.settings, **{wish.item: wish.after for wish in wishes if wish.after is not None}}
    gearing = (gearing_of(present.car, present.vehicle, now) for now in (present.settings, settings))
    if done is not None:
        return Ends(done.before, done.after, (next(gearing), next(gearing)))
    if not any(wish.item in GEARED for wish in wishes):
        return None
    run = simulate(present.vehicle, present.air)
    return Ends(run, run, (next(gearing), next(gearing)))


def _alone(present: _Present, found: Answer) -> Outcome | None:
    """Return what physics says of one change by itself; None where it has no opinion."""
    if found.alter is None:
        return None
    return _outcome(present, Supposed(found.alter, present.air, present.air, found.otherwise))


def _change_part(present: _Present, wish: Wish, found: Answer, alone: Outcome | None) -> dict[str, Any]:
    return {
        "change": wish.text,
        "item": wish.item,
        "unit": wish.unit,
        "from": wish.shown(wish.before),
        "to": wish.shown(wish.after),
        "opinion": found.alter is not None,
        "why_not": found.why_not,
        "assumptions": list(found.assumptions),
        "effects": effects(alone, present.finish_ft),
        "cautions": list(wish.cautions),
        "limits": _limits([wish]),
    }


# --- the page's parts -------------------------------------------------------------------------------------------------


def _air_content(air: Air, state: AirState | None) -> dict[str, Any]:
    """Return the air in the shape that every page gives it."""
    if state is not None:
        return air_part(state) or {}
    return {
        "temperature_c": rounded(float(air.temperature) - 273.15, 2),
        "relative_humidity_pct": rounded(float(air.relative_humidity) * 100, 1),
        "station_pressure_hpa": rounded(float(air.pressure) / 100, 2),
        "density_kg_m3": rounded(float(air.density), 5),
        "density_ratio": rounded(float(air.density_ratio), 5),
        "density_altitude_ft": rounded(float(density_altitude(air.density)) / FOOT, 1),
        "wind_along_track_m_s": rounded(float(air.wind_along), 2),
        "track_temperature_c": None,
        "source": REFERENCE_NAME if air == STANDARD_AIR else "supposed",
    }


def _limits(wishes: Sequence[Wish]) -> list[dict[str, Any]]:
    return [
        {"what": wish.item, "low": wish.shown(wish.low), "high": wish.shown(wish.high), "unit": wish.unit}
        for wish in wishes
        if wish.low is not None or wish.high is not None
    ]


def _refuse_barred(cleared: Clearance, wishes: Sequence[Wish]) -> None:
    """Refuse a setting that is barred: a gain beside it would invite running it."""
    bar = next((found for wish in wishes if (found := cleared.bars.of(wish.item, wish.after)) is not None), None)
    if bar is not None:
        raise RunlogError(f"{bar_words(cleared.car, bar)}; nothing is foretold of it until someone releases it by name")


def _cautions(parts: Sequence[Mapping[str, Any]], more: Sequence[str]) -> list[str]:
    return [*dict.fromkeys([*(text for part in parts for text in part["cautions"]), *more]), ALWAYS]


def _notes(present: _Present, air: Air, done: Outcome | None) -> list[str]:
    said = []
    if done is not None and not np.all(np.isfinite(done.after.times[: len(beams(present.finish_ft))])):
        said.append("the model's car doesn't get to the finish: it runs out of engine speed or of power")
    line = present.vehicle.driveline
    if (
        done is not None
        and line is not None
        and np.max(np.nan_to_num(done.after.crossing.engine)) > line.engine.speeds[-1]
    ):
        said.append("the engine turns past the last point of its curve: power there is a guess")
    warning = caveat(present.car.aspiration, air)
    if warning and air != present.air:
        said.append(warning)
    return said
