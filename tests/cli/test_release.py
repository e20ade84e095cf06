"""``release`` and ``item`` as a crew uses them: ticks, sign-offs, refusals, open items, settings released by name."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from published import faults

from runlog.workflows.release.steps import CHECKS

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
"""
BASELINE = "car,sheet,item,value,unit\nteal,full,launch rpm,4200,rpm\n"
HEAD = "car,date,run,time,lane,purpose,t60_s,t330_s,t660_s,t1000_s,t1320_s,v1320_mph,spoiled\n"
FULL = "1.42,3.85,5.87,7.61,9.07,155.5"


@pytest.fixture
def shop(runlog: Program) -> Program:
    """A logbook with a car that has made no run."""
    runlog("new", "a.duckdb")
    runlog("import", runlog.write("teal.toml", CAR), runlog.write("base.csv", BASELINE))
    return runlog


def made(shop: Program, *rows: str) -> None:
    """Import slips, each of run number, time, purpose, times and what spoiled it."""
    done = shop("import", shop.write("slips.csv", HEAD + "".join(f"teal,2031-04-12,{row}\n" for row in rows)))
    assert done.code == 0, done.err


def sign(shop: Program, *steps: str) -> None:
    for step in steps:
        done = shop("release", "--sign", step, "--tick", "all", "--by", "A. Crew")
        assert done.code == 0, done.err


def to_ft(shop: Program) -> int:
    page = shop("release", "--json").json()
    assert faults("release", page) == []
    return int(page["clearance"]["to_ft"])


# --- steps ------------------------------------------------------------------------------------------------------------


def test_one_full_run_does_not_make_a_car_an_old_one_and_two_are_said(shop: Program) -> None:
    made(shop, f"1,10:00,left,full,{FULL},")
    assert to_ft(shop) == 0
    assert "release step: fire-up and leaks, not yet signed" in " ".join(shop("show").out.split())
    made(shop, *(f"{n},1{n}:00,left,full,{FULL}," for n in (1, 2)))
    assert to_ft(shop) == 1320
    said = "no release steps asked for: 2 clean runs to the finish by 2031-04-12, before its steps were kept here"
    for words in (["show"], ["plan", "--runs", "1"], ["release"]):
        assert said in " ".join(shop(*words).out.split())
    assert shop("show", "teal/2031-04-12/1", "--json").json()["clearance"]["to_ft"] == 0, "as it stood then"


@pytest.mark.slow
def test_a_new_car_from_fire_up_to_the_full_run(shop: Program) -> None:
    assert to_ft(shop) == 0
    sign(shop, "fire-up", "burnout")
    assert to_ft(shop) == 60
    made(shop, "1,10:00,left,60,1.42,,,,,,")
    assert to_ft(shop) == 60, "reaching 60 ft isn't passing it"
    assert "60 ft" in shop("show").out
    assert "next run to 60 ft at most: release step: 60 ft, not yet signed" in " ".join(shop("show").out.split())
    sign(shop, "60")
    assert to_ft(shop) == 330
    made(shop, "1,10:00,left,60,1.42,,,,,,", "2,10:40,left,660,1.42,3.85,5.87,,,,")
    sign(shop, "330", "660")
    made(shop, "2,10:40,left,660,1.42,3.85,5.87,,,,", f"3,11:20,left,full,{FULL},")
    assert to_ft(shop) == 1320
    page = shop("show", "--json").json()
    assert (page["clearance"]["step"], page["clearance"]["released"]) == ("full", False)
    sign(shop, "full")
    page = shop("show", "--json").json()
    assert (page["clearance"]["step"], page["clearance"]["released"]) == (None, True)
    assert page["clearance"]["notes"] == [
        "2 clean runs to the finish, as the car stands, before the first change: 1 so far"
    ]


def test_ticking_one_check_after_the_other(shop: Program) -> None:
    first, *others = CHECKS["fire-up"]
    done = shop("release", "--tick", "no leaks")
    assert done.code == 0, done.err
    assert f"☑ {first}" in done.out
    refused = shop("release", "--sign", "fire-up", "--by", "A. Crew")
    assert refused.code == 1
    assert f"not ticked: {'; '.join(others)}" in refused.err
    assert to_ft(shop) == 0
    words = [word for text in others for word in ("--tick", text)]
    assert shop("release", "--sign", "fire-up", "--by", "A. Crew", *words).code == 0
    taken = shop("release", "--step", "fire-up", "--untick", "throttle")
    assert taken.code == 0, taken.err
    assert shop("release", "--json").json()["step"] == "fire-up"


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--sign", "fire-up", "--tick", "all"), 2, "a sign-off needs a name: --by NAME"),
        (("--sign", "100", "--by", "A"), 2, "no release step '100'; there are: fire-up, burnout, 60"),
        (("--sign", "60", "--tick", "all", "--by", "A"), 1, "fire-up and leaks comes first and isn't signed"),
        (("--tick", "tyre"), 2, "'tyre' is no check of fire-up and leaks"),
        (("--again", "60"), 2, "say why the car goes back to a step: --why TEXT"),
        (("--again", "60", "--sign", "60"), 2, "--sign and --again are two things"),
        (("--part", "engine"), 2, "write the part and which one it is"),
        (("--part", "wing=1"), 1, "key part: found 'wing'; accepted: 'engine', 'converter'"),
        (("--setting", "launch rpm=4400"), 2, "releasing a setting needs a name and a reason"),
        (("--setting", "launch rpm=4400", "--by", "A", "--why", "x"), 1, "launch rpm 4400 rpm isn't barred"),
    ],
)
def test_wrong_use(shop: Program, words: tuple[str, ...], code: int, said: str) -> None:
    done = shop("release", *words)
    assert (done.code, done.out) == (code, "")
    assert said in done.err


