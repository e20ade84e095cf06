"""How a run, a day or a car is named on the command line, and what is said when that doesn't settle it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Program, Season


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("heron/2031-04-12/5", "heron/2031-04-12/5"),
        ("Heron/2031-04-12/5", "heron/2031-04-12/5"),
        ("heron/latest", "heron/2031-06-07/7"),
        ("plover/latest", "plover/2031-06-14/7"),
        ("3", "wigeon/2031-07-06/3"),
    ],
)
def test_run_is_found(season: Season, text: str, key: str) -> None:
    assert season.json("show", text)["run"]["key"] == key


def test_newest_by_default(season: Season) -> None:
    assert season.json("show")["run"]["key"] == "wigeon/2031-07-06/7"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("heron/2031-04-12/55", ("no run heron/2031-04-12/55", "runs of that day: 1, 2, 3, 4, 5, 6, 7, 8, 9, 10")),
        ("heron/2031-04-13/1", ("heron ran on 2031-04-12, 2031-04-26, 2031-05-17, 2031-06-07",)),
        ("egret/2031-04-12/1", ("cars with runs: curlew, dunlin, heron, plover, wigeon",)),
        ("egret/latest", ("no run of 'egret'", "curlew, dunlin, heron, plover, wigeon")),
        ("55", ("no run 55 on the newest test day",)),
    ],
)
def test_unknown_run_says_which_there_are(season: Season, text: str, told: tuple[str, ...]) -> None:
    done = season.run("show", text)
    assert done.code == 1
    assert done.out == ""
    for part in told:
        assert part in done.err


@pytest.mark.parametrize("text", ["heron", "heron/yesterday", "-", "heron/2031-04-12/0", "heron/2031-04-12/1/2", ""])
def test_what_names_no_run_is_wrong_use(season: Season, text: str) -> None:
    done = season.run("show", "--", text)
    assert done.code == 2, done.err
    assert "accepted: car/date/number" in done.err


def test_number_that_fits_several_runs_lists_them(season_copy: Program) -> None:
    """Two cars on the newest day."""
    done = season_copy("add", "run", *("--car", "heron", "--date", "2031-07-06", "--number", "3", "--60", "1.412"))
    assert done.code == 0, done.err
    done = season_copy("show", "3")
    assert done.code == 2
    assert "'3' fits several runs: heron/2031-07-06/3, wigeon/2031-07-06/3" in done.err
    assert season_copy("show", "5").code == 0


def test_day_and_car_of_the_list(season: Season) -> None:
    heron = season.json("runs", "--car", "heron")
    assert {row["car"] for row in heron} == {"heron"}
    assert len(heron) == 32
    assert [row["number"] for row in season.json("runs", "--day", "2031-04-12")] == list(range(1, 11))
    assert season.json("runs", "--day", "heron/2031-04-12") == season.json("runs", "--day", "2031-04-12")
    for words, told in (
        (("--car", "egret"), "no car 'egret' in the logbook; there are: curlew, dunlin, heron, plover, wigeon"),
        (("--day", "2031-04-13"), "no run on 2031-04-13"),
    ):
        done = season.run("runs", *words)
        assert done.code == 1
        assert told in done.err
    done = season.run("runs", "--day", "tomorrow")
    assert done.code == 2
    assert "'tomorrow' is not a day" in done.err


def test_effects_of_the_car_that_ran_last_by_default(season: Season) -> None:
    assert season.json("effects")["car"] == "wigeon"
    assert season.run("effects", "--car", "egret").code == 1


@pytest.mark.parametrize("runs", [("3",), ("1", "2", "3", "4", "5")])
def test_comparison_takes_two_to_four(season: Season, runs: tuple[str, ...]) -> None:
    done = season.run("compare", *runs)
    assert done.code == 2
    assert "two to 4 runs" in done.err


def test_empty_logbook_says_what_comes_next(runlog: Program) -> None:
    runlog("new", "a.duckdb")
    for words in (("show",), ("effects",), ("compare", "1", "2")):
        done = runlog(*words)
        assert done.code == 1
        assert "import" in done.err
        assert "Traceback" not in done.err
