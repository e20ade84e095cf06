"""A small season in a folder: one car, one track, two days, air, sheets and two logs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from runlog.store.connection import Logbook, create_logbook

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

CAR = """[car]
name = "teal"
race_weight = "2600 lb"
wheelbase = "105 in"
power = "800 hp"
tyre_circumference = "100 in"
final_drive = 4.1
[[car.adjustable]]
name = "launch rpm"
[[car.adjustable]]
name = "rear tyre pressure"
"""
TRACK = '[track]\nname = "lowfield"\nelevation = "34 m"\nheading_deg = 85\nrollout = "11 in"\n'
BASELINE = "car,sheet,item,value,unit\nteal,full,launch rpm,4200,rpm\nteal,full,rear tyre pressure,7,psi\n"
CHANGES = "car,date,run,item,value,unit\nteal,2031-04-12,2,launch rpm,4400,rpm\nteal,2031-04-13,1,launch rpm,4200,rpm\n"
SLIPS = (
    "car,date,time,track,run,lane,purpose,t60_s,t330_s,t660_s,t1000_s,t1320_s,v1320_mph,spoiled\n"
    "teal,2031-04-12,10:20,lowfield,1,left,60,1.412,,,,,,\n"
    "teal,2031-04-12,11:17,lowfield,2,left,full,1.42,3.85,5.87,7.61,9.07,155.5,\n"
    "teal,2031-04-12,12:20,lowfield,3,right,full,1.44,3.87,5.90,7.64,9.11,155.0,\n"
)
SLIPS_2 = SLIPS.splitlines()[0] + "\nteal,2031-04-13,10:30,lowfield,1,left,full,1.41,3.84,5.86,7.60,9.05,156.0,\n"
AIR_HEADER = "time,temperature_F,relative_humidity_pct,station_pressure_inHg,wind_speed_mph,wind_from_deg\n"
AIR = f"{AIR_HEADER}2031-04-12T10:00,61,56,29.89,4,257\n2031-04-12T12:00,64,53,29.87,3,250\n"
AIR_2 = f"{AIR_HEADER}2031-04-13T10:00,71,40,29.70,0,0\n"


def log(launch: float = 1.0, rate: int = 50) -> str:
    """Return a logger file: at rest, then 12 m/s² falling off with speed, for nine seconds."""
    lines = ["Time (s),Engine RPM,Driveshaft RPM,Accel X (g)"]
    speed = 0.0
    for n in range(rate * 10):
        time = n / rate
        pull = 12.0 * (1 - speed / 90) if time >= launch else 0.0
        speed += pull / rate
        shaft = speed / 2.54 * 60 * 4.1
        lines.append(f"{time:.3f},{max(4200.0, shaft * 1.2):.0f},{shaft:.0f},{pull / 9.80665:.3f}")
    return "\n".join(lines) + "\n"


FILES = {
    "teal.toml": CAR,
    "lowfield.toml": TRACK,
    "baseline.csv": BASELINE,
    "changes.csv": CHANGES,
    "slips.csv": SLIPS,
    "slips_2.csv": SLIPS_2,
    "air.csv": AIR,
    "air_2.csv": AIR_2,
    "teal_2031-04-12_2.csv": log(),
    "teal_2031-04-12_3.csv": log(1.5),
}


def _written(folder: Path) -> Path:
    folder.mkdir()
    for name, text in FILES.items():
        (folder / name).write_text(text, "utf-8")
    return folder


@pytest.fixture
def files(tmp_path: Path) -> Path:
    """The folder of the small season."""
    return _written(tmp_path / "files")


@pytest.fixture(scope="module")
def files_to_read(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same for all tests of a file, which leave it as it is."""
    return _written(tmp_path_factory.mktemp("season") / "files")


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    """An empty logbook."""
    with create_logbook(tmp_path / "shop.duckdb") as opened:
        yield opened
