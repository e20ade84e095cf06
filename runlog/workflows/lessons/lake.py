"""Learning from the shared store: each car is read and condensed by itself, on any executor; then all together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from runlog.errors import NotFound
from runlog.physics.vehicle_fit import fit_from
from runlog.store import lake
from runlog.workflows.lessons.fleet import Member, fleet_content, make_member
from runlog.workflows.lessons.learn import Subject
from runlog.workflows.workers import spread

if TYPE_CHECKING:
    from concurrent.futures import Executor
    from pathlib import Path

    from runlog.records import Car


@dataclass(frozen=True)
class _Place:
    folder: Path
    car: str


def _member(place: _Place) -> tuple[Member, Car]:
    """Read and condense one car; runs in a worker, which reads this car's files only."""
    found = lake.read_lake_car(place.folder, place.car)
    fitted = fit_from(found.vehicle) if found.vehicle else None
    subject = Subject(found.car, found.sheets, fitted.vehicle if fitted else None)
    return make_member(subject, found.runs, found.finish_ft), found.car


def lake_fleet_page(folder: Path, executor: Executor | None = None) -> dict[str, Any]:
    """Return the fleet page of a lake, in the shape of ``fleet --json``; ``NotFound`` without a lake or runs in it."""
    places = [_Place(folder.resolve(), name) for name in lake.lake_cars(folder)]
    members, cars = [], {}
    for member, car in spread(_member, places, executor):
        if member.runs:
            members.append(member)
            cars[car.name] = car
    if not members:
        raise NotFound(f"{folder}: no car of this lake has run yet")
    return fleet_content(members, cars)
