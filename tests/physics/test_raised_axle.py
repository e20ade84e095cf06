"""Height of the centre of gravity against a textbook's formula, exact geometry and ordinary least squares."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.stats
import statsmodels.api
from hypothesis import given
from hypothesis import strategies as st

from runlog.constants import STANDARD_GRAVITY
from runlog.physics.raised_axle import HeightFit, RaisedAxle, combine_ends, height_from_raised_axle

# R. N. Jazar, Vehicle Dynamics (Springer 2008) eq. 2.32, derived anew: W 14000 N, L 2.6 m, centre of gravity midway,
# the rear on the scale, tan φ 0.2, R 0.30 m, load gain 269.2308 N. The example printed on p. 44 is wrong: not used.
_W, _L, _TAN, _GAIN = 14000.0, 2.6, 0.2, 269.23076923
_LIFT = _L * _TAN / math.sqrt(1.0 + _TAN**2)
TEXTBOOK = RaisedAxle(
    raised="front",
    total=_W / STANDARD_GRAVITY,
    wheelbase=_L,
    front_radius=0.30,
    rear_radius=0.30,
    lifts=(0.0, _LIFT),
    loads=(0.5 * _W / STANDARD_GRAVITY, (0.5 * _W + _GAIN) / STANDARD_GRAVITY),
)


def test_textbook_formula() -> None:
    assert pytest.approx(0.50990, abs=1e-5) == _LIFT
    fit = height_from_raised_axle(TEXTBOOK)
    assert fit.height == pytest.approx(0.550, abs=1e-6)
    assert fit.x == pytest.approx(1.3, abs=1e-9)


def test_lift_over_wheelbase_is_not_the_tangent() -> None:
    """The wrong tangent H/L gives 0.55495 m, by hand from the same formula; ours must not."""
    wrong = 0.30 + (_GAIN * _L / _W) / (_LIFT / _L)
    assert wrong == pytest.approx(0.55495, abs=1e-5)
    assert abs(height_from_raised_axle(TEXTBOOK).height - wrong) > 0.004


def _load_on_scales(weighing: RaisedAxle, lift: float, x: float, height: float) -> float:
    """Turn the car as a rigid body and take moments about the raised wheels: no tangent formula.

    Complex numbers as points of the side view, forward and up; every tyre stands plumb under its wheel centre.
    """
    rear, front = complex(0.0, weighing.rear_radius), complex(weighing.wheelbase, weighing.front_radius)
    between = front - rear
    rise = between.imag + (lift if weighing.raised == "front" else -lift)
    turned = complex(math.sqrt(abs(between) ** 2 - rise**2), rise)
    centre = (complex(x, height) - rear) * turned / between
    front_load = weighing.total * centre.real / turned.real
    return weighing.total - front_load if weighing.raised == "front" else front_load


def _weighing(raised: str, lifts: tuple[float, ...], x: float, height: float, radii: tuple[float, float]) -> RaisedAxle:
    level = RaisedAxle(raised, 1200.0, 2.6, radii[0], radii[1], lifts, tuple(600.0 for _ in lifts))
    return replace(level, loads=tuple(_load_on_scales(level, lift, x, height) for lift in lifts))


@given(
    st.sampled_from(["front", "rear"]),
    st.floats(min_value=0.9, max_value=1.7),
    st.floats(min_value=0.35, max_value=0.8),
    st.floats(min_value=0.25, max_value=0.34),
    st.floats(min_value=0.30, max_value=0.45),
)
def test_exact_geometry_is_recovered(raised: str, x: float, height: float, front: float, rear: float) -> None:
    """Small front tyres and tall rear ones tilt the line of the wheel centres before anything is raised."""
    fit = height_from_raised_axle(_weighing(raised, (0.0, 0.2, 0.4, 0.6), x, height, (front, rear)))
    assert fit.height == pytest.approx(height, abs=1e-9)
    assert fit.x == pytest.approx(x, abs=1e-9)
    assert fit.cautions == ()


def test_a_higher_centre_of_gravity_loads_the_scales_more() -> None:
    for raised in ("front", "rear"):
        low, high = (_weighing(raised, (0.0, 0.3, 0.6), 1.3, height, (0.3, 0.4)) for height in (0.4, 0.6))
        assert high.loads[-1] - high.loads[0] > low.loads[-1] - low.loads[0] > 0.0


def test_uncertainty_is_that_of_ordinary_least_squares() -> None:
    """Noise on the loads, equal tyres: u(h) = (L/W) · standard error of the slope, by statsmodels and by scipy."""
    rng = np.random.default_rng(11)
    lifts = (0.0, 0.15, 0.3, 0.45, 0.6)
    exact = _weighing("front", lifts, 1.35, 0.52, (0.33, 0.33))
    noisy = replace(exact, loads=tuple(np.array(exact.loads) + rng.normal(0.0, 0.8, len(lifts))))
    fit = height_from_raised_axle(noisy)
    tangent = np.array([lift / math.sqrt(2.6**2 - lift**2) for lift in lifts])
    ols = statsmodels.api.OLS(np.array(noisy.loads), statsmodels.api.add_constant(tangent)).fit()
    line = scipy.stats.linregress(tangent, noisy.loads)
    assert fit.height == pytest.approx(0.33 + ols.params[1] * 2.6 / 1200.0, rel=1e-9)
    assert fit.standard_uncertainty == pytest.approx(ols.bse[1] * 2.6 / 1200.0, rel=1e-6)
    assert fit.standard_uncertainty == pytest.approx(line.stderr * 2.6 / 1200.0, rel=1e-6)
    assert fit.residuals == pytest.approx(ols.resid, abs=1e-9)
    assert fit.degrees_of_freedom == ols.df_resid == 3


def _spread(measured: list[RaisedAxle]) -> float:
    return float(np.std([height_from_raised_axle(one).height for one in measured]))


def test_uncertainty_from_the_display_matches_simulated_rounding() -> None:
    """Monte Carlo (JCGM 101): four pads shown in whole kilograms; two lifts, so no scatter can be seen."""
    rng = np.random.default_rng(12)
    exact = replace(_weighing("front", (0.0, 0.6), 1.35, 0.52, (0.33, 0.33)), resolution=1.0)

    def shown() -> RaisedAxle:
        off = rng.uniform(-0.5, 0.5, (3, 4)).sum(axis=1)
        loads = np.array(exact.loads) + rng.uniform(-0.5, 0.5, (2, 2)).sum(axis=1)
        return replace(exact, total=exact.total + off[2], loads=tuple(loads))

    claimed = height_from_raised_axle(exact).standard_uncertainty
    assert _spread([shown() for _ in range(1500)]) == pytest.approx(claimed, rel=0.05)


def test_uncertainty_from_the_display_by_hand() -> None:
    """Equal tyres, two lifts: h = R + (W₂ − W₁) L/(W tan φ); a load counts L/(W tan φ), the total (h − R)/W."""
    exact = replace(_weighing("front", (0.0, 0.6), 1.35, 0.52, (0.33, 0.33)), resolution=1.0)
    for_load = 2.6 / (1200.0 * 0.6 / math.sqrt(2.6**2 - 0.6**2))
    by_hand = math.sqrt(2 * for_load**2 / 6 + ((0.52 - 0.33) / 1200.0) ** 2 / 3)
    assert height_from_raised_axle(exact).standard_uncertainty == pytest.approx(by_hand, rel=1e-6)


def test_uncertainty_from_the_lift_and_the_radii_matches_simulation() -> None:
    """Monte Carlo (JCGM 101): 5 mm on each lift, 3 mm on both radii."""
    rng = np.random.default_rng(13)
    exact = replace(_weighing("rear", (0.0, 0.5), 1.2, 0.55, (0.31, 0.40)), lift_sd=0.005, radius_sd=0.003)

    def measured() -> RaisedAxle:
        lifts, radius = (0.0, 0.5 + rng.normal(0.0, 0.005)), rng.normal(0.0, 0.003)
        return replace(exact, lifts=lifts, front_radius=0.31 + radius, rear_radius=0.40 + radius)

    claimed = height_from_raised_axle(exact).standard_uncertainty
    assert _spread([measured() for _ in range(1500)]) == pytest.approx(claimed, rel=0.05)


def test_lifting_higher_tells_more() -> None:
    low, high = (
        replace(_weighing("front", lifts, 1.3, 0.5, (0.3, 0.3)), resolution=0.5) for lifts in ((0.0, 0.2), (0.0, 0.6))
    )
    assert height_from_raised_axle(high).standard_uncertainty < height_from_raised_axle(low).standard_uncertainty / 2


def test_fewer_steps_than_the_standard_asks_for_are_named() -> None:
    """ISO 10392:2011 § 6.2: three or more."""
    fit = height_from_raised_axle(_weighing("front", (0.0, 0.5), 1.3, 0.5, (0.3, 0.3)))
    assert fit.cautions == ("1 lift step where ISO 10392 asks for 3 or more",)
    assert fit.degrees_of_freedom == 0


def test_both_ends_combine_by_their_uncertainty() -> None:
    """Weighted mean by hand: weights 1/1 and 1/4 → (4 · 0.50 + 0.505)/5; u = 1·2/√5 mm."""
    one = HeightFit(0.500, 0.001, 1.3, 3, (0.1,))
    other = HeightFit(0.503, 0.002, 1.4, 2, (0.2,))
    both = combine_ends(one, other)
    assert both.height == pytest.approx((4 * 0.500 + 0.503) / 5, rel=1e-12)
    assert both.standard_uncertainty == pytest.approx(0.002 / math.sqrt(5), rel=1e-12)
    assert both.cautions == ()
    assert combine_ends(other, one).height == pytest.approx(both.height, rel=1e-12)


def test_ends_that_disagree_are_not_averaged_into_confidence() -> None:
    one, other = HeightFit(0.500, 0.001, 1.3, 3, ()), HeightFit(0.520, 0.002, 1.3, 3, ())
    both = combine_ends(one, other)
    assert both.height == pytest.approx(0.510)
    assert both.standard_uncertainty == pytest.approx(0.010)
    assert both.cautions == ("the two ends differ by 20 mm, more than their uncertainties explain",)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"raised": "left"}, "raised axle 'left' can't be"),
        ({"lifts": (0.0, 0.0)}, "at least two different lifts"),
        ({"lifts": (0.0, 0.3, 0.5)}, "3 lifts and 2 loads"),
        ({"lifts": (0.0, 2.5)}, "lift 2.5 m can't be"),
        ({"lifts": (0.0, -0.1)}, "lift -0.1 m can't be"),
        ({"loads": (700.0, 1500.0)}, "1500 kg on one axle can't be"),
        ({"wheelbase": 0.0}, "wheelbase 0 can't be"),
        ({"lift_sd": -0.1}, "zero or more"),
    ],
)
def test_weighings_that_cannot_be_are_refused(changed: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        replace(TEXTBOOK, **changed)


def test_the_wrong_axle_is_noticed() -> None:
    loads = tuple(TEXTBOOK.total - load - 40.0 * i for i, load in enumerate(TEXTBOOK.loads))
    with pytest.raises(ValueError, match="check that the front axle was the raised one"):
        height_from_raised_axle(replace(TEXTBOOK, loads=loads))
