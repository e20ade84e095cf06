"""What a car file says of the chassis: read in SI, kept in the logbook, faults named."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from runlog.problems import FileFaults
from runlog.readers.car import read_car
from runlog.records import Driveshaft, RearSuspension
from runlog.store import facts
from runlog.store.connection import create_logbook

if TYPE_CHECKING:
    from pathlib import Path

HEAD = """
[car]
name = "gull"
race_weight = "820 kg"
wheelbase = "2.5 m"
power = "600 hp"
tyre_circumference = "2.5 m"
final_drive = 4.1
"""
MORE = """
front_track = "60 in"
rear_track = "1.4 m"
loaded_tyre_radius = "40 cm"
minimum_weight = "1000 lb"
[car.rear_suspension]
layout = "torque arm"
pivot_x = "50 in"
pivot_z = "14 in"
slide_deg = 3
[car.driveshaft]
length = "48 in"
front_higher_by = "-10 mm"
transmission_deg = 2.5
[[car.adjustable]]
name = "ballast rear"
x = "-12 in"
y = "2 in"
z = "16 in"
"""


def test_chassis_entries_are_read_in_si() -> None:
    """Hand conversion: 1 in = 0.0254 m, 1 lb = 0.45359237 kg."""
    car = read_car((HEAD + MORE).encode(), "gull.toml")
    assert (car.front_track, car.rear_track) == (pytest.approx(1.524), 1.4)
    assert car.loaded_tyre_radius == pytest.approx(0.4)
    assert car.minimum_mass == pytest.approx(453.59237)
    assert car.rear_suspension == RearSuspension("torque arm", pytest.approx(1.27), pytest.approx(0.3556), 3.0)
    assert car.driveshaft == Driveshaft(pytest.approx(1.2192), pytest.approx(-0.01), 2.5)
    ballast = car.adjustable("ballast rear")
    assert ballast is not None
    assert (ballast.x, ballast.y, ballast.z) == pytest.approx((-0.3048, 0.0508, 0.4064))


def test_a_car_file_without_them_stays_good() -> None:
    car = read_car(HEAD.encode(), "gull.toml")
    assert car.rear_suspension is None
    assert car.driveshaft is None
    assert car.front_track is None


@pytest.mark.parametrize("text", [HEAD, HEAD + MORE])
def test_logbook_keeps_them(text: str, tmp_path: Path) -> None:
    car = read_car(text.encode(), "gull.toml")
    book = create_logbook(tmp_path / "book.duckdb")
    try:
        facts.save_car(book, 1, car)
        assert facts.cars(book)["gull"] == car
    finally:
        book.close()


@pytest.mark.parametrize(
    ("text", "place", "message"),
    [
        (
            '[car.rear_suspension]\nlayout = "ladder bar"\n',
            "car.rear_suspension",
            "pivot_x and pivot_z for a ladder bar",
        ),
        ('[car.rear_suspension]\nlayout = "wishbone"\n', "car.rear_suspension.layout", "'four-link', 'ladder bar'"),
        (
            '[car.driveshaft]\nlength = "1 m"\nfront_higher_by = "1.2 m"\n',
            "car.driveshaft",
            "less than the driveshaft's",
        ),
        ('front_track = "60"\n', "car.front_track", "a length with its unit"),
        ('rear_track = "0 in"\n', "car.rear_track", "more than nothing"),
        ('[[car.adjustable]]\nname = "ballast rear"\nx = "12 lb"\n', "car.adjustable.0.x", "a length with its unit"),
    ],
)
def test_faults_are_named(text: str, place: str, message: str) -> None:
    with pytest.raises(FileFaults) as caught:
        read_car((HEAD + text).encode(), "gull.toml")
    assert f"key {place}" in str(caught.value)
    assert message in str(caught.value)


def test_wheelie_bars():
    """By hand: 60 in is 1.524 m; 250 lbf/in is 250 × 4.4482216 N over 0.0254 m."""
    text = HEAD + '[car.wheelie_bars]\nlength = "60 in"\nstiffness = "250 lb/in"\n'
    found = read_car(text.encode(), "gull.toml").wheelie_bars
    assert found is not None
    assert found.length == pytest.approx(1.524)
    assert found.stiffness == pytest.approx(43781.7, rel=1e-5)
    without = read_car((HEAD + '[car.wheelie_bars]\nlength = "60 in"\n').encode(), "gull.toml").wheelie_bars
    assert without is not None
    assert without.stiffness is None
    assert read_car(HEAD.encode(), "gull.toml").wheelie_bars is None
