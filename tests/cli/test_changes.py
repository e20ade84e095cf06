"""``add change`` and ``back-to-baseline``: what was really done is kept, and the way back leads to the baseline."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from published import faults

from runlog.workflows.release.baseline import RAISED

if TYPE_CHECKING:
    from conftest import Program

CAR = """[car]
name = "teal"
race_weight = "2600 lb"
wheelbase = "105 in"
power = "800 hp"
tyre_circumference = "100 in"
final_drive = 4.1
[[car.adjustable]]
name = "launch rpm"
low = 3800
high = 4800
[[car.adjustable]]
name = "rear tyre pressure"
[[car.adjustable]]
name = "ballast rear"
[[car.adjustable]]
name = "upper link front hole"
holes = [{ label = "A" }, { label = "B" }]
"""
BASELINE = (
    "car,sheet,item,value,unit\nteal,full,launch rpm,4200,rpm\nteal,full,rear tyre pressure,7,psi\n"
    "teal,full,ballast rear,50,lb\nteal,full,upper link front hole,A,\nteal,full,weight left front,612,lb\n"
)
SLIPS = "car,date,run,time,lane,purpose,t60_s,t330_s,t660_s,t1000_s,t1320_s\n" + "".join(
    f"teal,2031-04-12,{n},1{n}:00,left,full,1.42,3.85,5.87,7.61,9.07\n" for n in (1, 2)
)


@pytest.fixture
def shop(runlog: Program) -> Program:
    runlog("new", "a.duckdb")
    runlog("import", runlog.write("teal.toml", CAR), runlog.write("base.csv", BASELINE), runlog.write("s.csv", SLIPS))
    return runlog


def back(shop: Program) -> dict[str, Any]:
    page: dict[str, Any] = shop("back-to-baseline", "--json").json()
    assert faults("back-to-baseline", page) == []
    return page


def test_a_car_at_its_baseline_has_nothing_to_undo(shop: Program) -> None:
    page = back(shop)
    assert (page["steps"], page["minutes"], page["checks"], page["cautions"]) == ([], 0, [], [])
    assert "the car stands at its baseline" in shop("back-to-baseline").out


def test_there_and_back(shop: Program) -> None:
    done = shop("add", "change", "rear tyre pressure -0.5", "launch rpm=4400", "ballast rear +25",
                "upper link front hole=B", "--json").json()  # fmt: skip
    assert faults("add_change", done) == []
    assert done["run"] == "teal/2031-04-12/3"
    assert [(line["item"], line["from"], line["to"]) for line in done["changes"]] == [
        ("rear tyre pressure", 7.0, 6.5), ("launch rpm", 4200.0, 4400.0), ("ballast rear", 50.0, 75.0),
        ("upper link front hole", "A", "B"),
    ]  # fmt: skip
    page = back(shop)
    # geometry before weight before pressure before the desk: common practice, no source
    assert [(step["item"], step["from"], step["to"]) for step in page["steps"]] == [
        ("upper link front hole", "B", "A"), ("ballast rear", 75.0, 50.0), ("rear tyre pressure", 6.5, 7.0),
        ("launch rpm", 4400.0, 4200.0),
    ]  # fmt: skip
    assert page["minutes"] == sum((25, 20, 5, 5)), "of the catalogue, by hand"
    assert page["cautions"][0] == RAISED
    assert any("weigh the car again" in text for text in page["checks"])
    assert shop("add", "change", "--to-baseline").code == 0
    assert back(shop)["steps"] == []
    assert shop("rebuild").code == 0
    assert back(shop)["steps"] == [], "typed changes are made again from their text"


def test_a_pressure_alone_needs_no_scales_and_no_stands(shop: Program) -> None:
    shop("add", "change", "rear tyre pressure -0.5")
    page = back(shop)
    assert not any("weigh" in text for text in page["checks"])
    assert RAISED not in page["cautions"]
    assert any("never below the minimum pressure" in text for text in page["cautions"])


def test_what_was_really_done_is_kept_past_a_limit_and_said(shop: Program) -> None:
    done = shop("add", "change", "launch rpm=5000", "--json").json()
    assert done["warnings"] == ["launch rpm 5000 is outside the car file's limits: put it right before a run"]


def test_a_barred_setting_is_kept_and_said(shop: Program) -> None:
    shop("add", "change", "launch rpm=4400")
    head = SLIPS.splitlines()[0] + ",spoiled\n"
    shop("import", shop.write("t.csv", head + "teal,2031-04-12,3,13:00,left,full,1.6,,,,,car: wheelstand\n"))
    shop("add", "change", "launch rpm=4200")
    done = shop("add", "change", "launch rpm=4400", "--json").json()
    assert "launch rpm 4400 rpm and above is barred since teal/2031-04-12/3" in done["warnings"][0]


def test_changes_as_planned(shop: Program) -> None:
    assert shop("add", "change", "--planned").code == 1
    plan = shop("plan", "--runs", "2", "--adjustable", "launch rpm", "--accept", "--json").json()
    wanted = [(line["item"], line["value"]) for line in plan["steps"][0]["set"]]
    done = shop("add", "change", "--planned", "--json").json()
    assert [(line["item"], line["to"]) for line in done["changes"]] == wanted


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ((), 2, "say what was changed, or --planned, or --to-baseline"),
        (("launch rpm=4400", "--to-baseline"), 2, "say what was changed, or --planned"),
        (("launch rpm",), 2, "is not a change"),
        (("wing angle=3",), 2, "wing angle is no adjustable of teal"),
        (("launch rpm=4300", "launch rpm=4400"), 2, "launch rpm is changed twice"),
        (("upper link front hole=C",), 1, "no hole 'C'"),
        (("--to-baseline",), 2, "nothing was changed"),
        (("launch rpm=4400", "--run", "7"), 2, "--run: '7' is not a run key"),
    ],
)
def test_wrong_use(shop: Program, words: tuple[str, ...], code: int, said: str) -> None:
    done = shop("add", "change", *words)
    assert (done.code, done.out) == (code, "")
    assert said in done.err
