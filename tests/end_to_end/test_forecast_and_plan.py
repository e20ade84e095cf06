"""``runlog forecast`` and ``runlog plan`` over the demo season: schemas, pages, limits, and the season's own record."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from published import faults
from scipy import stats

if TYPE_CHECKING:
    from conftest import Program, Season

CARS = ("curlew", "dunlin", "heron", "plover", "wigeon")


def too_wide(text: str) -> list[str]:
    return [line for line in text.splitlines() if len(line.rstrip()) > 80]


@pytest.mark.slow
def test_forecasts_of_every_car_fit_their_schema_and_the_page(season_copy: Program) -> None:
    for car in CARS:
        page = season_copy("forecast", "--car", car, "--dial", "9.0", "--lane", "left", "--json").json()
        assert faults("forecast", page) == [], car
        finish = page["finish_ft"]
        for split in page["splits"]:
            assert (split["mean_s"] is None) == (split["distance_ft"] > finish), car
        assert 0 < page["splits"][0]["sd_s"] < 0.1
        done = season_copy("forecast", "--car", car, "--dial", "9.0", "--lane", "left")
        assert done.code == 0
        assert too_wide(done.out) == []
        assert "not clean at all" in done.out
    record = season_copy("forecast", "--record", "--json").json()
    assert faults("forecast_record", record) == []
    assert (record["forecasts"], record["waiting"]) == (5, 5)


@pytest.mark.slow
def test_plans_of_every_car_fit_their_schema_and_keep_to_the_car_file(season: Season, demo_folder: Path) -> None:
    for car in CARS:
        page = season.json("plan", "--car", car, "--runs", "4")
        assert faults("plan", page) == [], car
        assert len(page["steps"]) == 4
        file = tomllib.loads((demo_folder / "cars" / f"{car}.toml").read_text(encoding="utf-8"))["car"]
        items = {item["name"]: item for item in file["adjustable"]}
        for line in [line for step in page["steps"] for line in step["set"]]:
            item = items[line["item"]]
            if item.get("holes"):
                assert line["value"] in {hole["label"] for hole in item["holes"]}
            else:
                assert item.get("low", -1e9) <= line["value"] <= item.get("high", 1e9), (car, line)
            assert "F" not in item.get("cautions", "")
            assert line["item"] not in ("boost target", "nitrous delay", "launch ignition retard")
        done = season.run("plan", "--car", car, "--runs", "4")
        assert too_wide(done.out) == []
        assert season.program("plan", "--car", car, "--runs", "4").out == done.out, "the same question, the same answer"


def test_demo_ends_with_a_plan(season: Season) -> None:
    assert "plan from run 8" in season.made.out
    assert "by this plan  there and back  change and stay" in season.made.out


@pytest.mark.slow
def test_a_day_with_a_plan_and_forecasts(season_copy: Program) -> None:
    """Plan, forecast, run, look: the plan's next run stands on the page and the forecast is held against the slip."""
    plan = season_copy("plan", "--car", "heron", "--runs", "2", "--accept", "--json")
    assert "Accepted as heron's plan for 2031-06-07" in plan.err
    first = plan.json()["steps"][0]
    shown = season_copy("show", "heron/latest")
    where = "the finish" if first["purpose"] == "full" else f"{first['purpose']} ft"
    assert f"plan: next run {first['run']} to {where}" in shown.out
    assert len(shown.out.splitlines()) <= 50
    assert season_copy("show", "heron/latest", "--json").json()["plan"] == {"steps": 2, "next": first}
    told = season_copy("forecast", "--car", "heron", "--time", "21:40", "--json").json()
    slip = ("--car", "heron", "--date", "2031-06-07", "--number", "8", "--time", "21:40", "--track", "lowfield")
    times = ("--60", "1.390", "--330", "3.830", "--660", "5.870", "--1000", "7.620", "--1320", "9.090")
    assert season_copy("add", "run", *slip, *times).code == 0
    record = season_copy("forecast", "--record", "--car", "heron", "--json").json()
    assert faults("forecast_record", record) == []
    assert (record["scored"], record["waiting"]) == (1, 0)
    finish = record["distances"][-1]
    assert finish["mean_error_s"] == pytest.approx(9.09 - told["splits"][-1]["mean_s"], abs=1e-4)
    pit = stats.norm.cdf(9.09, told["splits"][-1]["mean_s"], told["splits"][-1]["sd_s"])  # oracle: scipy
    assert finish["pit"][int(pit * 10)] == 1
    page = season_copy("forecast", "--record", "--car", "heron")
    assert too_wide(page.out) == []
    assert "too few to judge: 10 are needed" in page.out
    assert season_copy("show", "heron/latest", "--json").json()["plan"]["next"]["run"] == 9
    before = season_copy("forecast", "--record", "--json").json()
    assert season_copy("rebuild").code == 0
    assert season_copy("forecast", "--record", "--json").json() == before


@pytest.mark.slow
def test_what_each_run_s_forerunners_led_to_expect_of_the_season_is_right_as_often_as_it_claims(season: Season) -> None:
    """119 runs of five cars by a simulation that isn't the model's.

    Binomial limits at 1 % on each side (scipy), as if runs were independent.
    """
    page = season.json("forecast", "--record", "--look-back")
    assert faults("forecast_record", page) == []
    rows = page["look_back"]["distances"]
    assert min(row["count"] for row in rows) > 50
    for row in rows:
        n = row["count"]
        low, high = stats.binom.ppf([0.01, 0.99], n, 0.9)
        assert low <= row["inside90"] <= high, row
        assert sum(row["pit"]) == n
        assert abs(row["mean_error_s"]) < 3 * row["rms_error_s"] / n**0.5
    page_text = season.run("forecast", "--record", "--look-back").out
    assert too_wide(page_text) == []
    assert "1320 ft  " in page_text, "no column is squeezed"


@pytest.mark.parametrize("name", ["forecast", "forecast_record", "plan"])
def test_schemas_refuse_what_is_not_a_page(season: Season, name: str) -> None:
    words = {"forecast_record": ("forecast", "--record"), "plan": ("plan", "--car", "heron")}
    if name == "forecast":
        assert faults(name, {"splits": []}) != []
        return
    page = season.json(*words[name])
    assert faults(name, page) == []
    for key in page:
        assert faults(name, {other: value for other, value in page.items() if other != key}) != [], key
