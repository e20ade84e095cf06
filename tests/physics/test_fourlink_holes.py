"""The table of hole combinations against the geometry of one combination at a time."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from runlog.physics.fourlink import InstantCentre, anti_squat, instant_centre
from runlog.physics.fourlink_travel import sensitivity
from runlog.physics.link_holes import PLACES, Bracket, HoleTable, anti_squat_of, hole_table, links_of

HEIGHT, WHEELBASE, RADIUS = 0.52, 2.67, 0.40
BRACKETS = (
    Bracket((0, 1, 2), ((0.495, 0.376), (0.495, 0.348), (0.495, 0.320))),
    Bracket((0, 1), ((0.038, 0.508), (0.038, 0.533))),
    Bracket((0, 1), ((0.533, 0.218), (0.533, 0.241))),
    Bracket((0, 1), ((0.025, 0.224), (0.025, 0.244))),
)


@pytest.fixture(scope="module")
def table() -> HoleTable:
    return hole_table(BRACKETS, HEIGHT, WHEELBASE, RADIUS)


def test_every_combination_once(table: HoleTable) -> None:
    expected = list(itertools.product((0, 1, 2), (0, 1), (0, 1), (0, 1)))
    assert [tuple(row) for row in table.positions.tolist()] == expected
    assert len(PLACES) == 4


def test_each_row_is_what_one_combination_gives(table: HoleTable) -> None:
    """The one-at-a-time functions are checked against statics and a root finder in their own tests."""
    for n, picked in enumerate(table.positions.tolist()):
        links = links_of([bracket.points[at] for bracket, at in zip(BRACKETS, picked, strict=True)])
        centre = instant_centre(links)
        assert isinstance(centre, InstantCentre)
        assert (table.x[n], table.z[n]) == pytest.approx((centre.x, centre.z), rel=1e-12)
        assert table.anti_squat[n] == pytest.approx(anti_squat(centre, HEIGHT, WHEELBASE), rel=1e-12)
        moved = sensitivity(links, HEIGHT, WHEELBASE, RADIUS)
        assert table.frame_lowered[n] == pytest.approx(moved.frame_lowered, rel=1e-4, abs=1e-4)
        assert table.axle_raised[n] == pytest.approx(moved.axle_raised, rel=1e-4, abs=1e-4)


def test_nearest_anti_squat_first(table: HoleTable) -> None:
    ordered = table.nearest_anti_squat(1.0)
    gaps = np.abs(ordered.anti_squat - 1.0)
    assert np.all(np.diff(gaps) >= -1e-9)
    assert gaps[0] == pytest.approx(np.abs(table.anti_squat - 1.0).min())
    first = links_of([b.points[at] for b, at in zip(BRACKETS, ordered.positions[0].tolist(), strict=True)])
    assert anti_squat_of(first, HEIGHT, WHEELBASE) == pytest.approx(ordered.anti_squat[0], rel=1e-12)


def test_nearest_centre_first(table: HoleTable) -> None:
    ordered = table.nearest_centre((1.2, 0.3))
    away = [math.dist((x, z), (1.2, 0.3)) for x, z in zip(ordered.x, ordered.z, strict=True)]
    assert away == sorted(away)


def test_limits_and_positions_are_kept() -> None:
    """A bracket may offer only some of its holes: their positions in the car file stay with them."""
    allowed = (Bracket((2,), (BRACKETS[0].points[2],)), *BRACKETS[1:3], Bracket((1,), (BRACKETS[3].points[1],)))
    table = hole_table(allowed, HEIGHT, WHEELBASE, RADIUS)
    assert table.positions[:, 0].tolist() == [2] * 4
    assert table.positions[:, 3].tolist() == [1] * 4


def test_parallel_and_impossible_rows_stay_without_nonsense() -> None:
    """Rows: parallel (slope 0.1 → 50 %), in line with the axle, without length, on one line."""
    brackets = (
        Bracket((0, 1, 2, 3), ((0.5, 0.50), (-0.5, 0.95), (0.0, 0.45), (0.5, 0.25))),
        Bracket((0, 1), ((0.0, 0.45), (0.0, 0.20))),
        Bracket((0,), ((0.7, 0.27),)),
        Bracket((0,), ((0.0, 0.20),)),
    )
    table = hole_table(brackets, 0.5, 2.5, RADIUS)
    rows = {tuple(row[:2]): n for n, row in enumerate(table.positions.tolist())}
    parallel, without_length, one_line = rows[0, 0], rows[2, 0], rows[3, 1]
    assert math.isnan(table.x[parallel])
    assert table.anti_squat[parallel] == pytest.approx(0.5, rel=1e-9)
    assert math.isfinite(table.frame_lowered[parallel])
    assert math.isnan(table.anti_squat[without_length])
    in_line = rows[0, 1]  # both lines go through (0, 0.2)
    assert table.x[in_line] == pytest.approx(0.0, abs=1e-12)
    assert math.isnan(table.anti_squat[in_line])
    assert math.isnan(table.anti_squat[one_line])
    assert anti_squat_of(links_of([(0.5, 0.5), (0.0, 0.2), (0.7, 0.27), (0.0, 0.2)]), 0.5, 2.5) is None
    last = table.nearest_anti_squat(1.0)
    assert math.isnan(last.anti_squat[-1])
    assert not math.isnan(last.anti_squat[0])


def test_many_holes_at_once() -> None:
    """8⁴ combinations in one go, within their bounds: 4,096 rows and nothing lost."""
    many = tuple(
        Bracket(tuple(range(8)), tuple((x + 0.001 * n, z + 0.01 * n) for n in range(8)))
        for x, z in ((0.5, 0.32), (0.03, 0.46), (0.53, 0.2), (0.02, 0.18))
    )
    table = hole_table(many, HEIGHT, WHEELBASE, RADIUS)
    assert table.positions.shape == (4096, 4)
    assert len({tuple(row) for row in table.positions.tolist()}) == 4096


def test_bad_input() -> None:
    with pytest.raises(ValueError, match="3 brackets: there must be four"):
        hole_table(BRACKETS[:3], HEIGHT, WHEELBASE, RADIUS)
    with pytest.raises(ValueError, match="must be above zero"):
        hole_table(BRACKETS, 0.0, WHEELBASE, RADIUS)
    with pytest.raises(ValueError, match="at least one hole"):
        Bracket((), ())
