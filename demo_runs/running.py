"""Running the season: each planned run through the simulation, with day level, drift, lane and run noise on top.

The noise isn't put on the printed figures but into the motion: the run's clock is stretched a little between the beams,
so that slip, speeds and logger trace of a run all tell the same story.
"""

from __future__ import annotations

import bisect
import datetime as dt
import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from garage import CARS, DemoCar, adjust
from noise import Noise
from season import DAYS, TRACKS, Day, DemoTrack, RunPlan, Weather
from simulation import Air, Motion, Plan, simulate

if TYPE_CHECKING:
    from collections.abc import Sequence

FOOT = 0.3048
MPH = 0.44704
SPLITS_FT = (60, 330, 660, 1000, 1320)
DAY_LEVEL = 0.5  # sd of a day's level, in run sds
DRIFT_PER_HOUR = 0.15  # sd of a day's drift, in run sds
RIGHT_LANE_S = (0.003, 0.001, 0.0, 0.0, 0.0)
OUTLIER_S = (0.070, 0.020, 0.0, 0.0, 0.0)
TURNAROUND_MINUTES = (32, 58)
FADE_S = 0.8
SHAKE_S = (0.35, 0.85)
PEDAL_S = (0.30, 0.70)


@dataclass(frozen=True)
class Stretch:
    """How much later than in the simulation [s] the run is, smooth in the simulation's time."""

    times: tuple[float, ...]
    late: tuple[float, ...]
    slopes: tuple[float, ...]

    def at(self, time: float) -> tuple[float, float]:
        """Return lateness and its slope: cubic between the beams, constant outside."""
        if time <= self.times[0]:
            return self.late[0], 0.0
        if time >= self.times[-1]:
            return self.late[-1], 0.0
        k = bisect.bisect_right(self.times, time) - 1
        h = self.times[k + 1] - self.times[k]
        u = (time - self.times[k]) / h
        a, b, p, q = self.late[k], self.late[k + 1], self.slopes[k] * h, self.slopes[k + 1] * h
        late = a + u * p + u * u * (3 * (b - a) - 2 * p - q) + u**3 * (2 * (a - b) + p + q)
        return late, (p + 2 * u * (3 * (b - a) - 2 * p - q) + 3 * u * u * (2 * (a - b) + p + q)) / h


@dataclass(frozen=True)
class Ran:
    """A run as it really was. Times [s] after brake release unless they're from the beam; distances from rest [m]."""

    car: DemoCar
    track: DemoTrack
    plan: RunPlan
    number: int
    start: dt.datetime
    lane: str
    settings: dict[str, float]
    air: Air
    motion: Motion
    stretch: Stretch
    beam_time: float
    splits: dict[int, float]
    speeds: dict[int, float]
    true_to_ft: int | None
    spoiled: str
    reaction: float

    @property
    def key(self) -> str:
        return f"{self.car.name}/{self.start.date().isoformat()}/{self.number}"

    def real_time(self, time: float) -> float:
        return time + self.stretch.at(time)[0]


@dataclass(frozen=True)
class RanDay:
    day: Day
    level: tuple[float, ...]
    drift: tuple[float, ...]
    runs: tuple[Ran, ...]


def weather_at(weather: Weather, day: Day, minute: float) -> tuple[float, float, float]:
    """Return temperature [°F], humidity [%] and station pressure [hPa]; eight hours from first to last figure."""
    share = (minute - day.first_minute + 30) / 480
    return (
        weather.start_f + share * (weather.end_f - weather.start_f),
        weather.start_rh + share * (weather.end_rh - weather.start_rh),
        weather.start_hpa + share * (weather.end_hpa - weather.start_hpa),
    )


def air_at(day: Day, minute: float) -> Air:
    fahrenheit, humidity, hpa = weather_at(day.weather, day, minute)
    along = math.cos(math.radians(day.weather.wind_from - TRACKS[day.track].heading_deg))
    return Air((fahrenheit - 32) / 1.8, humidity / 100, hpa * 100, day.weather.wind_mph * MPH * along)


def reach(motion: Motion, x: float) -> float | None:
    """Return when the car reached ``x`` [m], or None."""
    k = bisect.bisect_left(motion.x, x)
    if k >= len(motion.x):
        return None
    return motion.time[k - 1] + (x - motion.x[k - 1]) / (motion.x[k] - motion.x[k - 1]) * (
        motion.time[k] - motion.time[k - 1]
    )


def driving(plan: RunPlan, track: DemoTrack) -> Plan:
    """Turn purpose and event into what the driver does."""
    finish = track.rollout + track.finish_ft * FOOT
    lift_ft = {"60": 72.0, "330": 348.0, "660": 684.0, "full": track.finish_ft + 12.0}[plan.purpose]
    if plan.event == "lift":
        lift_ft = 560.0
    rolls = plan.event in ("lift", "coast")
    shake = {"shake": SHAKE_S, "pedal": PEDAL_S}.get(plan.event)
    stop = finish if rolls or plan.purpose == "full" else 1e9
    return Plan(track.rollout + lift_ft * FOOT, brake=not rolls, stop_m=stop, shake=shake)


