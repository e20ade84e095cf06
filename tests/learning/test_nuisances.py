"""Recorded conditions as columns: left out where they tell nothing, in the middle where they weren't recorded."""

from __future__ import annotations

import numpy as np
import pytest

from runlog.learning import fit_car
from runlog.learning.nuisances import Coding, code


def columns(recorded):
    return code(recorded).columns(recorded, len(next(iter(recorded.values()))))


def test_two_words_are_half_a_step_either_way():
    found = columns({"lane": ["left", "right", None, "left"]})
    assert found["lane"].tolist() == [-0.5, 0.5, 0.0, -0.5]


def test_more_words_have_a_column_each_and_differ_as_two_do():
    found = columns({"driver": ["Ann", "Bo", "Cy", None]})
    assert list(found) == ["driver Ann", "driver Bo", "driver Cy"]
    rows = np.array(list(found.values())).T
    assert rows[3].tolist() == [0, 0, 0]
    # prior variance of a difference of two drivers, in units of a nuisance's: |row − row|² = 1, as of the two of a pair
    assert [((a - b) ** 2).sum() for a, b in ((rows[0], rows[1]), (rows[0], rows[2]))] == pytest.approx([1.0, 1.0])


def test_numbers_are_counted_in_their_usual_step_from_the_middle():
    found = columns({"surface temperature": [300.0, 310.0, None, 320.0], "humidity": [1.0, 3.0, 1.0, 3.0]})
    assert found["surface temperature"].tolist() == [-1.0, 0.0, 0.0, 1.0]
    assert found["humidity"].tolist() == [-1.0, 1.0, -1.0, 1.0]  # of another one its spread is the step


def test_what_was_not_recorded_or_never_changed_has_no_column():
    recorded = {"lane": ["left", "left", None], "driver": [None] * 3, "tyre age": [4.0, 4.0, np.nan], "fuel": [1.0] * 3}
    assert columns(recorded) == {}
    assert Coding((), ()).columns({"lane": ["left"]}, 1) == {}


def test_a_run_to_come_is_coded_as_the_others_were():
    coding = code({"tyre age": [0.0, 10.0, 20.0], "lane": ["left", "right", "left"]})
    found = coding.columns({"tyre age": [25.0], "lane": ["middle"], "driver": ["Di"]}, 1)
    assert {name: values.tolist() for name, values in found.items()} == {"tyre age": [1.5], "lane": [0.0]}


def test_old_tyres_are_not_blamed_on_the_change(garage):
    """Truth by construction: 10 ms slower with every ten runs of the tyres, nothing by the setting, left at the end."""
    x = np.r_[np.zeros(12), np.ones(12)][:, None]
    age = np.r_[np.arange(12.0), np.arange(12.0)] + np.r_[np.zeros(12), np.full(12, 6.0)]
    times = garage.runs(x, seed=8).times + 0.010 * age[:, None] / 10
    day = np.arange(24) // 6
    told = columns({"tyre age": list(age)})
    fit = fit_car(garage.runs(x, times=times, day=day, nuisances=told), garage.levers(1))
    without = fit_car(garage.runs(x, times=times, day=day), garage.levers(1))
    for aware, blind in zip(fit.effects[:5], without.effects[:5], strict=True):
        assert aware.mean_s < blind.mean_s
