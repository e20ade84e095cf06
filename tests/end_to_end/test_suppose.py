"""``runlog suppose`` over the demo season: the page, its schema, limits, and the truth that the season was made with.

The season's simulation steps the cars through time and shares no code with the program; its true effects stand in
``demo_runs/truth.json``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from published import faults
from scipy import stats

if TYPE_CHECKING:
    from conftest import Program, Season

CARS = ("curlew", "dunlin", "heron", "plover", "wigeon")


def ask(season: Season, car: str, *words: str) -> Any:
    return season.json("suppose", *words, "--car", car)


def elapsed(rows: list[dict[str, Any]]) -> dict[str, Any]:
    return next(row for row in rows if row["from_ft"] == 0 and row["to_ft"] > 60)


@pytest.mark.parametrize(
    "words",
    [
        ("ballast rear +25",),
        ("rear tyre pressure -0.5",),
        ("final drive=4.3", "shift rpm -100", "power +10hp", "upper link front hole=2"),
        ("tyre circumference +1in", "race weight -50lb", "drag area -0.02m²"),
        ("--temperature", "95F", "--humidity", "20", "--pressure", "29.0inHg", "--tailwind", "-5mph"),
        ("ballast rear -25", "--temperature", "50F"),
    ],
)
def test_page_fits_its_schema(season: Season, words: tuple[str, ...]) -> None:
    assert faults("suppose", ask(season, "heron", *words)) == []


def test_schema_refuses_what_is_not_a_page(season: Season) -> None:
    page = dict(ask(season, "heron", "ballast rear +25"))
    assert faults("suppose", {**page, "opinion": None}) != []
    assert faults("suppose", {**page, "cautions": []}) != []
    del page["effects"]
    assert faults("suppose", page) != []


@pytest.mark.parametrize("car", CARS)
@pytest.mark.parametrize("item", ["ballast rear", "shift rpm"])
def test_truth_lies_where_the_page_says(season: Season, truth: dict[str, Any], car: str, item: str) -> None:
    """The true effect of a step is the mean within 2.5 sd, so a sign or a unit that is wrong can't hide."""
    true = truth["cars"][car]["adjustables"].get(item)
    if true is None:
        pytest.skip(f"{car} has no {item}")
    words = f"{item} -{true['step']}" if item == "shift rpm" else f"{item} +{true['step']}"
    page = ask(season, car, words)
    row = elapsed(page["effects"])
    # one step down is taken as one step up turned over
    known = true["one_step_up_s"][f"0-{row['to_ft']}"] * (-1 if item == "shift rpm" else 1)
    assert abs(row["mean_s"] - known) < 2.5 * row["sd_s"], (row, known)
    if abs(known) > 0.008:
        assert np.sign(row["mean_s"]) == np.sign(known)
    assert row["sd_s"] < 0.02


def test_effects_add_up_to_the_elapsed_time(season: Season) -> None:
    page = ask(season, "heron", "ballast rear +25", "power +10hp")
    rows = page["effects"]
    whole = elapsed(rows)
    assert sum(row["mean_s"] for row in rows if row is not whole) == pytest.approx(whole["mean_s"], abs=5e-5)
    moved = page["splits"][-1]["after_s"] - page["splits"][-1]["before_s"]
    assert moved == pytest.approx(whole["mean_s"], abs=2e-4)
    # a 90 % interval of a normal quantity: 1.6449 sd on each side (tables of the normal distribution)
    assert whole["hi90_s"] - whole["mean_s"] == pytest.approx(1.6449 * whole["sd_s"], abs=2e-5)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ("rear tyre pressure -0.5", "no law that fits every tyre"),
        ("rear shock extension +2", "first instants"),
        ("upper link front hole=2", "instant centre"),
        ("launch rpm +200", "first instants"),
        ("wing angle +1", "drag area"),
        ("pinion angle +0.5", "only runs can tell"),
    ],
)
def test_says_plainly_where_physics_has_no_opinion(season: Season, change: str, why: str) -> None:
    page = ask(season, "heron", change)
    assert page["opinion"] is False
    assert page["effects"] == []
    assert why in page["changes"][0]["why_not"]
    assert page["changes"][0]["cautions"]
    text = season.run("suppose", change, "--car", "heron", "--logbook", str(season.logbook))
    assert "physics has no opinion" in text.out


