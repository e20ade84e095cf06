"""``runlog chassis`` as a user runs it, over the demo season and over a logbook of its own."""

from __future__ import annotations

import copy
import xml.etree.ElementTree as ElementTree
from typing import TYPE_CHECKING

import pytest
from published import faults

if TYPE_CHECKING:
    from conftest import Program, Season

CARS = ("curlew", "dunlin", "heron", "plover", "wigeon")
CAR = """
[car]
name = "gull"
race_weight = "820 kg"
wheelbase = "2.5 m"
power = "600 hp"
tyre_circumference = "2.5 m"
final_drive = 4.1
centre_of_gravity_height = "0.5 m"
[[car.adjustable]]
name = "upper link front hole"
holes = [{ label = "A", x = "0.40 m", z = "0.40 m" }, { label = "[red]B", x = "0.40 m", z = "0.38 m" }]
[[car.adjustable]]
name = "upper link rear hole"
holes = [{ label = "A", x = "0 m", z = "0.45 m" }]
[[car.adjustable]]
name = "lower link front hole"
holes = [{ label = "A", x = "0.60 m", z = "0.25 m" }]
[[car.adjustable]]
name = "lower link rear hole"
holes = [{ label = "A", x = "0 m", z = "0.20 m" }]
"""
SHEET = """car,date,run,sheet,item,value,unit
gull,,,full,upper link front hole,A,hole
gull,,,full,weight left front,220,kg
gull,,,full,weight right front,200,kg
gull,,,full,weight left rear,190,kg
gull,,,full,weight right rear,210,kg
"""


@pytest.fixture
def gull(runlog: Program) -> Program:
    runlog.write("pits/gull.toml", CAR)
    runlog.write("pits/gull_baseline.csv", SHEET)
    assert runlog("new", "gull.duckdb").code == 0
    done = runlog("import", "pits")
    assert done.code == 0, done.err
    return runlog


def test_schema_notices_what_is_wrong(season: Season) -> None:
    page = season.json("chassis", "heron")
    assert faults("chassis", page) == []
    broken = copy.deepcopy(page)
    del broken["anti_squat_pct"]
    broken["instant_centre"]["x_m"] = "far"
    broken["more"] = 1
    assert len(faults("chassis", broken)) == 3


@pytest.mark.parametrize("car", CARS)
def test_every_car_of_the_season(season: Season, car: str) -> None:
    page = season.json("chassis", car)
    assert faults("chassis", page) == []
    assert page["setup_from"].startswith(f"{car}/")
    assert page["anti_squat_pct"] > 0
    assert page["total_kg"] == pytest.approx(sum(page["corner_weights_kg"].values()), abs=1e-2)
    made = season.run("chassis", car)
    assert made.code == 0
    assert max(map(len, made.out.splitlines())) <= 80


def test_exact_case_before_any_run(gull: Program) -> None:
    """Links that meet at (1.2, 0.3) m: 125 %; weights by arithmetic. The setup is the baseline sheet's."""
    page = gull("chassis", "gull", "--json").json()
    assert faults("chassis", page) == []
    assert page["setup_from"] == "baseline sheet"
    assert page["instant_centre"] == {"x_m": pytest.approx(1.2), "z_m": pytest.approx(0.3)}
    assert page["anti_squat_pct"] == pytest.approx(125, abs=1e-3)
    assert page["corner_weights_kg"]["left_front"] == 220
    assert page["wheel_lift_acceleration_g"] == pytest.approx(2.5 * 420 / 820 / 0.5, abs=1e-4)
    assert page["suppose"] is None
    assert page["combinations"] is None
    assert "car file: rear_track, for axle steer and preload tendency" in page["missing"]


def test_page_in_words(gull: Program) -> None:
    out = gull("chassis", "gull").out
    words = " ".join(out.split())
    assert "gull: chassis four-link, setup of baseline sheet" in words
    assert "anti-squat 125.0 %" in words
    assert "instant centre, x ahead of axle 47.24 in" in words
    for caution in ("the front may rise suddenly", "check jam nuts, clearance and bind", "in or under a raised car",
                    "rules, makers' limits and licensed inspection come first"):  # fmt: skip
        assert caution in words
    metric = gull("chassis", "gull", RUNLOG_UNITS="metric").out
    assert "1200 mm" in metric


def test_setup_of_a_run(season: Season) -> None:
    """heron ran 6 and 7 of 7 June after a hole change; its first run had the baseline's hole 1."""
    first = season.json("chassis", "--run", "heron/2031-04-12/1")
    assert first["setup_from"] == "heron/2031-04-12/1"
    assert first["holes"][0]["hole"] == "1"
    newest = season.json("chassis", "heron")
    assert newest["setup_from"] == "heron/2031-06-07/7"
    wrong = season.run("chassis", "plover", "--run", "heron/2031-04-12/1")
    assert wrong.code == 2
    assert "heron/2031-04-12/1 is not a run of plover" in wrong.err


