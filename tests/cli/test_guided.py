"""What is asked at a terminal where nothing is said: changes, open items, questions to the crew."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest
from terminal import answered

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Program

pytestmark = [pytest.mark.slow, pytest.mark.skipif(os.name == "nt", reason="needs a pseudo-terminal")]

BASE = "car,sheet,item,value,unit\nheron,full,launch rpm,4200,rpm\nheron,full,rear tyre pressure,7,psi\n"


@pytest.fixture
def shop(runlog: Program, demo_folder: Path) -> Program:
    """A logbook with one car that has made a run at its baseline."""
    runlog("new", "a.duckdb")
    runlog("import", demo_folder / "cars" / "heron.toml", demo_folder / "tracks", runlog.write("base.csv", BASE))
    runlog("add", "run", "--car", "heron", "--date", "2031-08-01", "--60", "1.412")
    return runlog


def test_changes_are_asked_for_and_checked_as_they_are_typed(shop: Program) -> None:
    """A number alone is meant in the unit that was asked for. 1 psi is 6.894757 kPa (NIST SP 811, appendix B)."""
    answers: dict[str, str | list[str]] = {
        "First run": "heron/2031-08-01/2",
        "Changed (number": ["", "launch=9", "rear tyre pressure -0.5", "launch rpm", "launch rpm=4400"],
        "launch rpm, now 4200 rpm": "quick",
        "Changed (Enter": ["launch rpm=4600", "ballast rear=75 lb", "<", "rear tyre pressure", ""],
        "rear tyre pressure, now 48.3 kPa": "44.8",
    }  # fmt: skip
    code, screen = answered(shop, ("add", "change", "--units", "metric"), answers)
    assert code == 0, screen
    assert "Car [heron]:" in screen
    assert "✗ say what was changed, such as" in screen
    assert "✗ 'launch=9': 'launch' is nothing that can be changed on heron" in screen
    assert "✗ 'rear tyre pressure -0.5': say the unit, kPa or psi" in screen
    assert "✗ launch rpm: 'quick' is not a number of rpm" in screen
    assert "✗ launch rpm is changed twice" in screen
    assert "so far: launch rpm=4400" in screen  # the ballast was taken back
    assert screen.count("really done so?") == 2
    said = {item["item"]: item["from"] for item in shop("back-to-baseline", "heron", "--json").json()["steps"]}
    assert said == {"launch rpm": 4400.0, "rear tyre pressure": pytest.approx(44.8 / 6.894757, abs=1e-4)}


def test_an_open_item_is_asked_for(shop: Program) -> None:
    answers: dict[str, str | list[str]] = {
        "What was found": ["", "oil on the header"], "To be dealt": ["soon", "stop"],
        "Settings that": ["wing", "launch rpm"], "Who says so": "A. Crew",
    }  # fmt: skip
    code, screen = answered(shop, ("item", "add"), answers)
    assert code == 0, screen
    assert "Run [heron/2031-08-01/1]:" in screen
    assert "✗ say what was found" in screen
    assert "✗ found 'soon'; accepted: stop, before next run, shop" in screen
    assert "✗ 'wing' is no adjustable of heron" in screen
    (item,) = shop("item", "list", "--json").json()
    assert (item["text"], item["due"], item["by"]) == ("oil on the header", "stop", "A. Crew")
    barred = shop("release", "heron", "--json").json()["clearance"]["barred"]
    assert [bar["item"] for bar in barred] == ["launch rpm"]
    code, screen = answered(shop, ("item", "add"), {"What was found": "loose bolt"})
    assert code == 0, screen
    assert "Who says so, Enter for nobody [A. Crew]" in screen  # as last time
    assert [item["due"] for item in shop("item", "list", "--json").json()] == ["stop", "before next run"]


def test_questions_are_put_one_after_the_other(shop: Program) -> None:
    """The sheet's 48.3 psi is the baseline's 7 psi in kPa (NIST SP 811, appendix B)."""
    sheet = "car,date,run,item,value,unit\nheron,2031-08-01,2,rear tyre pressure,48.3,psi\n"
    shop("import", shop.write("wrong.csv", sheet))
    shop("add", "run", "--car", "heron", "--date", "2031-08-01", "--60", "1.415")
    code, screen = answered(shop, ("answer",), {"Key, Enter for later": ["x", "y"]})
    assert code == 0, screen
    assert "'x' is none of y, n" in screen
    assert "No question is open." in screen
    assert "kPa taken for psi?" in " ".join(shop("answer", "--history").out.split())
    steps = shop("back-to-baseline", "heron", "--json").json()["steps"]
    assert [step["from"] for step in steps] == pytest.approx([7.01], abs=0.01)
