"""Faults are collected and reported together."""

from __future__ import annotations

import pytest

from runlog.errors import RunlogError
from runlog.problems import FileFaults, Problem, Problems


def test_a_problem_says_where_what_and_what_would_do():
    problem = Problem("slips.csv", "line 3", "'abc'", "a time", "Look at the slip.")
    assert str(problem) == "slips.csv, line 3: found 'abc'; accepted: a time. Look at the slip."


def test_place_and_remedy_may_be_left_out():
    assert str(Problem("x.toml", "", "nothing", "a table")) == "x.toml: found nothing; accepted: a table"


def test_nothing_found_raises_nothing():
    Problems("x.csv").raise_if_any()


def test_all_faults_come_at_once_in_file_order():
    problems = Problems("x.csv")
    problems.add("line 2", "a", "b")
    problems.add("line 5", "c", "d", "Remedy.")
    with pytest.raises(FileFaults, match=r"(?s)line 2: found a; accepted: b\nx.csv, line 5: found c") as caught:
        problems.raise_if_any()
    assert [problem.place for problem in caught.value.problems] == ["line 2", "line 5"]
    assert isinstance(caught.value, RunlogError)
    assert caught.value.exit_code == 1
