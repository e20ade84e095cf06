"""Release, first motion and beam clear told apart, and 60 ft timed on the ground, against a run in closed form.

The closed form of the run: R. Stephenson, Am. J. Phys. 50 (1982) 1150 (``conftest.TrueRun``).
"""

from __future__ import annotations

import numpy as np
import pytest

from runlog.constants import FOOT
from runlog.records import Samples
from runlog.signals.analysis import analyse
from runlog.signals.calibration import ground_opinion, prior

RATES = {"acceleration_x": 200.0, "driveshaft_speed": 200.0, "launch_switch": 200.0}


def ground(found):
    assert found.basis is not None
    made = ground_opinion(found.basis, prior())
    assert made is not None
    return made


def test_the_instants_of_a_launch_stand_in_their_order(true_run, vary):
    run = vary(true_run, rates=RATES)
    samples = run.samples()
    switch, shaft = samples["launch_switch"], samples["driveshaft_speed"]
    samples["launch_switch"] = Samples(switch.time - 0.06, switch.values)
    wrap = 12.0 * np.clip((shaft.time - (run.launch - 0.05)) / 0.05, 0.0, 1.0)  # turns before the car moves
    samples["driveshaft_speed"] = Samples(shaft.time, np.maximum(shaft.values, wrap))
    found = analyse(samples, run.setting)
    assert found.launch_time == pytest.approx(run.launch, abs=0.02)
    assert found.release_time == pytest.approx(-0.06, abs=0.02)
    assert found.shaft_time is not None
    assert found.shaft_time == pytest.approx(-0.05, abs=0.02)
    assert found.beam_time == pytest.approx(run.time_to(run.rollout), abs=0.02)
    names = [event.name for event in found.events if event.name in ("release", "shaft turns", "launch", "beam clear")]
    assert names == ["release", "shaft turns", "launch", "beam clear"]


def test_sixty_feet_of_ground_from_first_motion(true_run, vary):
    run = vary(true_run, rates=RATES, noise={"acceleration_x": 0.3})
    found = analyse(run.samples(), run.setting)
    time, sd = ground(found)
    assert abs(time - run.time_to(60 * FOOT)) < 3 * sd
    assert sd < 0.03
    assert time > found.splits[60][0] + 0.05  # the clock starts later than the car


def test_staging_moves_the_clock_and_not_the_ground(true_run, vary):
    """The same run with its beam 5 cm further on: the slip gains what the car passes quicker, the ground nothing."""
    shallow = vary(true_run, rates=RATES, rollout=true_run.rollout + 0.05)
    deep = vary(true_run, rates=RATES)
    gain = deep.splits()[60] - shallow.splits()[60]
    assert gain > 0.01
    clock = [analyse(run.samples(), run.setting) for run in (deep, shallow)]
    assert clock[0].splits[60][0] - clock[1].splits[60][0] == pytest.approx(gain, abs=0.002)
    assert ground(clock[0])[0] == pytest.approx(ground(clock[1])[0], abs=1e-6)


def test_a_car_that_never_covers_60_ft_has_no_such_time(true_run, vary):
    run = vary(true_run, rates=RATES, length=12.9)
    found = analyse(run.samples(), run.setting)
    assert found.basis is None or found.basis.ground_time is None
