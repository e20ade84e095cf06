"""Calibration of forecasts: the transform, its histogram and coverage against worked cases and a statistics library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from runlog.workflows.ahead.scores import Outcome, at_most, histogram, score


def test_transform_by_hand():
    """Tables of the normal distribution: Φ(−1) = 0.1587, Φ(0) = 0.5, Φ(1.645) = 0.95, Φ(−0.6745) = 0.25."""
    foretold = {"mean": 9.0, "sd": 0.1}
    for time, expected in ((8.9, 0.1587), (9.0, 0.5), (9.1645, 0.95), (8.93255, 0.25)):
        assert Outcome(time, **foretold).pit == pytest.approx(expected, abs=1e-4)


def test_record_by_hand():
    """Four runs against 9.0 ± 0.1 s, worked by hand.

    z = −1, 0, +1.2, +2: transforms 0.159, 0.5, 0.885, 0.977, so tenths 1, 5, 8 and 9. Within 0.674 sd: one; within
    1.645 sd: three. Errors −0.1, 0, 0.12, 0.2: mean 0.055, mean square (0.01 + 0 + 0.0144 + 0.04)/4 = 0.0161.
    """
    found = score([Outcome(time, 9.0, 0.1) for time in (8.9, 9.0, 9.12, 9.2)])
    assert found.histogram == (0, 1, 0, 0, 0, 1, 0, 0, 1, 1)
    assert (found.count, found.inside50, found.inside90) == (4, 1, 3)
    assert found.mean_error == pytest.approx(0.055)
    assert found.rms_error == pytest.approx(0.0161**0.5)
    assert found.words == ("too few to judge: 10 are needed",)


def test_histogram_holds_both_ends():
    assert histogram([0.0, 0.1, 0.999, 1.0]) == (1, 1, 0, 0, 0, 0, 0, 0, 0, 2)


@pytest.mark.parametrize("n", [1, 10, 50])
@pytest.mark.parametrize("chance", [0.5, 0.9])
def test_binomial_against_scipy(n, chance):
    for count in range(-1, n + 2):
        assert at_most(count, n, chance) == pytest.approx(stats.binom.cdf(count, n, chance), abs=1e-12)


def simulated(scale: float, shift: float = 0.0, n: int = 200) -> list[Outcome]:
    """Runs whose true spread is ``scale`` times the foretold one and which are off by ``shift`` sd."""
    z = stats.norm.ppf((np.arange(n) + 0.5) / n)
    return [Outcome(9.0 + 0.1 * (shift + scale * float(value)), 9.0, 0.1) for value in z]


def test_right_forecasts_are_called_right_and_fill_all_tenths():
    """Dawid (1984): the transforms of right forecasts are uniform."""
    found = score(simulated(1.0))
    assert found.words == ("as many inside as claimed",)
    assert set(found.histogram) == {20}
    assert (found.inside50, found.inside90) == (100, 180)


def test_forecasts_that_were_too_sure_or_too_careful_are_called_so():
    """Gneiting et al. (2007): U-shaped when the spread was too narrow, hump-shaped when too wide."""
    sure, careful = score(simulated(2.0)), score(simulated(0.5))
    assert "too sure" in sure.words[0]
    assert "too careful" in careful.words[0]
    assert sure.histogram[0] > sure.histogram[4] < sure.histogram[9]
    assert careful.histogram[0] < careful.histogram[4] > careful.histogram[9]


def test_forecasts_that_lean_are_called_so():
    assert "slower than foretold" in score(simulated(1.0, 0.5)).words[-1]
    assert "quicker than foretold" in score(simulated(1.0, -0.5)).words[-1]
    assert len(score(simulated(1.0, 0.05)).words) == 1


def test_nothing_to_score():
    with pytest.raises(ValueError, match="no outcome"):
        score([])