def test_cautions_stand_beside_every_change(season: Season) -> None:
    page = ask(season, "heron", "ballast rear +25", "final drive=4.3")
    ballast, gear = page["changes"]
    assert any("bolt ballast" in text for text in ballast["cautions"])
    assert any("check every limit at the finish line" in text for text in gear["cautions"])
    assert "inspection come first" in page["cautions"][-1]
    assert set(ballast["cautions"]) | set(gear["cautions"]) <= set(page["cautions"])


def test_finish_line_speeds_go_with_gear_and_tyre(season: Season) -> None:
    # engine and driveshaft turn faster with a shorter gear, slower on a larger tyre; engine over driveshaft is the
    # converter's slip alone in a direct top gear, a few per cent
    shorter = ask(season, "heron", "final drive=4.3")["finish"]
    larger = ask(season, "heron", "tyre circumference +2in")["finish"]
    for key in ("engine_speed_rpm", "driveshaft_speed_rpm"):
        assert shorter["after"][key] > shorter["before"][key] > larger["after"][key]
    assert 1.0 < shorter["after"]["engine_speed_rpm"] / shorter["after"]["driveshaft_speed_rpm"] < 1.15
    # kinematics: driveshaft speed = tread speed / circumference × final drive, tyre growth a few per cent at most
    after = shorter["after"]
    turns = after["tyre_speed_mph"] * 0.44704 * 60 / (100.5 * 0.0254) * 4.3
    assert after["driveshaft_speed_rpm"] == pytest.approx(turns, rel=0.05)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("ballast rear +150", "ballast rear 200 passes the car file's high limit of 125 lb"),
        ("ballast rear -75", "ballast rear -25 passes the car file's low limit of 0 lb"),
        ("shift rpm=9000", "shift rpm 9000 passes the car file's high limit of 7500 rpm"),
        ("upper link front hole=7", "no hole '7' in the car file; its holes: 1, 2, 3"),
        ("final drive=5.4", "engine speed at the finish"),
    ],
)
def test_a_limit_is_never_passed(season: Season, change: str, said: str) -> None:
    done = season.run("suppose", change, "--car", "heron", "--logbook", str(season.logbook))
    assert done.code == 1
    assert said in done.err
    assert done.out == ""


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("ballast rear",), "is not a change; accepted:"),
        (("balast rear +25",), "close: ballast rear"),
        (("ballast rear +25psi",), "unit 'psi'; accepted: kg, g, lb"),
        (("ballast rear +25", "rear ballast +10"), "ballast rear is supposed twice"),
        ((), "say what to suppose"),
        (("--temperature", "900F"), "temperature must lie within"),
        (("--humidity", "140"), "outside 0 to 100"),
    ],
)
def test_what_cannot_be_understood_is_said_to_be_so(season: Season, words: tuple[str, ...], said: str) -> None:
    done = season.run("suppose", *words, "--car", "heron", "--logbook", str(season.logbook))
    assert done.code == 2
    assert said in done.err


def test_other_air_moves_the_whole_run(season: Season) -> None:
    hot = ask(season, "heron", "--temperature", "100F")
    cold = ask(season, "heron", "--temperature", "50F")
    assert elapsed(hot["effects"])["mean_s"] > 0 > elapsed(cold["effects"])["mean_s"]
    assert hot["speeds"][-1]["mean_mph"] < 0 < cold["speeds"][-1]["mean_mph"]
    assert hot["air_after"]["density_altitude_ft"] > hot["air"]["density_altitude_ft"]


# --- what the runs say beside physics ---------------------------------------------------------------------------------


