"""Runs that the car itself lost, on every page that gives a verdict on their setting; traps left coasting."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

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
"""
TRACK = """[track]
name = "upfell"
elevation = "1 m"
[[track.trap]]
beam_ft = 660
length = "132 ft"
past = "66 ft"
"""
HEAD = "car,date,run,time,track,purpose,t60_s,t330_s,t660_s,v660_mph,t1000_s,t1320_s,v1320_mph,spoiled\n"
DAY = "2031-04-12"


@pytest.fixture
def shop(runlog: Program) -> Program:
    """A logbook with a car, a track whose 660 ft trap ends behind its beam, and the car's baseline."""
    runlog("new", "a.duckdb")
    base = "car,sheet,item,value,unit\nteal,full,launch rpm,4200,rpm\n"
    files = {"teal.toml": CAR, "upfell.toml": TRACK, "base.csv": base}
    assert runlog("import", *(runlog.write(name, text) for name, text in files.items())).code == 0
    return runlog


def test_no_page_says_helped_while_the_car_loses_more_runs_at_that_setting(shop: Program) -> None:
    """One step is 50 ms quicker to 60 ft, beyond doubt: without the lost runs it has helped, with them nobody knows."""
    rng = np.random.default_rng(5)
    values = [4200, 4400, 4400, 4200] * 4 + [4400, 4400, 4200]
    sheet = "car,date,run,item,value,unit\n" + "".join(
        f"teal,{DAY},{n},launch rpm,{value},rpm\n" for n, value in enumerate(values, 1)
    )
    rows = []
    for n, value in enumerate(values[:16], 1):
        t60 = 1.45 - (0.05 if value > 4300 else 0.0) + rng.normal(0, 0.004)
        times = [t60, *(t60 + more for more in (2.42, 4.42))]
        rows.append(f"teal,{DAY},{n},{7 + n}:00,,full,{','.join(f'{t:.3f}' for t in times)},,,,,\n")
    shop("import", shop.write("sheet.csv", sheet))
    shop("import", shop.write("slips.csv", HEAD + "".join(rows)))

    def verdicts() -> tuple[set[str], set[str]]:
        effects = shop("effects", "--json").json()["effects"]
        changes = shop("review", DAY, "--json").json()["changes"]
        return {row["verdict"] for row in effects if row["to_ft"] == 60}, {
            part["verdict"] for change in changes for part in change["increments"] if part["to_ft"] == 60
        }

    assert verdicts() == ({"helped"}, {"helped"})
    lost = [f"teal,{DAY},{n},23:{n}:00,,full,,,,,,,,car: wheelstand\n" for n in (17, 18)]
    lost += [f"teal,{DAY},19,23:30:00,,full,,,,,,,,driver: lift\n"]
    done = shop("import", shop.write("lost.csv", HEAD + "".join(lost)))
    assert done.code == 0, done.err
    assert verdicts() == ({"cannot_tell"}, {"cannot_tell"})
    for page in (shop("effects"), shop("review", DAY)):
        assert "✓ helped" not in page.out
    counted = shop("effects", "--json").json()["spoiled_runs"]
    assert counted == {"car": 2, "driver": 1, "track": 0, "timing": 0, "not_told": 0}
    runs = shop("runs", "--json").json()
    assert [run["spoiled_class"] for run in runs if not run["clean"]] == ["car", "car", "driver"]


def test_the_speed_of_a_trap_that_was_left_coasting_does_not_count(shop: Program) -> None:
    """The trap ends at 726 ft, a run planned to 660 ft shuts off in it: its time counts, its speed doesn't."""
    rows = [
        f"teal,{DAY},1,10:00,upfell,full,1.42,3.85,5.87,127.5,7.61,9.07,155.5,\n",
        f"teal,{DAY},2,11:00,upfell,660,1.42,3.85,5.87,121.5,,,,\n",
    ]
    assert shop("import", shop.write("slips.csv", HEAD + "".join(rows))).code == 0
    full, short = (shop("show", f"teal/{DAY}/{n}", "--json").json() for n in (1, 2))
    assert [row["counts"] for row in full["speeds"]] == [True, True]
    assert [row["counts"] for row in short["speeds"]] == [False, False]
    assert short["run"]["valid_to_ft"] == 660
    assert short["speeds"][0]["corrected_mph"] is None
    assert "at 660 ft 121.50 mph ×" in shop("show", f"teal/{DAY}/2").out
    assert "×" not in shop("show", f"teal/{DAY}/1").out
    shop("add", "report", "--date", DAY, "--number", "2", "--moved", "left", "--moved-at", "200")
    review = shop("review", DAY, "--json").json()
    assert [run["coasted_ft"] for run in review["runs"]] == [[], [660, 1320]]
    assert review["runs"][1]["driver_report"]["summary"].startswith("moved left at 200 ft")
    assert "run 2 driver: moved left at 200 ft" in shop("review", DAY).out
    assert "moved left at 200 ft" in shop("review", DAY, "--html", "day.html").out + (
        shop.folder / "day.html"
    ).read_text(encoding="utf-8")
