"""Tall figures: each different, none wider than its pixels, nothing lost between the lines."""

from __future__ import annotations

import itertools

import pytest

from runlog.reports.digits import tall


def test_an_eight_has_every_segment_and_a_one_the_fewest():
    # drawn by hand on squared paper, 3 × 5, two rows of squares a line
    assert tall("8") == ("█▀█", "█▀█", "▀▀▀")
    assert tall("0") == ("█▀█", "█ █", "▀▀▀")
    assert tall("7") == ("▀▀█", "  █", "  ▀")


def test_no_two_figures_look_alike():
    drawn = {figure: tall(figure) for figure in "0123456789"}
    for one, other in itertools.combinations(drawn, 2):
        assert drawn[one] != drawn[other], (one, other)


def test_a_time_keeps_its_point_and_all_lines_are_equally_wide():
    lines = tall("10.102")
    assert {len(line) for line in lines} == {5 * 3 + 1 + 5}
    assert [line.count("▀ ▀") for line in lines][2] >= 1


def test_words_are_refused():
    with pytest.raises(KeyError):
        tall("9.1 s")