@pytest.mark.slow
def test_a_step_that_was_tried_is_answered_as_the_effects_page_answers_it(season: Season) -> None:
    """Whatever the prior came from, physics too, the posterior holds it once: nothing is added to it."""
    asked = 0
    pages = {car: season.json("effects", "--car", car)["effects"] for car in CARS}
    for car, row in [(car, row) for car, page in pages.items() for row in page]:
        if row["from_ft"] or not row["change_made"] or isinstance(row["baseline"], str):
            continue
        page = ask_or_nothing(season, car, f"{row['adjustable']} +{row['step']:g}")
        if page is None or row["to_ft"] != page["finish_ft"]:
            continue
        change = page["changes"][0]
        if not np.isclose(change["from"], row["baseline"]):
            continue
        whole = elapsed(change["answer"])
        assert whole["mean_s"] == pytest.approx(row["mean_s"], abs=2e-5), row["adjustable"]
        assert (whole["lo90_s"], whole["hi90_s"]) == pytest.approx((row["lo90_s"], row["hi90_s"]), abs=3e-5)
        assert whole["share_learned"] == pytest.approx(row["share_learned"], abs=1e-3)
        assert whole["probability_helps"] in (None, pytest.approx(row["probability_helps"], abs=1e-3))
        asked += 1
    assert asked >= 8


def ask_or_nothing(season: Season, car: str, change: str) -> Any:
    done = season.run("suppose", change, "--car", car, "--json")
    return done.json() if done.code == 0 else None


def test_what_was_never_tried_is_no_claim_and_what_is_past_it_says_so(season: Season) -> None:
    never = ask(season, "heron", "upper link rear hole=2")["changes"][0]
    assert {row["source"] for row in never["answer"]} == {"prior only"}
    assert {row["probability_helps"] for row in never["answer"]} == {None}
    assert any("no claim" in text for text in never["remarks"])
    past = ask(season, "heron", "rear tyre pressure=5.5")["changes"][0]
    assert past["beyond_tried"] is True
    assert any("past what was tried (6 psi to 7 psi has been run)" in text for text in past["remarks"])
    inside = ask(season, "heron", "rear tyre pressure=6.5")["changes"][0]
    assert inside["beyond_tried"] is False
    assert elapsed(inside["answer"])["source"] == "learned"
    # further away, less sure
    further = ask(season, "heron", "rear tyre pressure=5")["changes"][0]
    assert elapsed(further["answer"])["sd_s"] > elapsed(past["answer"])["sd_s"] > elapsed(inside["answer"])["sd_s"]


def test_where_only_physics_speaks_the_answer_is_its(season: Season) -> None:
    page = ask(season, "heron", "power +10")
    for answer, alone in zip(page["changes"][0]["answer"], page["effects"], strict=True):
        assert answer["source"] == "physics"
        assert answer["share_learned"] == 0
        assert answer["mean_s"] == pytest.approx(alone["mean_s"], abs=1e-5)
        assert answer["sd_s"] == pytest.approx(alone["sd_s"], rel=0.1)


def test_sources_add_up_and_a_change_back_is_the_change_turned_over(season: Season) -> None:
    page = ask(season, "heron", "ballast rear +25", "rear tyre pressure=6.5", "power +10", "--temperature", "95F")
    parts = [*(change["answer"] for change in page["changes"]), page["answer_air"]]
    for n, row in enumerate(page["answer"]):
        assert row["mean_s"] == pytest.approx(sum(part[n]["mean_s"] for part in parts), abs=5e-5)
        assert row["sd_s"] > max(part[n]["sd_s"] for part in parts) * 0.9
    more, less = (ask(season, "heron", f"ballast rear {sign}25")["changes"][0]["answer"] for sign in "+-")
    for up, down in zip(more, less, strict=True):
        assert up["mean_s"] == pytest.approx(-down["mean_s"], abs=2e-5)
        assert up["sd_s"] == pytest.approx(down["sd_s"], abs=2e-5)


def test_air_is_the_model_s_shift_as_far_as_the_runs_bear_it_out(season: Season) -> None:
    page = ask(season, "heron", "--temperature", "100F")
    assert page["answer"] == page["answer_air"]
    whole = elapsed(page["answer"])
    assert whole["source"] == "both"
    for row, alone in zip(page["answer"], page["effects"], strict=True):
        # a second source can only take doubt away, and moves the figure by no more than the doubt there was
        assert row["sd_s"] <= alone["sd_s"] * 1.1
        assert abs(row["mean_s"] - alone["mean_s"]) < 2.5 * alone["sd_s"]
        assert 0 <= row["share_learned"] <= 1