def test_suppose_shows_before_and_after(gull: Program) -> None:
    page = gull("chassis", "gull", "--json", "--suppose", "upper link front hole=[red]B").json()
    assert faults("chassis", page) == []
    after = page["suppose"]
    assert after["changes"][0] | {"cautions": []} == {
        "adjustable": "upper link front hole", "unit": "hole", "from": "A", "to": "[red]B", "cautions": [],
    }  # fmt: skip
    # by hand: slopes 1/12 and −0.07/0.4 meet at x = 0.25/(1/12 + 0.175)
    x = 0.25 / (1 / 12 + 0.175)
    assert after["instant_centre"]["x_m"] == pytest.approx(x, abs=1e-6)
    assert after["anti_squat_pct"] == pytest.approx(100 * (0.2 + x / 12) / x / 0.2, abs=1e-3)
    assert page["anti_squat_pct"] == pytest.approx(125, abs=1e-3)
    shown = gull("chassis", "gull", "--suppose", "upper link front hole=[red]B").out
    assert "supposed: upper link front hole A → [red]B" in shown
    assert "+20.0 %" in shown  # by hand: (0.2/x + 1/12)/0.2 is 145 %, against 125 %


def test_suppose_a_hole_where_none_is_known(runlog: Program) -> None:
    """Without a sheet nothing is known now, and the supposed hole alone gives the exact case of 125 %."""
    runlog.write("gull.toml", CAR)
    assert runlog("new", "gull.duckdb").code == 0
    assert runlog("import", "gull.toml").code == 0
    done = runlog("chassis", "gull", "--suppose", "upper link front hole=A")
    assert done.code == 0, done.err
    assert "setup of no sheet yet" in done.out
    row = next(row for row in done.out.splitlines() if row.startswith("anti-squat"))
    assert row.split() == ["anti-squat", "–", "125.0", "%", "–"]
    assert "setup sheet: upper link front hole, for the instant centre" in done.out


def test_limits_are_never_passed(season: Season) -> None:
    done = season.run("chassis", "heron", "--suppose", "ballast rear=200 lb")
    assert done.code == 2
    assert done.out == ""
    assert "ballast rear 200 passes the car file's high limit of 125 lb" in done.err


def test_holes_by_target(season: Season) -> None:
    page = season.json("chassis", "heron", "--holes", "--target", "110")
    assert faults("chassis", page) == []
    rows = page["combinations"]
    assert len(rows) == 24  # 3 × 2 × 2 × 2 holes in the car file
    away = [abs(row["off_target_pct"]) for row in rows]
    assert away == sorted(away)
    assert sum(row["moved"] == 0 for row in rows) == 1
    shown = season.run("chassis", "heron", "--holes", "--target", "110").out
    assert "24 allowed combinations of holes, nearest to 110.0 % anti-squat first" in shown
    assert "in use" in shown
    assert max(map(len, shown.splitlines())) <= 80
    assert season.json("chassis", "heron", "--holes")["combinations"][0]["moved"] == 0


def test_combinations_as_a_drawing(gull: Program) -> None:
    """Two upper front holes: 125 %, in use, and 145 %, nearest to the target."""
    done = gull("chassis", "gull", "--holes", "--target", "140", "--svg", "holes.svg")
    assert done.code == 0, done.err
    assert "chart of hole combinations written to holes.svg" in done.err
    words = "".join(ElementTree.parse(gull.folder / "holes.svg").getroot().itertext())
    assert "gull: instant centres of the allowed holes" in words
    assert "nearest to 140.0 % anti-squat" in words
    assert "X in use  N nearest to 140.0 %" in done.out
    assert max(map(len, done.out.splitlines())) <= 80


def test_ballast_plan(season: Season) -> None:
    """2700 lb with 100 lb in the rear mount: 50 lb more, 0.3 m behind the axle, by moments."""
    front = 100 * (1235 - 50 * 0.3 / 2.667) / 2700
    words = ("chassis", "heron", "--total", "2700lb", "--front", f"{front:.6f}")
    page = season.json(*words)
    assert faults("chassis", page) == []
    assert page["ballast_plan"]["mounts"] == [{"adjustable": "ballast rear", "unit": "lb", "from": 50, "to": 100}]
    assert page["ballast_plan"]["front_pct"] == pytest.approx(front, abs=1e-3)
    shown = season.run(*words).out
    assert "gives 2700 lb with 45.5 % front" in shown
    assert "weigh the car again" in " ".join(shown.split())


def test_svg_is_written(gull: Program) -> None:
    done = gull("chassis", "gull", "--svg", "side.svg", "--json")
    assert done.json()["car"] == "gull"
    assert "side view written to side.svg" in done.err
    root = ElementTree.parse(gull.folder / "side.svg").getroot()
    assert any("anti-squat 125.0 %" in words for words in root.itertext())
    bad = gull("chassis", "gull", "--svg", "nowhere/side.svg")
    assert bad.code == 1
    assert "can't be written" in bad.err


