"""What the crew's answers do to how a run's facts are taken. The facts themselves stay as they were told."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from runlog.physics.atmosphere import altimeter_setting, station_pressure
from runlog.records import Samples
from runlog.workflows.questions.case import figures, of

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping, Sequence

    from runlog.records import AirReading, CrewFact, RunKey, Slip, Track
    from runlog.results import Findings


OF_THE_CAR: Final = ("gear-", "wheels-", "guard-")
"""how questions begin that rest on the car's or the track's file, not on one run: answered once for all runs"""
SAME_LAUNCH: Final = 0.5
"""[s] on the logger's clock within which two analyses mean the same launch"""


@dataclass(frozen=True)
class Answers:
    """The newest answer to each question of a car's runs, by run; answers for a whole day by date."""

    of_run: Mapping[tuple[dt.date, int], Mapping[str, CrewFact]] = field(default_factory=dict)
    of_day: Mapping[dt.date, Mapping[str, CrewFact]] = field(default_factory=dict)

    def to(self, key: RunKey) -> dict[str, CrewFact]:
        """Return the answers that hold for a run, by question."""
        return {**self.of_day.get(key.date, {}), **self.of_run.get((key.date, key.number), {})}

    def effects_of_day(self, date: dt.date) -> list[Mapping[str, Any]]:
        """Return what the answers about a whole day do."""
        found = (fact.content["effect"] for fact in self.of_day.get(date, {}).values())
        return [effect for effect in found if effect]

    def of_the_car(self) -> set[str]:
        """Return the questions about the car itself, whatever run raised them, that were answered."""
        return {name for said in self.of_run.values() for name in said if name.startswith(OF_THE_CAR)}

    def effects(self, key: RunKey) -> list[Mapping[str, Any]]:
        """Return what the answers that hold for a run do."""
        found = (fact.content["effect"] for fact in self.to(key).values())
        return [effect for effect in found if effect]


def gather(car: str, said: Iterable[CrewFact]) -> Answers:
    """Return the newest answers about a car among what was said of all, given in order of time.

    What is true of a whole day, such as the kind of its pressures, is true for every car.
    """
    of_run: dict[tuple[dt.date, int], dict[str, CrewFact]] = {}
    of_day: dict[dt.date, dict[str, CrewFact]] = {}
    for fact in said:
        if fact.number is not None and fact.car != car:
            continue
        if fact.number is None:
            of_day.setdefault(fact.date, {})[fact.content["question"]] = fact
        else:
            of_run.setdefault((fact.date, fact.number), {})[fact.content["question"]] = fact
    return Answers(of_run, of_day)


def taken(slip: Slip, effects: Sequence[Mapping[str, Any]]) -> Slip:
    """Return a slip as the answers about its run have it."""
    for effect in effects:
        match effect["do"]:
            case "spoil" if slip.spoiled is None and effect.get("slip") in (None, of(figures(slip))):
                to = effect["value"]
                slip = dataclasses.replace(slip, spoiled=effect["text"], true_to_ft=int(to) if to else None)
            case "pulled_on":
                slip = dataclasses.replace(slip, purpose=None)
            case "slip_speed":
                feet = int(effect["text"])
                mended = {feet: slip.speeds[feet] * effect["value"]} if feet in slip.speeds else {}
                slip = dataclasses.replace(slip, speeds={**slip.speeds, **mended})
            case _:
                pass
    return slip


def does(effects: Sequence[Mapping[str, Any]], what: str) -> bool:
    """Return whether an answer does this."""
    return any(effect["do"] == what for effect in effects)


def foreign(found: Findings, effects: Sequence[Mapping[str, Any]]) -> bool:
    """Return whether the crew says of this very trace, known by its launch, that it is another run's."""
    launch = found["launch_time"]
    return launch is not None and any(
        effect["do"] == "no_trace" and effect["value"] is not None and abs(effect["value"] - launch) < SAME_LAUNCH
        for effect in effects
    )


def in_their_unit(samples: Mapping[str, Samples], effects: Sequence[Mapping[str, Any]]) -> dict[str, Samples]:
    """Return logged channels with those that were read in another unit mended."""
    factors = {effect["text"]: effect["value"] for effect in effects if effect["do"] == "channel"}
    return {
        name: Samples(channel.time, channel.values * factors[name]) if name in factors else channel
        for name, channel in samples.items()
    }


def pressures(
    readings: Sequence[AirReading], effects: Sequence[Mapping[str, Any]], track: Track | None
) -> list[AirReading]:
    """Return a day's readings with the pressure taken for the kind that the crew says it was."""
    meant = next((effect["text"] for effect in effects if effect["do"] == "station_pressure"), None)
    if meant is None or track is None:
        return list(readings)
    return [_as(reading, meant, track.elevation) for reading in readings]


def _as(reading: AirReading, meant: str, elevation: float) -> AirReading:
    stated = reading.source.split(",")[0]
    if meant == "altimeter" and stated.startswith("station pressure"):
        pressure = float(station_pressure(reading.station_pressure, elevation))
        return dataclasses.replace(reading, station_pressure=pressure, source="altimeter setting, by the crew's answer")
    if meant == "station" and stated.startswith("altimeter"):
        pressure = float(altimeter_setting(reading.station_pressure, elevation))
        return dataclasses.replace(reading, station_pressure=pressure, source="station pressure, by the crew's answer")
    return reading