def test_a_replaced_part_starts_its_steps_again(shop: Program) -> None:
    assert shop("release", "--part", "engine=No. 1").code == 0
    sign(shop, "fire-up", "burnout")
    page = shop("release", "--part", "engine=No. 2", "--json").json()
    assert (page["step"], page["why"].endswith("No. 1 → No. 2")) == ("fire-up", True)


# --- open items -------------------------------------------------------------------------------------------------------


def test_with_an_open_stop_item_there_is_no_next_run(shop: Program) -> None:
    made(shop, f"1,10:00,left,full,{FULL},", f"2,10:40,left,full,{FULL},")
    assert to_ft(shop) == 1320
    listed = shop("item", "add", "oil on the header", "--stop", "--by", "A. Crew", "--json").json()
    assert faults("item_list", listed) == []
    assert [(item["due"], item["run"]) for item in listed] == [("stop", 2)]
    assert shop("item", "add", "wax", "--shop").code == 0
    plan, forecast, show = (shop(command, "--json").json() for command in ("plan", "forecast", "show"))
    suppose = shop("suppose", "launch rpm +100", "--json").json()
    for page in (plan, forecast, show, suppose):
        assert page["clearance"]["to_ft"] == 0
        assert page["clearance"]["reasons"] == ["open stop item: oil on the header"]
    assert plan["steps"] == []
    assert all(row["mean_s"] is None for row in forecast["splits"])
    assert [item["text"] for item in show["open_items"]] == ["oil on the header", "wax"]
    assert "no next run: open stop item: oil on the header" in shop("show").out
    refused = shop("plan", "--accept")
    assert (refused.code, "open stop item: oil on the header" in refused.err) == (1, True)
    closed = shop("item", "close", "1", "--did", "new gasket", "--by", "B. Crew")
    assert closed.code == 0, closed.err
    assert to_ft(shop) == 1320
    everything = shop("item", "list", "--all", "--json").json()
    assert faults("item_list", everything) == []
    assert everything[-1]["closed"]["text"] == "new gasket"
    assert "gasket" in shop("item", "list", "--all").out


def test_an_earlier_run_shows_what_was_open_then(shop: Program) -> None:
    made(shop, f"1,10:00,left,full,{FULL},", f"2,10:40,left,full,{FULL},", f"3,11:40,left,full,{FULL},")
    shop("item", "add", "bolt", "--run", "2")
    keys = [f"teal/2031-04-12/{n}" for n in (1, 2, 3)]
    assert [len(shop("show", key, "--json").json()["open_items"]) for key in keys] == [0, 1, 1]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("add", "x", "--stop", "--shop"), 2, "contradict each other"),
        (("add", "x", "--stop", "--setting", "wing"), 2, "'wing' is no adjustable of teal; there are: launch rpm"),
        (("add", " "), 1, "key text"),
        (("close", "1", "--did", "x"), 1, "no item is open"),
        (("close", "1"), 2, "say what was done"),
    ],
)
def test_wrong_use_of_items(shop: Program, words: tuple[str, ...], code: int, said: str) -> None:
    done = shop("item", *words)
    assert (done.code, said in done.err) == (code, True), done.err


# --- barred settings --------------------------------------------------------------------------------------------------


