"""The invented season: which car ran where and when, what was changed, what went wrong, and the weather."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True)
class DemoTrack:
    name: str
    elevation_m: float
    heading_deg: float
    finish_ft: int
    rollout_in: float
    surface: str

    @property
    def rollout(self) -> float:
        return self.rollout_in * 0.0254


TRACKS = {
    "lowfield": DemoTrack(
        "lowfield", 34, 85, 1320, 9, "Invented. Concrete to 660 ft, asphalt beyond; groove renewed in 2030"
    ),
    "upfell": DemoTrack(
        "upfell", 640, 210, 660, 10, "Invented. Concrete throughout, finish at 660 ft, uphill return road"
    ),
}


@dataclass(frozen=True)
class Weather:
    """Straight lines over eight hours from the first reading on: temperature [°F], humidity [%], pressure [hPa]."""

    start_f: float
    end_f: float
    start_rh: float
    end_rh: float
    start_hpa: float
    end_hpa: float
    wind_mph: float
    wind_from: float


@dataclass(frozen=True)
class RunPlan:
    """``purpose`` in feet as the slip writes it; ``changes`` made before this run."""

    purpose: str = "full"
    changes: Mapping[str, float] = field(default_factory=dict)
    event: str = ""  # shake, lift, coast, pedal, outlier
    note: str = ""


@dataclass(frozen=True)
class Day:
    car: str
    date: dt.date
    track: str
    first_minute: int  # of the day
    weather: Weather
    air_layout: str  # station, altimeter or metric
    runs: tuple[RunPlan, ...]


SHORT = {
    "p": "rear tyre pressure", "front": "front tyre pressure", "hole": "upper link front hole",
    "ballast": "ballast rear", "launch": "launch rpm", "shift": "shift rpm", "shock": "rear shock extension",
    "wing": "wing angle", "bar": "wheelie-bar height", "boost": "boost target",
    "retard": "launch ignition retard", "fshock": "front shock extension", "delay": "nitrous delay",
}  # fmt: skip


def _run(purpose: str = "full", event: str = "", note: str = "", **changes: float) -> RunPlan:
    return RunPlan(purpose, {SHORT[key]: value for key, value in changes.items()}, event, note)


def _day(car: str, date: str, place: str, weather: Weather, runs: list[RunPlan]) -> Day:
    track, start, layout = place.split()
    hour, minute = start.split(":")
    return Day(car, dt.date.fromisoformat(date), track, 60 * int(hour) + int(minute), weather, layout, tuple(runs))


DAYS = (
    # --- heron: the first day step by step, then single changes with returns
    _day("heron", "2031-04-12", "lowfield 10:20 station", Weather(61, 72, 58, 41, 1012.0, 1009.5, 4, 250), [
        _run("60", note="first hit, straight, nothing loose"),
        _run("60"),
        _run("660", "coast", note="planned shut-off past 660, rolled through"),
        _run("660"),
        _run(note="first full run"),
        _run(note="unchanged"),
        _run(p=6.5),
        _run(event="shake", launch=4400, note="shook hard at the hit, driver stayed in it"),
        _run(event="lift", p=7.0, launch=4200, note="moved towards the centre line, driver lifted"),
        _run(note="back at the baseline"),
    ]),
    _day("heron", "2031-04-26", "lowfield 10:45 altimeter", Weather(66, 81, 62, 38, 1006.0, 1004.0, 6, 140), [
        _run(), _run(p=6.5), _run(p=7.0), _run(hole=1), _run(), _run(hole=0), _run(p=6.5),
    ]),
    _day("heron", "2031-05-17", "lowfield 09:50 metric", Weather(63, 84, 70, 35, 1014.0, 1011.0, 3, 20), [
        _run(note="as left on the last day"), _run(hole=1), _run(ballast=75), _run(event="outlier", ballast=50),
        _run(shock=10), _run(shock=8), _run(launch=4400), _run(launch=4200, shift=7300),
    ]),
    _day("heron", "2031-06-07", "lowfield 16:10 station", Weather(88, 74, 40, 63, 1008.0, 1009.0, 5, 300), [
        _run(shift=7200), _run(p=6.0), _run(p=6.5), _run(event="pedal", p=6.0, note="driver pedalled it at the hit"),
        _run(ballast=75), _run(ballast=50, front=34), _run(front=32),
    ]),
    # --- plover
    _day("plover", "2031-04-19", "lowfield 11:00 station", Weather(58, 69, 55, 40, 1016.0, 1014.5, 5, 70), [
        _run("60"), _run("330"), _run("660"), _run(), _run(), _run(p=6.0), _run(p=6.5),
    ]),
    _day("plover", "2031-05-10", "lowfield 10:30 station", Weather(64, 79, 60, 37, 1005.0, 1004.0, 8, 95), [
        _run(), _run(launch=3800), _run(launch=3600), _run(wing=6), _run(wing=4),
        _run(event="shake", launch=4000, note="shook"), _run(launch=3800),
    ]),
    _day("plover", "2031-06-14", "lowfield 15:30 station", Weather(90, 77, 42, 60, 1010.0, 1010.5, 4, 200), [
        _run(), _run(p=6.0), _run(hole=1), _run(hole=0), _run(ballast=50), _run(ballast=25, bar=4.5), _run(bar=4.0),
    ]),
    # --- curlew: boost target and launch ignition retard were always moved together
    _day("curlew", "2031-05-03", "lowfield 10:10 station", Weather(60, 75, 63, 40, 1011.0, 1009.0, 5, 265), [
        _run("60"), _run("330"), _run("660"), _run(), _run(), _run(boost=19, retard=6),
    ]),
    _day("curlew", "2031-05-24", "upfell 11:20 station", Weather(55, 68, 66, 44, 941.0, 939.5, 7, 190), [
        _run(), _run(boost=18, retard=4), _run(boost=19, retard=6), _run(p=8.5), _run(p=9.0), _run(event="outlier"),
        _run(boost=20, retard=8),
    ]),
    _day("curlew", "2031-06-21", "lowfield 16:00 altimeter", Weather(86, 73, 48, 67, 1007.0, 1008.0, 3, 330), [
        _run(boost=18, retard=4), _run(boost=19, retard=6), _run(launch=3700), _run(launch=3500, boost=18, retard=4),
        _run(boost=19, retard=6), _run(fshock=8), _run(fshock=6),
    ]),
    # --- dunlin
    _day("dunlin", "2031-04-20", "lowfield 10:00 station", Weather(57, 73, 61, 39, 1013.0, 1011.0, 4, 110), [
        _run("60"), _run("60"), _run("660"), _run(), _run(), _run(delay=0.4), _run(delay=0.5),
        _run(event="shake", delay=0.3, note="shook as the nitrous came in"), _run(delay=0.5),
    ]),
    _day("dunlin", "2031-05-11", "lowfield 10:20 metric", Weather(62, 78, 59, 36, 1008.0, 1006.5, 6, 255), [
        _run(), _run(ballast=50), _run(ballast=25), _run(launch=4100), _run(launch=3900), _run(shock=12),
        _run(shock=10), _run(hole=1), _run(p=7.0),
    ]),
    # --- wigeon: 660 ft at elevation
    _day("wigeon", "2031-05-04", "upfell 10:30 station", Weather(52, 66, 68, 47, 943.0, 941.5, 4, 30), [
        _run("60"), _run("330"), _run(), _run(), _run(p=9.5), _run(p=10.0), _run(p=9.5),
    ]),
    _day("wigeon", "2031-06-01", "upfell 10:10 station", Weather(59, 75, 60, 38, 938.0, 937.0, 9, 215), [
        _run(), _run(launch=2800), _run(launch=2600), _run(launch=2800), _run(front=32), _run(front=30), _run(),
    ]),
    _day("wigeon", "2031-06-22", "upfell 15:40 station", Weather(83, 72, 44, 58, 940.0, 940.5, 5, 120), [
        _run(), _run(ballast=25), _run(ballast=0), _run(hole=1),
        _run(event="pedal", note="driver pedalled it, tyre spin"), _run(hole=0), _run(hole=1),
    ]),
    _day("wigeon", "2031-07-06", "upfell 09:40 station", Weather(68, 86, 57, 33, 942.0, 940.0, 3, 300), [
        _run(), _run(shift=6900), _run(shift=6800), _run(p=9.0), _run(p=9.5), _run(shift=6900), _run(shift=6800),
    ]),
)  # fmt: skip
