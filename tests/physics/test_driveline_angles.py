"""Joint angles of the driveshaft in side view, and the unevenness they leave."""

from __future__ import annotations

import math

import numpy as np
import pytest

from runlog.physics.driveline_angles import driveline_angles, driveshaft_inclination


def joint(turned: np.ndarray, angle: float) -> np.ndarray:
    """Kinematics of a universal joint, tan(out) = tan(in)/cos(angle) from the driving fork's plane (memory)."""
    return np.arctan2(np.sin(turned), np.cos(turned) * math.cos(angle))


def test_hand_calculation() -> None:
    """Transmission 3° nose up, shaft 2° down to the rear, pinion nose 1° down to the ground: 1°, 3° and −3°."""
    found = driveline_angles(math.radians(3), math.radians(-1), math.radians(2))
    assert math.degrees(found.front_joint) == pytest.approx(1, abs=1e-12)
    assert math.degrees(found.rear_joint) == pytest.approx(3, abs=1e-12)
    assert math.degrees(found.pinion_to_driveshaft) == pytest.approx(-3, abs=1e-12)


def test_pinion_angle_is_counted_from_the_driveshaft() -> None:
    """Nose down to the shaft is negative, though the same pinion is level with the ground."""
    assert driveline_angles(0.05, 0.0, 0.03).pinion_to_driveshaft < 0
    assert driveline_angles(0.05, 0.0, -0.03).pinion_to_driveshaft > 0
    assert driveline_angles(0.05, 0.03, 0.03).rear_joint == 0.0


def test_inclination_of_the_shaft() -> None:
    """A 3-4-5 triangle: 0.6 m of height over a length of 1.0 m is asin 0.6."""
    assert driveshaft_inclination(1.0, 0.6) == pytest.approx(math.asin(0.6), rel=1e-15)
    assert driveshaft_inclination(1.2, 0.05) > 0 > driveshaft_inclination(1.2, -0.05)


def test_parallel_ends_run_evenly() -> None:
    found = driveline_angles(math.radians(3), math.radians(3), math.radians(1))
    assert found.residual == pytest.approx(0.0, abs=1e-9)


def test_residual_is_the_one_joint_with_the_same_unevenness() -> None:
    """Largest twist between input and output over a turn, by the kinematics with the shaft's forks in line."""
    found = driveline_angles(math.radians(5), math.radians(-1), math.radians(2))
    assert (math.degrees(found.front_joint), math.degrees(found.rear_joint)) == pytest.approx((3, 3))
    uneven = driveline_angles(math.radians(8), math.radians(-1), math.radians(2))
    turn = np.linspace(0, 2 * np.pi, 2001)
    # the second joint is driven a quarter turn on: its fork in line with the first one's other fork
    out = joint(joint(turn, uneven.front_joint) + np.pi / 2, uneven.rear_joint) - np.pi / 2
    twist = np.abs(np.angle(np.exp(1j * (out - turn)))).max()
    one = np.abs(np.angle(np.exp(1j * (joint(turn, uneven.residual) - turn)))).max()
    assert twist == pytest.approx(one, rel=0.01)


def test_bad_input() -> None:
    with pytest.raises(ValueError, match="length 0 m must be above zero"):
        driveshaft_inclination(0.0, 0.0)
    with pytest.raises(ValueError, match=r"1 m long can't differ by 1\.2 m"):
        driveshaft_inclination(1.0, 1.2)