def test_a_setting_that_stood_the_car_up_is_barred_until_released_by_name(shop: Program) -> None:
    shop("import", shop.write("changes.csv", "car,date,run,item,value,unit\nteal,2031-04-12,3,launch rpm,4400,rpm\n"
                                             "teal,2031-04-12,4,launch rpm,4200,rpm\n"))  # fmt: skip
    rows = [f"{n},1{n}:00,left,full,{FULL}," for n in (1, 2)]
    rows += [f"3,13:00,left,full,{FULL},car: wheelstand", f"4,14:00,left,full,{FULL},"]
    made(shop, *rows)

    def proposed() -> set[float]:
        page = shop("plan", "--runs", "4", "--adjustable", "launch rpm", "--json").json()
        return {line["value"] for step in page["steps"] for line in step["set"]}

    assert 4400.0 not in proposed()
    refused = shop("forecast", "--suppose", "launch rpm=4400")
    assert (refused.code, "barred since teal/2031-04-12/3: car: wheelstand" in refused.err) == (1, True)
    assert shop("forecast", "--suppose", "launch rpm +400").code == 1, "what lies beyond is barred too"
    assert "launch rpm 4400 rpm and above" in shop("release").out
    for change in ("launch rpm=4400", "launch rpm +400"):
        supposed = shop("suppose", change)
        assert (supposed.code, supposed.out) == (1, "")
        assert "barred since teal/2031-04-12/3: car: wheelstand" in supposed.err
    assert shop("suppose", "launch rpm -200").code == 0, "away from it may be asked about"
    effects = shop("effects", "--json").json()
    assert effects["next"] == []
    assert any("launch rpm 4400 rpm and above is barred" in text for text in effects["next_held"])
    done = shop("release", "--setting", "launch rpm=4400", "--by", "A. Crew", "--why", "bars lowered")
    assert done.code == 0, done.err
    assert done.out.count("barred") == 0
    assert shop("forecast", "--suppose", "launch rpm=4400").code == 0
    assert shop("suppose", "launch rpm=4400").code == 0
    assert 4400.0 in proposed()


def test_a_barred_setting_that_is_still_in_the_car_holds_the_next_run(shop: Program) -> None:
    shop("import", shop.write("changes.csv", "car,date,run,item,value,unit\nteal,2031-04-12,3,launch rpm,4400,rpm\n"))
    rows = [f"{n},1{n}:00,left,full,{FULL}," for n in (1, 2)]
    made(shop, *rows, f"3,13:00,left,full,{FULL},car: wheelstand")
    assert to_ft(shop) == 0
    assert "launch rpm 4400 rpm and above is barred" in " ".join(shop("show").out.split())
    step = shop("plan", "--runs", "2", "--json").json()["steps"][0]
    assert [(line["item"], line["value"]) for line in step["set"]] == [("launch rpm", 4200.0)]


def test_a_setting_past_a_limit_is_proposed_nowhere_even_where_it_was_run(shop: Program) -> None:
    """The maker lowers the limit to 4300 rpm after runs at 4400."""
    sheet = "car,date,run,item,value,unit\nteal,2031-04-12,2,launch rpm,4400,rpm\n"
    shop("import", shop.write("changes.csv", sheet + "teal,2031-04-12,3,launch rpm,4200,rpm\n"))
    made(shop, *(f"{n},1{n}:00,left,full,{FULL}," for n in (1, 2, 3)))
    tried = [4200.0, 4400.0, 4200.0]
    assert [step["path"] for step in shop("effects", "--json").json()["next"]] == [tried]
    assert [step["path"] for step in shop("review", "2031-04-12", "--json").json()["next"]] == [tried]
    shop("import", shop.write("teal.toml", CAR.replace("high = 4800", "high = 4300")))
    assert shop("effects", "--json").json()["next"] == []
    assert shop("review", "2031-04-12", "--json").json()["next"] == []
    assert [row["adjustable"] for row in shop("fleet", "--json").json()["next"]] == ["launch rpm"], (
        "a step down is left"
    )
    shop("import", shop.write("more.csv", "car,date,run,item,value,unit\nteal,2031-04-12,4,launch rpm,4400,rpm\n"))
    made(shop, *(f"{n},1{n}:00,left,full,{FULL}," for n in (1, 2, 3, 4)))
    why = "launch rpm 4400 is outside the car file's limits: put it right before a run"
    for page in ("show", "release", "forecast", "suppose"):
        cleared = shop(page, *(["power +10"] if page == "suppose" else []), "--json").json()["clearance"]
        assert (cleared["to_ft"], cleared["reasons"]) == (0, [why]), page
    assert shop("fleet", "--json").json()["next"] == []
    half_way = shop("suppose", "launch rpm -50")
    assert (half_way.code, "4350 passes the car file's high limit of 4300" in half_way.err) == (1, True)
    assert shop("suppose", "launch rpm=4300").code == 0


def test_a_shake_that_only_the_trace_shows_bars_its_setting_until_the_crew_says_it_was_none(
    season_copy: Program,
) -> None:
    key = "heron/2031-04-12/8"
    words = ("--car", "heron", "--date", "2031-04-12", "--number", "8", "--time", "15:46", "--track", "lowfield")
    times = ("--60", "1.553", "--330", "4.02", "--660", "6.037", "--1000", "7.792", "--1320", "9.226")
    assert season_copy("add", "run", *words, *times).code == 0

    def barred() -> list[str]:
        return [bar["why"] for bar in season_copy("show", key, "--json").json()["clearance"]["barred"]]

    assert barred() == ["the trace shows tyre shake: 'runlog answer' settles it"]
    assert season_copy("answer", key, "spoiled-shake", "n").code == 0
    assert barred() == []
