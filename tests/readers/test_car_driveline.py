"""Powertrain and tyre entries of a car file."""

from __future__ import annotations

import numpy as np
import pytest

from runlog.problems import FileFaults
from runlog.readers.car import read_car

BASE = """[car]
name = "egret"
race_weight = "2600 lb"
wheelbase = "105 in"
power = "800 hp"
tyre_circumference = "100 in"
final_drive = 4.1
gear_ratios = [2.6, 1.8, 1.0]
"""
# exact definitions: 1 rpm = π/30 rad/s, 1 hp = 550 ft·lbf/s, 1 mph = 0.44704 m/s, 1 in = 0.0254 m
RPM, HORSEPOWER, MPH = np.pi / 30, 550 * 0.3048 * 0.45359237 * 9.80665, 0.44704


def read(*lines: str):
    return read_car("\n".join([BASE, *lines]).encode(), "egret.toml")


def test_what_is_left_out_is_not_made_up() -> None:
    car = read()
    assert car.powertrain is None
    assert car.tyre is None
    assert read("[car.powertrain]").powertrain.power_curve == ()


def test_quantities_become_si() -> None:
    car = read(
        "[car.powertrain]",
        'power_curve = [["5000 rpm", "650 hp"], ["6000 rpm", "560 kW"], ["7000 rpm", "800 hp"]]',
        'converter_stall = "5200 rpm"',
        'shift_rpm = ["7200 rpm", "7100 rpm"]',
        'shift_time = "40 ms"',
        "efficiency_pct = 88",
        "engine_inertia_kg_m2 = 0.3",
        "[car.tyre]",
        'growth = "2 in"',
        'growth_at = "100 mph"',
        "slip_pct = 4",
        'speed_limit = "180 mph"',
    )
    made = car.powertrain
    assert np.array(made.power_curve) == pytest.approx(
        np.array([[5000 * RPM, 650 * HORSEPOWER], [6000 * RPM, 560e3], [7000 * RPM, 800 * HORSEPOWER]])
    )
    assert made.shift_speeds == pytest.approx((7200 * RPM, 7100 * RPM))
    assert (made.shift_time, made.efficiency, made.engine_inertia) == pytest.approx((0.04, 0.88, 0.3))
    # 2 in of 100 in at 100 mph, a share that goes with the square of speed
    assert car.tyre.growth * (100 * MPH) ** 2 == pytest.approx(0.02)
    assert (car.tyre.slip, car.tyre.speed_limit) == pytest.approx((0.04, 180 * MPH))


def test_one_shift_speed_stands_for_all() -> None:
    assert read("[car.powertrain]", 'shift_rpm = "7200 rpm"').powertrain.shift_speeds == pytest.approx((7200 * RPM,))


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (('power_curve = [["5000 rpm", "650 hp"]]',), "three or more points in power_curve"),
        (
            ('power_curve = [["5000 rpm", "1 hp"], ["5000 rpm", "2 hp"], ["6000 rpm", "3 hp"]]',),
            "each at a higher engine speed than the one before",
        ),
        (('power_curve = [["5000", "650 hp"]]',), "an angular speed with its unit"),
        (
            ('converter_stall = "5200 rpm"', 'clutch_release = "6000 rpm"'),
            "converter_stall or clutch_release, not both",
        ),
        (('shift_rpm = ["7200 rpm"]',), "one shift_rpm for all shifts, or as many as gear_ratios less one"),
        (("efficiency_pct = 0.9",), "greater than 50"),
        (('stall = "5200 rpm"',), "the keys of the published schema"),
    ],
)
def test_faults_are_told_in_the_words_of_the_file(lines: tuple[str, ...], said: str) -> None:
    with pytest.raises(FileFaults, match=r"egret\.toml, key car") as raised:
        read("[car.powertrain]", *lines)
    assert said in str(raised.value)
