"""Wrong use of ``forecast`` and ``plan``: said plainly, exit code 2 or 1, and nothing kept."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Program


@pytest.fixture
def shop(runlog: Program, demo_folder) -> Program:
    """A logbook with one car and no runs."""
    runlog("new", "a.duckdb")
    runlog("import", demo_folder / "cars" / "curlew.toml", demo_folder / "sheets" / "curlew_baseline.csv")
    return runlog


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("forecast", "--dial", "0"), 2, "--dial: 0 is outside 0 to 60 seconds"),
        (("forecast", "--lane", "middle"), 2, "--lane: 'middle'; accepted: left, right"),
        (("forecast", "--time", "noon"), 2, "--time: 'noon' is not a clock time"),
        (("forecast", "--date", "tomorrow"), 2, "--date: 'tomorrow' is not a date"),
        (("forecast", "--risk", "100"), 2, "--risk: 100 is outside 0 to 100 per cent"),
        (("forecast", "--humidity", "140"), 2, "--humidity: 140 is outside"),
        (("forecast", "--pressure", "29inHg", "--altimeter", "30inHg"), 2, "either --pressure"),
        (("forecast", "--altimeter", "30inHg", "--temperature", "90F", "--humidity", "50"), 2, "needs --elevation"),
        (("forecast", "--temperature", "90F"), 2, "no air reading to go by"),
        (("forecast", "--look-back"), 2, "--look-back goes with --record"),
        (("forecast", "--car", "egret"), 1, "no car 'egret'"),
        (("forecast", "--suppose", "shift rpm=20000"), 1, "high limit"),
        (("plan", "--runs", "0"), 2, "--runs: 0 is outside 1 to 12"),
        (("plan", "--turnaround", "1"), 2, "--turnaround: 1 is outside"),
        (("plan", "--changes", "9"), 2, "--changes: 9 is outside 1 to 3"),
        (("plan", "--adjustable", "wing"), 2, "'wing' is no adjustable of curlew; there are:"),
        (("plan", "--adjustable", "boost target"), 1, "for the engine builder only: never proposed"),
        (("plan", "--minutes-left", "5", "--accept"), 1, "there is no plan to accept"),
    ],
)
def test_wrong_use(shop: Program, words: tuple[str, ...], code: int, said: str) -> None:
    done = shop(*words)
    assert (done.code, done.out) == (code, "")
    assert said in done.err
    assert "0 kept" in shop("forecast", "--record").out


def test_a_car_without_runs_gets_its_release_steps_one_by_one_and_no_times(shop: Program) -> None:
    """Fire-up and burnout, then each distance after the sign-off of the one before: common practice, no source."""
    plan = shop("plan", "--runs", "3", "--json").json()
    assert (plan["steps"], plan["clearance"]["step"], plan["clearance"]["to_ft"]) == ([], "fire-up", 0)
    page = shop("forecast", "--dial", "9.0")
    assert page.code == 0
    assert "nothing can be foretold" in page.out
    assert "no next run: release step: fire-up and leaks, not yet signed" in page.out
    assert shop("forecast", "--record").out.startswith("all cars: how right forecasts were\n0 kept, 0 held against")
    for step in ("fire-up", "burnout"):
        assert shop("release", "--sign", step, "--tick", "all", "--by", "A. Crew").code == 0
    plan = shop("plan", "--runs", "3", "--json").json()
    assert [step["purpose"] for step in plan["steps"]] == ["60"]
    assert "isn't passing its step" in plan["cautions"][0]
    refused = shop("release", "--sign", "60", "--tick", "all", "--by", "A. Crew")
    assert (refused.code, "no clean run to 60 ft in the logbook" in refused.err) == (1, True)