def test_truth_lies_in_the_joined_interval_as_often_as_it_says(season: Season, truth: dict[str, Any]) -> None:
    """Every step of every car that was tried, against the simulation that made the season.

    Binomial limit at 1 % (scipy), as if the figures were independent.
    """
    inside = count = 0
    for car in CARS:
        for name, known in truth["cars"][car]["adjustables"].items():
            page = ask_or_nothing(season, car, f"{name} +{known['step']:g}") if "hole" not in name else None
            if page is None or page["changes"][0]["answer"][-1]["source"] == "prior only":
                continue
            if not np.isclose(page["changes"][0]["from"], known["baseline"]):
                continue
            for row in page["changes"][0]["answer"]:
                wanted = known["one_step_up_s"].get(f"{row['from_ft']}-{row['to_ft']}")
                if wanted is None:
                    continue
                count += 1
                inside += row["lo90_s"] <= wanted <= row["hi90_s"]
    assert count > 50, count
    assert inside >= stats.binom.ppf(0.01, count, 0.9), (inside, count)


FILE = """[car]
name = "egret"
race_weight = "2600 lb"
wheelbase = "105 in"
power = "800 hp"
tyre_circumference = "100 in"
final_drive = 4.1
"""
DEEP = """gear_ratios = [1.8, 1.0]
front_weight_pct = 47
centre_of_gravity_height = "20 in"
minimum_weight = "2575 lb"
[car.limits.driveshaft_speed]
high = "7600 rpm"
[car.powertrain]
power_curve = [["5000 rpm", "650 hp"], ["6000 rpm", "750 hp"], ["6800 rpm", "800 hp"], ["7500 rpm", "770 hp"]]
converter_stall = "5200 rpm"
shift_rpm = "7200 rpm"
[car.tyre]
growth = "2 in"
speed_limit = "170 mph"
"""


def new_car(runlog: Program, text: str) -> None:
    runlog.write("egret.toml", text)
    runlog.write("slips.csv", "car,date,run,t60_s,t330_s,t660_s,v660_mph,t1000_s,t1320_s,v1320_mph\n"
                              "egret,2032-03-01,1,1.42,3.85,5.88,121,7.63,9.08,155\n")  # fmt: skip
    runlog("new", "egret.duckdb")
    done = runlog("import", "egret.toml", "slips.csv")
    assert done.code == 0, done.err


def test_a_bare_car_file_gets_weight_and_power_but_no_gearing(runlog: Program) -> None:
    new_car(runlog, FILE)
    page = runlog("suppose", "race weight -50", "power +10", "final drive=4.3", "--json").json()
    assert faults("suppose", page) == []
    weight, power, gear = page["changes"]
    assert elapsed(weight["effects"])["mean_s"] < 0
    assert elapsed(power["effects"])["mean_s"] < 0
    assert gear["opinion"] is False
    assert "gear_ratios" in gear["why_not"]
    assert page["finish"]["after"]["engine_speed_rpm"] is None
    # a model without a driveline still tells how fast the shaft turns: tread speed / circumference × final drive, less
    # the tyre's growth of 2 % or so
    was, now = page["finish"]["before"]["driveshaft_speed_rpm"], page["finish"]["after"]["driveshaft_speed_rpm"]
    turns = page["finish"]["before"]["tyre_speed_mph"] * 0.44704 * 60 / (100 * 0.0254) * 4.1
    assert turns * 0.97 < was < turns
    assert now / was == pytest.approx(4.3 / 4.1, rel=0.01)


