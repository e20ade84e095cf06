"""Plots in plain characters, by hand."""

from __future__ import annotations

from runlog.reports.text_plot import ACROSS, LABEL, interval_plot, line_plot

TICKS = [(0.0, "0"), (10.0, "10")]


def cells(line: str) -> str:
    return line[LABEL + 2 :]


def test_points_stand_at_their_places() -> None:
    lines = line_plot("t", [("o", [(0.0, 1.0), (10.0, 2.0)])], TICKS, rows=3, digits=1)
    assert lines[0] == "t"
    assert lines[1].strip().startswith("2.0 |")
    assert cells(lines[1]).index("o") == ACROSS - 1, "the higher value is above, on the right"
    assert cells(lines[3]).index("o") == 0
    assert lines[3].strip().startswith("1.0 |")
    assert set(cells(lines[2])) <= {" ", "."}, "between points only dots"
    assert cells(lines[4]) == "+" + "-" * (ACROSS - 2) + "+"
    assert lines[5].split() == ["0", "10"]


def test_the_first_line_stands_where_lines_meet() -> None:
    lines = line_plot("t", [("a", [(0.0, 1.0)]), ("b", [(0.0, 1.0), (10.0, 1.0)])], TICKS, rows=3)
    flat = cells(lines[2])
    assert flat[0] == "a"
    assert flat[-1] == "b"


def test_nothing_to_plot_is_no_plot() -> None:
    assert line_plot("t", [("o", [])], TICKS) == []
    assert interval_plot([]) == []


def test_everything_fits_the_page() -> None:
    ticks = [(float(n), f"run {n}") for n in range(40)]
    lines = line_plot("t", [("o", [(float(n), float(n % 7)) for n in range(40)])], ticks)
    assert max(map(len, lines)) <= 80


def test_interval_on_one_side_of_zero_leaves_the_zero_outside() -> None:
    name, bar, scale = interval_plot([("slower", 0.01, 0.02, 0.03)], across=31)
    assert name == "slower"
    assert bar.index("|") == 0
    assert [bar.index(mark) for mark in "[o]"] == [10, 20, 30]
    assert scale.split() == ["0", "+0.030"]


def test_quicker_is_to_the_left() -> None:
    rows = interval_plot([("quicker", -0.03, -0.02, -0.01), ("slower", 0.01, 0.02, 0.03)], across=61)
    assert rows[1].index("o") < rows[1].index("|") < rows[3].index("o")


def test_interval_over_zero_says_so() -> None:
    _, bar, _ = interval_plot([("either", -0.01, 0.0, 0.01)], across=21)
    assert bar == "[---------o---------]"
    _, bar, _ = interval_plot([("either", -0.01, 0.005, 0.01)], across=21)
    assert bar.index("+") == 10
