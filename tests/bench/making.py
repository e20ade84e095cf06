"""Files of an invented shop to measure with: cars, a track, slips, sheets, air and logger files.

Everything is made from a seed and plain arithmetic, so that two runs of a bench read the same bytes. Heavy libraries
stay out: the peak memory that is reported for a child process can't be told below that of its parent.
"""

from __future__ import annotations

import datetime as dt
import math
import random
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

FOOT = 0.3048  # m, exact
TOP_SPEED, TAU = 82.0, 5.2  # m/s, s: the run is v = TOP_SPEED (1 - exp(-t / TAU))
CIRCUMFERENCE, FINAL_DRIVE, LOW_GEAR = 2.55, 4.1, 1.8  # m, -, -
ROLLOUT = 9 * 0.0254  # m, as the track file says
RUNS_A_DAY = 10
SETTINGS = tuple(f"setting {letter}" for letter in "abcdefghijklmno")
SLIP_HEADER = (
    "car,date,time,track,run,lane,purpose,reaction_s,t60_s,t330_s,t660_s,v660_mph,t1000_s,t1320_s,v1320_mph,"
    "true_to_ft,spoiled,note\n"
)
TRACK = '[track]\nname = "millrace"\nelevation = "120 m"\nheading_deg = 80\nfinish_ft = 1320\nrollout = "9 in"\n'


def car_file(name: str, adjustables: int = 10) -> str:
    """Return a car file with so many adjustables."""
    head = (
        f'[car]\nname = "{name}"\nrace_weight = "2650 lb"\nwheelbase = "105 in"\n'
        'power = "820 hp"\npower_at = "engine"\n'
        f'aspiration = "natural"\ntyre_circumference = "{CIRCUMFERENCE} m"\nfinal_drive = {FINAL_DRIVE}\n'
        f"gear_ratios = [{LOW_GEAR}, 1.0]\n"
        '[car.limits.engine_speed]\nhigh = "8500 rpm"\n[car.limits.oil_pressure]\nlow = "30 psi"\n'
    )
    return head + "".join(
        f'[[car.adjustable]]\nname = "{item}"\nunit = "psi"\nstep = 0.5\nlow = 0\nhigh = 20\n'
        for item in SETTINGS[:adjustables]
    )