def test_a_bare_car_file_s_gearing_is_held_to_the_driveshaft_s_limit_all_the_same(runlog: Program) -> None:
    """155 mph on 100 in: 155 × 1056 in/min / 100 in × 4.1 = 6711 rpm and a little slip; 7000 rpm is 4 % more."""
    lever = '[[car.adjustable]]\nname = "final drive"\nat_hand = [4.1, 4.5]\n'
    new_car(runlog, FILE + '[car.limits.driveshaft_speed]\nhigh = "7000 rpm"\n' + lever)
    runlog.write("base.csv", "car,sheet,item,value,unit\negret,full,final drive,4.1,1\n")
    runlog.write("more.csv", "car,date,run,t60_s,t330_s,t660_s,v660_mph,t1000_s,t1320_s,v1320_mph\n"
                             "egret,2032-03-01,2,1.42,3.85,5.88,121,7.63,9.08,155\n")  # fmt: skip
    assert runlog("import", "base.csv", "more.csv").code == 0
    for words in (["suppose", "final drive=4.5"], ["forecast", "--suppose", "final drive=4.5"]):
        done = runlog(*words)
        assert (done.code, "refused: driveshaft speed at the finish" in done.err) == (1, True), words
    assert runlog("suppose", "final drive=4.15").code == 0
    assert runlog("suppose", "tyre circumference=92in").code == 1, "the shaft turns the faster for a smaller tyre"
    done = runlog("plan", "--adjustable", "final drive")
    assert (done.code, "final drive 4.5: not proposed, driveshaft speed at the finish" in done.err) == (1, True)


def test_before_a_car_has_run_its_file_alone_speaks(runlog: Program) -> None:
    runlog.write("egret.toml", FILE)
    runlog("new", "egret.duckdb")
    assert runlog("import", "egret.toml").code == 0
    page = runlog("suppose", "power +10hp", "--json").json()
    assert faults("suppose", page) == []
    assert (page["runs_fitted"], page["runs_used"], page["run"], page["clearance"]["to_ft"]) == (0, 0, None, 0)
    assert elapsed(page["answer"])["mean_s"] < 0
    assert {row["source"] for row in page["answer"]} == {"physics"}
    assert any("no run to fit to" in note for note in page["notes"])


def test_a_deep_car_file_is_kept_and_its_limits_are_held(runlog: Program) -> None:
    new_car(runlog, FILE + DEEP)
    page = runlog("suppose", "final drive=4.2", "converter stall +200", "--json").json()
    assert faults("suppose", page) == []
    assert [change["opinion"] for change in page["changes"]] == [True, True]
    assert page["changes"][1]["from"] == 5200
    for change, said in (
        ("race weight -30", "race weight 2570 passes the car file's low limit of 2575 lb"),
        ("ballast rear -30", "race weight 2570.0 lb is under the car file's minimum of 2575.0 lb"),
        ("final drive=5.2", "driveshaft speed at the finish"),
        ("power +250hp", "tyre speed at the finish"),
    ):
        done = runlog("suppose", change)
        assert done.code == 1
        assert said in done.err


def test_starts_from_what_the_newest_sheet_says(runlog: Program) -> None:
    new_car(runlog, FILE + DEEP)
    before = runlog("suppose", "power +10", "--json").json()
    runlog.write("sheet.csv", "car,date,run,item,value,unit\negret,2032-03-01,1,final drive,4.3,1\n")
    assert runlog("import", "sheet.csv").code == 0
    page = runlog("suppose", "final drive +0.1", "--json").json()
    assert (page["changes"][0]["from"], page["changes"][0]["to"]) == (4.3, 4.4)
    assert any("final drive 4.3" in note for note in page["notes"])
    # driveshaft speed at the finish goes with the final drive, near enough
    ratio = page["finish"]["before"]["driveshaft_speed_rpm"] / before["finish"]["before"]["driveshaft_speed_rpm"]
    assert ratio == pytest.approx(4.3 / 4.1, rel=0.02)


def test_page_fits_eighty_columns_without_markup(season: Season) -> None:
    done = season.run(
        "suppose", "ballast rear +25", "final drive=4.3", "--car", "heron", "--logbook", str(season.logbook)
    )
    assert max(len(line) for line in done.out.splitlines()) <= 80
    for words in (
        "ballast rear 50 → 75 lb",
        "final drive 4.1 → 4.3",
        "all of it together",
        "At the finish line",
        "90 %",
    ):
        assert words in done.out
