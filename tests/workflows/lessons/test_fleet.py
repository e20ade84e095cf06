"""The shop's cars together: stored car by car, put together the same whatever was imported first."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from runlog.errors import NotFound
from runlog.learning import CarRuns, Lever, Runs, car_statistics
from runlog.records import Adjustable, Car
from runlog.store import results
from runlog.workflows.lessons.fleet import Member, fleet_content, fleet_page

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Program

    from runlog.store.connection import Logbook

RPM = Adjustable("launch rpm", "rpm", 200.0, cautions="WR")
BOOST = Adjustable("boost target", "psi", 1.0, cautions="F", acts="power")
CARS = {
    name: Car(name, 1200.0, 2.667, 600e3, 2.55, 4.1, adjustables=(RPM, BOOST))
    for name in ("egret", "gull", "teal", "tern")
}


def lever(item: Adjustable) -> Lever:
    return Lever(item.name, item.step, item.unit, np.zeros(5), np.full(5, 0.012))


def member(name: str, effect: float, seed: int, moved: bool = True) -> Member:
    """A car of 16 runs on two days whose first 60 ft gain ``effect`` [s] by a step of launch rpm; scatter 3 ms."""
    rng = np.random.default_rng(seed)
    x = np.tile([0.0, 1.0, 1.0, 0.0], 4) * moved
    times = np.column_stack([1.4 + effect * x, *(np.full(16, value) for value in (2.4, 2.0, 1.7, 1.5))])
    runs = Runs(
        tuple(f"{name}/{n}" for n in range(16)), times + rng.normal(0, 0.003, times.shape), np.repeat([1, 2], 8),
        np.tile(np.arange(8.0), 2), np.column_stack([x, 0 * x]), None, np.zeros(16, dtype=bool),
    )  # fmt: skip
    levers = (lever(RPM), lever(BOOST))
    return Member(car_statistics(CarRuns(name, runs, levers)), levers, ((0.0, 1.0 * moved), (0.0, 0.0)), 16, 2, 1320)


def test_what_is_stored_comes_back_digit_by_digit() -> None:
    one = member("teal", -0.02, 1)
    again = Member.from_plain(json.loads(json.dumps(one.plain())))
    assert again.plain() == one.plain()


def test_the_order_of_the_cars_changes_nothing() -> None:
    shop = [member("teal", -0.02, 1), member("egret", -0.015, 2), member("gull", -0.03, 3)]
    assert fleet_content(shop, CARS) == fleet_content(shop[::-1], CARS)


def test_effect_common_to_all_cars_is_found_with_more_doubt_for_another_car() -> None:
    """Truth by construction: −20 ms in every car."""
    shop = [member(name, -0.02, seed) for seed, name in enumerate(CARS)]
    page = fleet_content(shop, CARS)
    row = next(row for row in page["effects"] if (row["adjustable"], row["to_ft"]) == ("launch rpm", 60))
    assert row["lo90_s"] < -0.02 < row["hi90_s"]
    assert row["verdict"] == "helped"
    assert row["new_car_hi90_s"] - row["new_car_lo90_s"] > row["hi90_s"] - row["lo90_s"]
    assert row["cars_tried"] == row["cars_with"] == sorted(CARS)
    assert page["disagreements"] == []
    assert {row["adjustable"] for row in page["effects"] if row["beyond_tried"]} == {"boost target"}


def test_the_car_that_goes_the_other_way_is_named() -> None:
    shop = [member(f"car-{n}", -0.02, n) for n in range(8)] + [member("tern", 0.05, 9)]
    found = fleet_content(shop, CARS)["disagreements"]
    assert (found[0]["car"], found[0]["adjustable"], found[0]["to_ft"]) == ("tern", "launch rpm", 60)
    assert found[0]["expected_s"] < 0 < found[0]["found_s"]


def test_what_many_cars_have_and_none_has_tried_comes_first_and_the_engine_is_left_alone() -> None:
    wing = Lever("wing angle", 1.0, "deg", np.zeros(5), np.full(5, 0.012))
    shop = [member("teal", 0.0, 1, moved=False), member("egret", 0.0, 2, moved=False)]
    levers = (lever(RPM), lever(BOOST), wing)
    x = np.zeros((3, 3))
    runs = Runs(("1", "2", "3"), np.full((3, 5), 1.5), np.ones(3, dtype=int), np.arange(3.0), x, None, x[:, 0] > 0)
    shop.append(Member(car_statistics(CarRuns("gull", runs, levers)), levers, ((0.0, 0.0),) * 3, 3, 1, 1320))
    winged = replace(CARS["gull"], adjustables=(RPM, BOOST, Adjustable("wing angle", "deg", 1.0)))
    proposed = fleet_content(shop, {**CARS, "gull": winged})["next"]
    assert [row["adjustable"] for row in proposed] == ["launch rpm", "wing angle"]
    # by hand: nothing known; of no run yet one in fourteen may be lost (0.5/7), three in a there and back of 2.25 h
    kept = (1 - 0.5 / 7) ** 3
    assert [len(row["cars_with"]) for row in proposed] == [3, 1]
    assert [row["worth"] for row in proposed] == pytest.approx([3 * kept / 2.25, 1 * kept / 2.25])
    assert proposed[0]["cautions"]


def test_a_car_that_cannot_test_it_now_is_named_and_left_out() -> None:
    shop = [member("teal", 0.0, 1, moved=False), member("egret", 0.0, 2, moved=False)]
    (both,) = fleet_content(shop, CARS)["next"]
    (one,) = fleet_content(shop, CARS, lambda car, _: "barred" if car == "teal" else None)["next"]
    assert (one["cars_with"], one["cars_free"]) == (["egret", "teal"], ["egret"])
    assert one["held"] == [{"car": "teal", "why": "barred"}]
    assert one["worth"] == pytest.approx(both["worth"] / 2), "half of the cars could do it"
    assert fleet_content(shop, CARS, lambda *_: "no next run")["next"] == []
    off = {**CARS, "teal": replace(CARS["teal"], adjustables=(BOOST,))}
    assert fleet_content(shop, off)["next"][0]["held"] == [{"car": "teal", "why": "its car file doesn't have it"}]


def test_minutes_and_lost_runs_count_against_a_test() -> None:
    shop = [member("teal", 0.0, 1, moved=False), member("egret", 0.0, 2, moved=False)]
    (plain,) = fleet_content(shop, CARS)["next"]
    slow = {name: replace(car, adjustables=tuple(replace(item, minutes=120.0) for item in car.adjustables))
            for name, car in CARS.items()}  # fmt: skip
    (late,) = fleet_content(shop, slow)["next"]
    # by hand: 45 minutes and twice 120
    assert late["hours"] == pytest.approx(4.75)
    assert late["worth"] == pytest.approx(plain["worth"] * 2.25 / 4.75)
    losing = [replace(one, lost=((6, 4), (0, 0))) for one in shop]
    (costly,) = fleet_content(losing, CARS)["next"]
    assert (costly["runs_away"], costly["runs_lost"]) == (12, 8)
    # Beta(0.5, 6.5) and 8 of 12: (0.5 + 8)/(7 + 12), BDA3 § 2.4
    assert costly["lost_rate"] == pytest.approx(8.5 / 19)
    assert costly["worth"] < 0.3 * plain["worth"]


def test_an_empty_logbook_has_no_fleet(book: Logbook) -> None:
    with pytest.raises(NotFound, match="no car with a car file has run yet"):
        fleet_page(book)


def test_a_new_run_of_one_car_leaves_the_others_statistics_untouched(season_copy: Program, tmp_path: Path) -> None:
    from runlog.store.connection import open_logbook

    def stored() -> dict[str, str]:
        with open_logbook(tmp_path / "demo.duckdb", read_only=True) as book:
            return {car: json.dumps(content) for car, content in results.fleet_statistics(book).items()}

    before = stored()
    season_copy.write("more.csv", "car,date,run,lane,t60_s,t330_s\nheron,2031-08-01,1,left,1.40,3.79\n")
    assert season_copy("import", "more.csv").code == 0
    after = stored()
    assert sorted(before) == sorted(after) == ["curlew", "dunlin", "heron", "plover", "wigeon"]
    assert [car for car in before if before[car] != after[car]] == ["heron"]