def test_wrong_use(season: Season) -> None:
    for words, message in (
        (("chassis", "heron", "--target", "100"), "give --holes too"),
        (("chassis", "heron", "--total", "2700lb"), "give --total and --front together"),
        (("chassis", "heron", "--total", "2700", "--front", "46"), "no unit"),
        (("chassis", "heron", "--total", "2700lb", "--front", "146"), "outside 0 to 100 per cent"),
        (("chassis", "heron", "--holes", "--target", "5000"), "outside -1000 to 1000 per cent"),
        (("chassis", "heron", "--suppose", "launch rpm=4000"), "has no bearing on the chassis figures"),
    ):
        done = season.run(*words)
        assert done.code == 2, words
        assert message in done.err
    done = season.run("chassis", "finch")
    assert done.code == 1
    assert "no car 'finch' in the logbook" in done.err


def test_two_weighings_that_must_not_be_compared(gull: Program) -> None:
    gull.write("later/slips.csv", "car,date,run,t60_s\ngull,2031-05-01,1,1.5\n")
    gull.write("later/again.csv", "car,date,run,item,value,unit\ngull,2031-05-01,1,weight left front,230,kg\n")
    done = gull("import", "later")
    assert done.code == 0, done.err
    page = gull("chassis", "gull", "--json").json()
    assert faults("chassis", page) == []
    assert page["weighings"]["comparable"] is False
    text = " ".join(gull("chassis", "gull").out.split())
    assert "not to be compared: first weighing baseline sheet, second gull/2031-05-01/1" in text
    assert "driver weight was not noted in the first and second weighings" in text


def test_loads_at_the_launch_with_their_cautions(season: Season) -> None:
    """The peak of the newest clean trace; more is on the driven tyres than at rest, and the page says what to mind."""
    page = season.json("chassis", "heron")
    launch = page["launch"]
    assert launch["acceleration_from"].startswith("peak of the trace of heron/")
    assert launch["driven_tyres_pct"] > 100 - page["front_pct"]
    assert launch["tyres_n"]["left_rear"] > launch["tyres_n"]["right_rear"]
    text = " ".join(season.run("chassis", "heron").out.split())
    assert "! an estimate of loads, not leave to launch harder" in text
    assert max(map(len, season.run("chassis", "heron").out.splitlines())) <= 80


def test_height_from_raised_weighings(gull: Program) -> None:
    """By hand: 820 kg, L 2.5 m, both radii 0.30 m; a gain of W · 0.2/2.5 · tan φ makes h 0.30 + 0.20 m."""
    lifts = (0.0, 0.2, 0.4, 0.6)
    loads = [400 + 820 * 0.2 / 2.5 * lift / (2.5**2 - lift**2) ** 0.5 for lift in lifts]
    rows = "".join(f"front,{lift},{load:.6f}\n" for lift, load in zip(lifts, loads, strict=True))
    gull.write("lifts.csv", "raised_axle,lift_m,load_kg\n" + rows)
    words = ("chassis", "gull", "--raised", "lifts.csv", "--front-radius", "300mm", "--rear-radius", "300mm")
    page = gull(*words, "--json").json()
    assert faults("chassis", page) == []
    found = page["raised_axle"]
    assert found["height_m"] == pytest.approx(0.5, abs=1e-5)
    assert found["x_m"] == pytest.approx(2.5 * 420 / 820, abs=1e-5)
    assert found["total_from"] == "scale readings"
    assert gull("chassis", "gull", "--json").json()["raised_axle"] is None
    done = gull(*words)
    assert done.code == 0, done.err
    shown = " ".join(done.out.split())
    assert "height 19.7 in, standard uncertainty 0.00 in" in shown
    assert "! nobody in or under a raised car: it can roll off or fall" in shown
    assert "only the front was raised" in shown
    assert max(map(len, done.out.splitlines())) <= 80
    assert "height 500 mm" in gull(*words, RUNLOG_UNITS="metric").out


def test_raised_weighings_that_cant_be_used(gull: Program) -> None:
    gull.write("lifts.csv", "raised_axle,lift_m,load\nfront,0,400\n")
    for words, code, message in (
        (("--front-radius", "300mm"), 2, "give --raised too"),
        (("--raised", "lifts.csv", "--front-radius", "3m"), 2, "--front-radius: 3m is outside 0.1 to 1 m"),
        (("--raised", "nowhere.csv", "--front-radius", "300mm"), 1, "nowhere.csv can't be read"),
        (("--raised", "lifts.csv", "--front-radius", "300mm"), 1, "no column load_<unit>"),
    ):
        done = gull("chassis", "gull", *words)
        assert done.code == code, words
        assert message in done.err
