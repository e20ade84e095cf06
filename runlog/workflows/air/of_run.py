"""The air of a run: readings brought to its time."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np

from runlog.physics.atmosphere import (
    Air,
    altimeter_setting,
    density_altitude,
    wind_along,
    wrong_pressure_kind,
    wrong_setting_kind,
)
from runlog.physics.power import caveat
from runlog.results import AirState

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import AirReading, Track

REACH = dt.timedelta(minutes=90)
"""How far outside the readings a run may lie and still take the nearest. Common practice, no source."""
BRIDGE = 2 * REACH
"""The longest gap between two readings that is interpolated over: within it, one of the two is always in reach."""


def air_at(
    readings: Sequence[AirReading], date: dt.date, moment: dt.datetime | None, track: Track | None
) -> AirState | None:
    """Return the air of a run of this test day from readings in order of time, or None where they don't reach.

    The readings may begin on the day before and end on the day after. Between two that are no further apart than
    ``BRIDGE`` it is interpolated in time; else the nearest is taken, up to ``REACH`` away; a run whose moment isn't
    known takes the mean of the day. Wind, an angle, is taken from the nearest reading that has it.
    """
    if moment is None:
        today = [reading for reading in readings if reading.time.date() == date]
        if not today:
            return None
        share = [1.0 / len(today)] * len(today)
        return _state(today, share, track, f"{today[0].source}, mean of the day's {len(today)} readings")
    if not readings:
        return None
    before = [reading for reading in readings if reading.time <= moment]
    after = [reading for reading in readings if reading.time > moment]
    if before and after and after[0].time - before[-1].time <= BRIDGE:
        first, second = before[-1], after[0]
        part = (moment - first.time) / (second.time - first.time)
        where = f"interpolated {first.time:%H:%M}–{second.time:%H:%M}"
        return _state([first, second], [1 - part, part], track, f"{first.source}, {where}")
    nearest = min([*before[-1:], *after[:1]], key=lambda reading: abs(reading.time - moment))
    if abs(nearest.time - moment) > REACH:
        return None
    return _state([nearest], [1.0], track, f"{nearest.source}, read {nearest.time:%H:%M}")


def state_of(reading: AirReading, track: Track | None) -> AirState:
    """Return one reading as the air of a run."""
    return _state([reading], [1.0], track, reading.source)


def _state(readings: Sequence[AirReading], shares: Sequence[float], track: Track | None, source: str) -> AirState:
    def mean(values: Sequence[float]) -> float:
        return sum(value * share for value, share in zip(values, shares, strict=True))

    temperature = mean([reading.temperature for reading in readings])
    humidity = mean([reading.relative_humidity for reading in readings])
    pressure = mean([reading.station_pressure for reading in readings])
    air = Air(temperature, pressure, humidity)
    surfaces = [reading.track_temperature for reading in readings if reading.track_temperature is not None]
    nearest = readings[max(range(len(readings)), key=lambda n: shares[n])]
    return AirState(
        temperature=temperature,
        relative_humidity=humidity,
        station_pressure=pressure,
        density=float(air.density),
        density_ratio=float(air.density_ratio),
        density_altitude=float(density_altitude(air.density)),
        wind_along=_wind(nearest, track),
        track_temperature=mean(surfaces) if len(surfaces) == len(readings) else (surfaces[0] if surfaces else None),
        source=source,
    )


def _wind(reading: AirReading, track: Track | None) -> float | None:
    if reading.wind_speed is None:
        return None
    if reading.wind_speed == 0.0:
        return 0.0
    if reading.wind_from_deg is None or track is None or track.heading_deg is None:
        return None
    return float(wind_along(reading.wind_speed, reading.wind_from_deg, track.heading_deg))


def pressure_question(air: AirState | None, track: Track | None) -> str | None:
    """Return the question to the crew when a pressure looks like the other kind for the track's elevation."""
    return None if air is None or track is None else pressure_warning(air, track.elevation)


def pressure_warning(air: AirState, elevation: float) -> str | None:
    """Return the warning that a pressure looks like the other kind for this elevation [m]; None where it doesn't."""
    if air.source.startswith("station pressure"):
        return wrong_pressure_kind(air.station_pressure, elevation)
    if air.source.startswith("altimeter"):
        return wrong_setting_kind(float(altimeter_setting(air.station_pressure, elevation)), elevation)
    return None


def caveats(aspiration: str, *airs: AirState) -> list[str]:
    """Return what has to be said beside figures that are corrected from these airs for an engine; mostly nothing."""
    columns = [[air.temperature, air.station_pressure, air.relative_humidity] for air in airs]
    said = caveat(aspiration, Air(*np.array(columns, dtype=np.float64).T))
    return [] if said is None else [said]