def keys(car: str, runs: int) -> list[tuple[str, dt.date, int]]:
    """Return the keys of a car's first runs, ten a day, a week between days."""
    first = dt.date(2031, 3, 1)
    return [
        (car, first + dt.timedelta(days=7 * (n // RUNS_A_DAY)), n % RUNS_A_DAY + 1)
        for n in range(runs)
    ]  # fmt: skip


def _clock(number: int) -> str:
    return f"{9 + number // 2:02d}:{30 * (number % 2):02d}"


def moving(distance: float) -> float:
    """Return the time [s] from the first movement to a distance [m], by bisection of the position in closed form."""
    low, high = 0.0, 30.0
    while high - low > 1e-7:
        middle = (low + high) / 2
        position = TOP_SPEED * (middle - TAU * (1 - math.exp(-middle / TAU)))
        low, high = (middle, high) if position < distance else (low, middle)
    return low


def split(feet: int) -> float:
    """Return the time [s] from the start beam, which the car leaves after the rollout, to a distance."""
    return moving(ROLLOUT + feet * FOOT) - moving(ROLLOUT)


def slips(car: str, runs: int) -> str:
    """Return a car's slips: the same run each time, with noise on each increment."""
    noise = random.Random(f"slips {car}")
    clean = [split(feet) for feet in (60, 330, 660, 1000, 1320)]
    traps = [TOP_SPEED * (1 - math.exp(-moving(ROLLOUT + feet * FOOT) / TAU)) / 0.44704 for feet in (660, 1320)]  # mph
    lines = [SLIP_HEADER]
    for n, (_, date, number) in enumerate(keys(car, runs)):
        late, times = 0.0, []
        for time in clean:
            late += noise.gauss(0.0, 0.008)
            times.append(f"{time + late:.3f}")
        speeds = [f"{trap + noise.gauss(0, 0.3):.2f}" for trap in traps]
        lane = ("left", "right")[n % 2]
        cells = [car, date, _clock(number), "millrace", number, lane, "full", f"{noise.uniform(0.1, 0.4):.3f}"]
        cells += [*times[:3], speeds[0], *times[3:], speeds[1], "", "", ""]
        lines.append(",".join(map(str, cells)) + "\n")
    return "".join(lines)


def sheets(car: str, runs: int, adjustables: int = 10) -> str:
    """Return a full baseline and, for every other run, one setting changed or brought back."""
    lines = ["car,date,run,sheet,item,value,unit\n"]
    lines += [f"{car},,,full,{item},10,psi\n" for item in SETTINGS[:adjustables]]
    for n, (_, date, number) in enumerate(keys(car, runs)):
        if n and n % 2 == 0:
            change = n // 2
            value = 10 + 0.5 * (change // adjustables % 2 == 0)
            lines.append(f"{car},{date},{number},,{SETTINGS[change % adjustables]},{value},psi\n")
    return "".join(lines)


def air(runs: int) -> str:
    """Return half-hourly readings for every day on which cars with so many runs were out."""
    noise = random.Random("air")
    lines = ["time,temperature_F,relative_humidity_pct,station_pressure_inHg,wind_speed_mph,wind_from_deg\n"]
    for date in sorted({date for _, date, _ in keys("any", runs)}):
        for half in range(18, 30):
            fahrenheit = 62 + 1.2 * (half - 18) + noise.gauss(0, 0.3)
            pressure = 29.6 + noise.gauss(0, 0.01)
            lines.append(f"{date}T{half // 2:02d}:{30 * (half % 2):02d},{fahrenheit:.1f},55,{pressure:.2f},3,230\n")
    return "".join(lines)


def log(seed: str, channels: int = 12, samples: int = 1500) -> str:
    """Return a logger file: eight channels that the trace analysis uses, the others drifting under names of their own.

    Fifteen seconds: three before the launch, then the run and the coasting after the finish.
    """
    noise = random.Random(f"log {seed}")
    names = [
        "Engine speed (rpm)", "Driveshaft speed (rpm)", "Longitudinal acceleration (g)", "Throttle position (%)",
        "Launch switch", "Oil pressure (psi)", "Coolant temperature (degF)", "Battery voltage (V)",
    ]  # fmt: skip
    others = [f"Sensor {n}" for n in range(channels - len(names))]
    levels = [noise.uniform(5, 500) for _ in others]
    lines = [",".join(["Time (s)", *names, *others]) + "\n"]
    finish, step = moving(ROLLOUT + 1320 * FOOT) + 0.3, 15.0 / samples
    for n in range(samples):
        time = n * step
        t = min(max(time - 3.0, 0.0), finish)
        speed, pull = TOP_SPEED * (1 - math.exp(-t / TAU)), TOP_SPEED / TAU * math.exp(-t / TAU)
        running, coasting = time > 3.0, time > 3.0 + finish
        shaft = speed / CIRCUMFERENCE * 60 * FINAL_DRIVE
        engine = max(4200.0, shaft * (LOW_GEAR if speed < 39 else 1.0)) if time > 1.5 else 1400.0
        g = (-0.2 if coasting else pull / 9.80665) if running else 0.0
        cells = [
            f"{time:.4f}", f"{engine + noise.gauss(0, 12):.0f}", f"{max(0.0, shaft + noise.gauss(0, 5)):.0f}",
            f"{g + noise.gauss(0, 0.02):.3f}", "0.3" if coasting or time < 1.0 else "99.8", f"{1.0 < time < 3.0:d}",
            f"{60 + noise.gauss(0, 1):.1f}", f"{165 + time / 2:.1f}", f"{13.7 + noise.gauss(0, 0.03):.2f}",
        ]  # fmt: skip
        cells += [f"{level + noise.gauss(0, 0.5):.2f}" for level in levels]
        lines.append(",".join(cells) + "\n")
    return "".join(lines)


def shop(folder: Path, runs_of: dict[str, int], adjustables: int = 10) -> Path:
    """Write everything but logger files for cars with so many runs each; return the folder."""
    folder.mkdir()
    (folder / "millrace.toml").write_text(TRACK)
    (folder / "air.csv").write_text(air(max(runs_of.values())))
    for car, runs in runs_of.items():
        (folder / f"{car}.toml").write_text(car_file(car, adjustables))
        (folder / f"{car}_slips.csv").write_text(slips(car, runs))
        (folder / f"{car}_sheets.csv").write_text(sheets(car, runs, adjustables))
    return folder
