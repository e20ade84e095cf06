"""What was recorded of each run, as far as learning and pages use it, and the combination of parts that ran."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.physics.humidity import dew_point
from runlog.units import parse_quantity

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from runlog.records import CrewFact, RunKey
    from runlog.results import AirState

_MEASURED = (
    ("surface_k", "surface", "temperature"),
    ("fuel_kg", "fuel", "mass"),
    ("driver_kg", "driver_weight", "mass"),
)
USED = ("start_record", "combination")
"""kinds of what the crew says that this is a function of"""


def records_of(keys: Iterable[RunKey], said: Sequence[CrewFact]) -> dict[RunKey, dict[str, Any]]:
    """Return the record of every run: driver, tyre set and its runs, surface [K], staging, and the combination.

    ``said`` of the car, in order of time. A part is in the car from the run on that it was said of, a tyre set that the
    start-line record names from that run on as well. What wasn't recorded is left out.
    """
    parts = sorted(
        (fact for fact in said if fact.what == "combination"), key=lambda fact: (fact.date, fact.number or 0)
    )
    starts: dict[tuple[object, ...], dict[str, Any]] = {}
    for fact in said:
        if fact.what == "start_record":
            told = {name: value for name, value in fact.content.items() if value is not None}
            starts.setdefault((fact.date, fact.number), {}).update(told)
    fitted: dict[str, str] = {}
    found: dict[RunKey, dict[str, Any]] = {}
    unnamed: list[RunKey] = []
    for key in sorted(keys):
        while parts and (parts[0].date, parts[0].number or 0) <= (key.date, key.number):
            fact = parts.pop(0)
            fitted[fact.content["part"]] = fact.content["name"]
        start = starts.get((key.date, key.number), {})
        if start.get("tyre_set"):
            if "tyre set" not in fitted:  # naming what is on the car isn't putting another on
                for before in unnamed:
                    named = {**found[before]["parts"], "tyre set": start["tyre_set"]}
                    found[before]["parts"] = dict(sorted(named.items()))
            fitted["tyre set"] = start["tyre_set"]
        if "tyre set" not in fitted:
            unnamed.append(key)
        record: dict[str, Any] = {
            name: start[name] for name in ("driver", "tyre_runs", "staging") if start.get(name) is not None
        }
        for name, field, dimension in _MEASURED:
            if start.get(field):
                record[name] = parse_quantity(start[field], dimension)
        found[key] = {**record, "parts": dict(sorted(fitted.items()))}
    return found


def combination(record: Mapping[str, Any]) -> str:
    """Return the name of a run's combination: its parts, as far as they were told; empty where none was."""
    return ", ".join(f"{part} {name}" for part, name in record.get("parts", {}).items())


def conditions(record: Mapping[str, Any]) -> dict[str, float | str]:
    """Return what a run's record tells of the conditions that move its times, by their names in learning."""
    names = {
        "driver": "driver", "tyre age": "tyre_runs", "surface temperature": "surface_k", "staging": "staging",
        "fuel": "fuel_kg", "driver weight": "driver_kg",
    }  # fmt: skip
    return {name: record[key] for name, key in names.items() if key in record}


def damp_surface(surface: float | None, air: AirState | None) -> str | None:
    """Return a caution where the track's surface [K] is at or below the dew point of the run's air, or None.

    Without a surface temperature of the record that of the air readings counts.
    """
    if air is None:
        return None
    known = surface if surface is not None else air.track_temperature
    dew = float(dew_point(air.temperature, air.station_pressure, air.relative_humidity))
    if known is None or known > dew:
        return None
    return (
        f"track surface {known * 1.8 - 459.67:.0f} °F, dew point {dew * 1.8 - 459.67:.0f} °F: it may be damp; have it "
        "looked at before the next run"
    )