def planned_ft(plan: RunPlan, track: DemoTrack) -> int:
    return track.finish_ft if plan.purpose == "full" else int(plan.purpose)


def stretched(motion: Motion, track: DemoTrack, extra: Sequence[float], last_ft: int) -> Stretch:
    """Spread each increment's extra seconds over that increment; what is left of the slope fades after the last."""
    times, late = [reach(motion, track.rollout)], [0.0]
    for distance, seconds in zip(SPLITS_FT, extra, strict=True):
        if distance <= last_ft:
            times.append(reach(motion, track.rollout + distance * FOOT))
            late.append(late[-1] + seconds)
    real = [time for time in times if time is not None]
    secants = [(b - a) / (u - t) for a, b, t, u in zip(late, late[1:], real, real[1:], strict=False)]
    slopes = [0.0, *(0.3 * (a + b) for a, b in itertools.pairwise(secants)), 0.5 * secants[-1]]
    tail = FADE_S * slopes[-1] / 2
    return Stretch((*real, real[-1] + FADE_S), (*late, late[-1] + tail), (*slopes, 0.0))


def figures(motion: Motion, stretch: Stretch, track: DemoTrack) -> tuple[float, dict[int, float], dict[int, float]]:
    """Return beam time, splits [s] from the beam and trap speeds [m/s] over the last 66 ft."""

    def real(distance_ft: float) -> float | None:
        time = reach(motion, track.rollout + distance_ft * FOOT)
        return None if time is None else time + stretch.at(time)[0]

    beam = real(0.0) or 0.0
    splits, speeds = {}, {}
    for distance in SPLITS_FT:
        time = real(distance)
        if distance <= track.finish_ft and time is not None:
            splits[distance] = time - beam
            if distance in (660, 1320):
                speeds[distance] = 66 * FOOT / (time - (real(distance - 66) or 0.0))
    return beam, splits, speeds


def _true_to(plan: RunPlan, track: DemoTrack) -> int | None:
    if plan.event == "lift":
        return 330
    return planned_ft(plan, track) if plan.event == "coast" or plan.purpose != "full" else None


def run_day(day: Day, settings: dict[str, float]) -> RanDay:
    """Run one day; ``settings`` is the car's sheet and is carried on in place."""
    car, track = next(car for car in CARS if car.name == day.car), TRACKS[day.track]
    noise = Noise(f"{day.car} {day.date}")
    level = tuple(noise.normal(DAY_LEVEL * sd) for sd in car.run_sd)
    drift = tuple(noise.normal(DRIFT_PER_HOUR * sd) for sd in car.run_sd)
    minute, runs = float(day.first_minute), []
    for number, plan in enumerate(day.runs, start=1):
        settings.update(plan.changes)
        air = air_at(day, minute)
        motion = simulate(adjust(car, settings), air, driving(plan, track))
        lane = "left" if number % 4 in (0, 1) else "right"  # in pairs, so that lanes don't follow the changes
        hours = (minute - day.first_minute) / 60
        extra = [
            level[k] + drift[k] * hours + noise.normal(car.run_sd[k])
            + (RIGHT_LANE_S[k] if lane == "right" else 0.0) + (OUTLIER_S[k] if plan.event == "outlier" else 0.0)
            for k in range(5)
        ]  # fmt: skip
        true_to = _true_to(plan, track)
        stretch = stretched(motion, track, extra, true_to or track.finish_ft)
        beam, splits, speeds = figures(motion, stretch, track)
        if plan.purpose != "full" and plan.event != "coast":
            splits = {distance: time for distance, time in splits.items() if distance <= int(plan.purpose)}
            speeds = {distance: speed for distance, speed in speeds.items() if distance <= int(plan.purpose)}
        clock = dt.datetime.combine(day.date, dt.time()) + dt.timedelta(
            minutes=round(minute), seconds=round(noise.between(5, 50))
        )
        spoiled = {"shake": "car: tyre shake", "pedal": "driver: pedalled", "lift": "driver: throttle lift"}
        runs.append(
            Ran(car, track, plan, number, clock, lane, dict(settings), air, motion, stretch, beam, splits, speeds,
                true_to, spoiled.get(plan.event, ""), noise.between(0.08, 0.45))
        )  # fmt: skip
        minute += round(noise.between(*TURNAROUND_MINUTES))
    return RanDay(day, level, drift, tuple(runs))


def run_season() -> tuple[RanDay, ...]:
    sheets = {car.name: car.baseline() for car in CARS}
    return tuple(run_day(day, sheets[day.car]) for day in DAYS)
