"""A season's mistakes made on purpose: each is caught, asked with its evidence, and its answer takes effect.

Car, track and days are invented. The runs follow a closed form: traction-limited at a0, then constant power
(R. Stephenson, "Constant power equations of motion", Am. J. Phys. 50 (1982) 1150), so slip and trace agree unless a
mistake is made.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from runlog.constants import FOOT, POUND, STANDARD_GRAVITY

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Program

pytestmark = pytest.mark.slow

A0 = 1.4 * STANDARD_GRAVITY
POWER_TO_MASS = 400 * 550 * FOOT * POUND * STANDARD_GRAVITY / (2600 * POUND)
ROLLOUT = 0.2286
CIRCUMFERENCE, FINAL_DRIVE = 2.54, 4.1
FEET = (60, 330, 660, 1000, 1320)

CAR = """[car]
name = "{name}"
race_weight = "2600 lb"
wheelbase = "105 in"
power = "400 hp"
tyre_circumference = "100 in"
final_drive = 4.1
gear_ratios = [1.0]
[[car.adjustable]]
name = "launch rpm"
[[car.adjustable]]
name = "rear tyre pressure"
"""
TRACK = '[track]\nname = "upfell"\nelevation = "640 m"\nrollout = "9 in"\n'
BASELINE = (
    "car,sheet,item,value,unit\nsedge,full,launch rpm,4200,rpm\nsedge,full,rear tyre pressure,7,psi\n"
    "knot,full,launch rpm,4200,rpm\nknot,full,rear tyre pressure,7,psi\n"
)
COLUMNS = (
    "car", "date", "run", "time", "track", "lane", "purpose", "reaction_s", "t60_s", "t330_s", "t660_s", "v660_mph",
    "t1000_s", "t1320_s", "v1320_mph",
)  # fmt: skip
MILE_PER_HOUR = 0.44704
DRAG = 0.96
"""the closed form has no drag; a share of its end speed that a real car would reach"""


def motion(t: np.ndarray, scale: float = 1.0, lift: float = np.inf) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Distance, speed, acceleration at seconds after launch; ``scale`` stretches time; from ``lift`` on it coasts."""
    v0 = POWER_TO_MASS / A0
    t0, x0 = v0 / A0, v0**2 / (2 * A0)
    s = np.maximum(np.minimum(t, lift), 0.0) / scale
    v = np.where(s < t0, A0 * s, np.sqrt(v0**2 + 2 * POWER_TO_MASS * np.maximum(s - t0, 0.0)))
    x = np.where(s < t0, 0.5 * A0 * s**2, x0 + (v**3 - v0**3) / (3 * POWER_TO_MASS))
    a = np.where(t < 0, 0.0, np.where(s < t0, A0, POWER_TO_MASS / np.maximum(v, 1.0))) / scale**2
    v = v / scale
    rolled = np.maximum(t - lift, 0.0) if np.isfinite(lift) else np.zeros_like(t)
    return x + v * rolled - 1.5 * rolled**2, v - 3.0 * rolled, np.where(rolled > 0, -3.0, a)


@dataclass(frozen=True)
class Run:
    """A run: how it went, and what its slip, sheet and log say of it."""

    date: str
    number: int
    car: str = "sedge"
    scale: float = 1.0
    lift: float = np.inf
    purpose: str = "full"
    lane: str = "left"
    time: str = "10:00"
    launch_rpm: float = 4200.0
    logged: bool = True
    clock: str | None = None
    """of the logger's start"""
    oil_factor: float = 1.0

    @property
    def key(self) -> str:
        return f"{self.car}/{self.date}/{self.number}"

    def slip(self, **wrong: str) -> dict[str, str]:
        """The slip's line; ``wrong`` columns replace the true ones."""
        t = np.arange(0.0, 20.0, 0.001)
        x = motion(t, self.scale, self.lift)[0]
        start = np.interp(ROLLOUT, x[: x.argmax()], t[: x.argmax()])
        at = {feet: float(np.interp(ROLLOUT + feet * FOOT, x[: x.argmax()], t[: x.argmax()])) for feet in FEET}
        lead = {feet: float(np.interp(ROLLOUT + (feet - 66) * FOOT, x[: x.argmax()], t[: x.argmax()])) for feet in FEET}
        trap = {feet: 66 * FOOT / (at[feet] - lead[feet]) / MILE_PER_HOUR for feet in (660, 1320)}
        line = {
            "car": self.car, "date": self.date, "run": str(self.number), "time": self.time, "track": "upfell",
            "lane": self.lane, "purpose": self.purpose, "reaction_s": f"{0.1 + 0.013 * self.number:.3f}",
        }  # fmt: skip
        line |= {f"t{feet}_s": f"{at[feet] - start:.3f}" for feet in FEET}
        line |= {f"v{feet}_mph": f"{speed:.2f}" for feet, speed in trap.items()}
        return line | wrong

    def log(self) -> str:
        launch, rate = 2.0, 50
        clock = np.arange(0.0, launch + 13.0, 1.0 / rate)
        _, v, a = motion(clock - launch, self.scale, self.lift)
        shaft = np.maximum(v, 0.0) / CIRCUMFERENCE * 60 * FINAL_DRIVE
        engine = np.where(clock < launch, np.where(clock > 0.5, self.launch_rpm, 1300.0), np.maximum(shaft, 1300.0))
        throttle = np.where((clock > 0.5) & (clock - launch < self.lift), 100.0, 0.0)
        oil = (30.0 + 0.009 * engine) * self.oil_factor
        noise = np.random.default_rng([int(self.date[-2:]), self.number]).normal(size=(3, clock.size))
        head = "Time (s),Engine RPM,Driveshaft RPM,Accel X (g),TPS (%),Oil Pressure (psi)"
        if self.clock:
            head = f"Date: {self.date}\nTime: {self.clock}\n\n{head}"
        rows = zip(
            clock, engine + 8 * noise[0], np.maximum(shaft + 3 * noise[1], 0.0), a / 9.80665 + 0.01 * noise[2],
            throttle, oil, strict=True,
        )  # fmt: skip
        return head + "\n" + "\n".join(",".join(f"{value:.3f}" for value in row) for row in rows) + "\n"


def mph(line: dict[str, str], feet: int, factor: float) -> dict[str, str]:
    return {f"v{feet}_mph": f"{float(line[f'v{feet}_mph']) * factor:.2f}"}


CLEAN = [Run("2032-05-01", n, scale=1.0 + 0.002 * n, time=f"{9 + n}:00") for n in (1, 2, 3, 4)]
PULLED_ON = Run("2032-05-02", 1, purpose="330")
LIFTED = Run("2032-05-02", 2, lift=4.5, time="11:00")
TWICE = Run("2032-05-03", 2, scale=1.012, logged=False, time="11:00")
NEIGHBOUR = Run("2032-05-04", 1, car="knot", scale=1.05, lane="right", logged=False)
BESIDE = Run("2032-05-04", 1, scale=0.99, logged=False)
OTHERS_SLIP = Run("2032-05-05", 1)
CLOCK = Run("2032-05-06", 1, clock="11:30:00", time="10:00")
SHEET = Run("2032-05-07", 1, launch_rpm=4600.0)
KILOMETRES = Run("2032-05-08", 1, logged=False)
OIL = Run("2032-05-09", 1, oil_factor=1 / 6.894757)
UNLIKE = Run("2032-05-10", 1, logged=False)
LAST = Run("2032-05-11", 1, logged=False)
LOGGED = [*CLEAN, PULLED_ON, LIFTED, OTHERS_SLIP, CLOCK, SHEET, OIL]


def slips() -> list[dict[str, str]]:
    told = [run.slip() for run in (*CLEAN, PULLED_ON, LIFTED, CLOCK, SHEET, OIL, LAST)]
    first = Run("2032-05-03", 1, scale=1.006, logged=False)
    told += [
        first.slip(),
        TWICE.slip(**{name: text for name, text in first.slip().items() if name[0] in "tvr" and "_" in name}),
    ]
    neighbour = NEIGHBOUR.slip()
    figures = {name: text for name, text in neighbour.items() if name[0] in "tv" and "_" in name}
    told += [neighbour, BESIDE.slip(**figures)]
    told += [
        OTHERS_SLIP.slip(
            **{
                name: text
                for name, text in Run("", 1, scale=1.03).slip().items()
                if name.startswith("t") and "_" in name
            }
        )
    ]
    told += [KILOMETRES.slip(**mph(KILOMETRES.slip(), 1320, DRAG * 1.609344))]
    slow = Run("", 9, scale=1.12).slip()
    told += [UNLIKE.slip(**{name: text for name, text in slow.items() if name[0] in "tv" and "_" in name})]
    return told


AIR = "time,temperature_F,relative_humidity_pct,station_pressure_inHg\n" + "".join(
    f"2032-05-{day:02d}T{hour:02d}:00,70,50,{30.1 if day == 11 else 27.9}\n" for day in range(1, 12) for hour in (9, 15)
)
SHEETS = (
    "car,date,run,item,value,unit\n"
    "sedge,2032-05-08,1,rear tyre pressure,48.3,psi\n"
    "sedge,2032-05-01,1,weight left front,640,lb\nsedge,2032-05-01,1,weight right front,640,lb\n"
    "sedge,2032-05-01,1,weight left rear,660,lb\nsedge,2032-05-01,1,weight right rear,660,lb\n"
    "sedge,2032-05-01,1,driver weight,190,lb\nsedge,2032-05-01,1,fuel,30,lb\n"
    "sedge,2032-05-10,1,weight left front,655,lb\nsedge,2032-05-10,1,weight right front,650,lb\n"
    "sedge,2032-05-10,1,weight left rear,690,lb\nsedge,2032-05-10,1,weight right rear,680,lb\n"
    "sedge,2032-05-10,1,driver weight,0,lb\nsedge,2032-05-10,1,fuel,70,lb\n"
)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the logbook of all the mistakes is kept once the first test has made it."""
    return tmp_path_factory.mktemp("mistakes") / "shop.duckdb"


@pytest.fixture
def shop(runlog: Program, kept: Path) -> Program:
    """The command in a folder with a logbook of all the mistakes, imported as a user would."""
    if not kept.exists():
        make(runlog)
        shutil.copy(runlog.folder / "shop.duckdb", kept)
    else:
        shutil.copy(kept, runlog.folder / "shop.duckdb")
    return runlog


def make(program: Program) -> None:
    """Write the files of the season and import them."""
    assert program("new", "shop.duckdb").code == 0
    for name in ("sedge", "knot"):
        program.write(f"pits/{name}.toml", CAR.format(name=name))
    program.write("pits/upfell.toml", TRACK)
    program.write("pits/baseline.csv", BASELINE)
    program.write("pits/changes.csv", SHEETS)
    program.write("pits/air.csv", AIR)
    lines = [",".join(COLUMNS), *(",".join(line.get(name, "") for name in COLUMNS) for line in slips())]
    program.write("pits/slips.csv", "\n".join(lines) + "\n")
    for run in LOGGED:
        program.write(f"pits/{run.car}_{run.date}_{run.number}.csv", run.log())
    done = program("import", "pits", "--json")
    assert done.code == 0, [item["error"] for item in json.loads(done.out)["files"] if item["error"]]


def shown(shop: Program, run: Run) -> dict[str, Any]:
    page: dict[str, Any] = shop("show", run.key, "--json").json()
    return page


def asked(shop: Program, run: Run, kind: str) -> dict[str, Any]:
    """Return the run's question of a kind; it has to be asked, and stand on the page."""
    found = [item for item in shown(shop, run)["asked"] if item["id"].startswith(f"{kind}-")]
    assert len(found) == 1, shown(shop, run)["questions"]
    assert found[0]["text"] in shown(shop, run)["questions"]
    return found[0]


def answer(shop: Program, run: Run, kind: str, key: str) -> dict[str, Any]:
    """Answer the question and return the run's page; the question has to be gone."""
    done = shop("answer", run.key, kind, key, "--by", "crew chief")
    assert done.code == 0, done.err
    page = shown(shop, run)
    assert not [item for item in page["asked"] if item["id"].startswith(f"{kind}-")]
    return page


def test_nothing_is_asked_about_runs_without_a_mistake(shop):
    for run in CLEAN:
        assert [item["text"] for item in shown(shop, run)["asked"] if item["answers"]] == []


def test_figures_after_a_planned_shut_off_do_not_count_unless_the_crew_says_so(shop):
    before = shown(shop, PULLED_ON)
    assert before["run"]["valid_to_ft"] == 330
    assert "but the trace pulls to 1320 ft" in asked(shop, PULLED_ON, "plan")["text"]
    assert answer(shop, PULLED_ON, "plan", "n")["run"]["valid_to_ft"] == 330
    assert answer(shop, PULLED_ON, "plan", "y")["run"]["valid_to_ft"] == 1320


def test_a_throttle_lift_ends_what_counts_whatever_the_slip_prints(shop):
    page = shown(shop, LIFTED)
    assert page["run"]["valid_to_ft"] == 330
    assert any("throttle lift" in text for text in page["questions"])
    assert answer(shop, LIFTED, "lift", "y")["run"]["valid_to_ft"] == 330


def test_the_previous_runs_slip(shop):
    question = asked(shop, TWICE, "same")
    assert "run 1's" in question["text"]
    page = answer(shop, TWICE, "same", "y")
    assert page["run"]["spoiled_reason"] == "timing: not this run's slip"
    assert not page["run"]["valid_to_ft"]
    left_out = {
        item["key"]: item["why"] for item in shop("effects", "--car", "sedge", "--json").json()["runs_left_out"]
    }
    assert "timing" in left_out[TWICE.key]


def test_the_wrong_lanes_column(shop):
    question = asked(shop, BESIDE, "lane")
    assert "knot's run 1's in the right lane" in question["text"]
    assert not answer(shop, BESIDE, "lane", "y")["run"]["clean"]


def test_a_slip_that_the_trace_contradicts(shop):
    question = asked(shop, OTHERS_SLIP, "slip")
    assert "the slip says" in question["evidence"][0]
    page = answer(shop, OTHERS_SLIP, "slip", "w")
    assert page["run"]["spoiled_reason"] == "timing: not this run's slip"
    again = answer(shop, OTHERS_SLIP, "slip", "t")  # the newest answer holds
    assert again["run"]["clean"]
    assert all(row["trace_s"] is None for row in again["splits"])


def test_a_loggers_clock_that_is_off(shop):
    assert "10:00, 90 min apart" in asked(shop, CLOCK, "clock")["text"]
    page = answer(shop, CLOCK, "clock", "c")
    assert page["splits"][0]["trace_s"] is not None
    assert answer(shop, CLOCK, "clock", "w")["splits"][0]["trace_s"] is None


def test_an_altimeter_setting_given_as_station_pressure(shop):
    """30.10 inHg at 640 m: by ISO 2533 the station pressure is 7.4 % lower, and so is the density."""
    question = asked(shop, LAST, "pressure")
    assert "looks like an altimeter setting" in question["text"]
    before = shown(shop, LAST)["air"]
    after = answer(shop, LAST, "pressure", "a")["air"]
    standard = (1 - 0.0065 * 640 / 288.15) ** 5.25588
    assert after["station_pressure_hpa"] / before["station_pressure_hpa"] == pytest.approx(standard, abs=0.002)
    assert after["density_altitude_ft"] > before["density_altitude_ft"] + 1500


def test_a_sheet_that_disagrees_with_the_trace(shop):
    assert "the sheet says launch rpm 4200, the trace shows 46" in asked(shop, SHEET, "sheet")["text"]
    page = answer(shop, SHEET, "sheet", "t")
    done = {"item": "launch rpm", "from": "4200", "to": "4600", "unit": "rpm"}
    assert done in page["changes"]
    question = shop("answer", "--json").json()["answered"][0]["id"]
    assert not shown_after(shop, question, "s")["changes"], "another answer takes its sheet back"
    assert done in shown_after(shop, question, "t")["changes"], "and the first one again brings it"


def shown_after(shop: Program, question: str, key: str) -> dict[str, Any]:
    done = shop("answer", SHEET.key, question, key)
    assert done.code == 0, done.err
    return shown(shop, SHEET)


def test_a_tyre_pressure_in_kilopascals(shop):
    assert "kPa taken for psi" in asked(shop, KILOMETRES, "unit")["text"]
    page = answer(shop, KILOMETRES, "unit", "y")
    assert page["changes"] == [] or page["changes"][0]["to"].startswith("7")


def test_a_trap_speed_in_kilometres_an_hour(shop):
    assert "is it in km/h?" in asked(shop, KILOMETRES, "speed")["text"]
    true = DRAG * float(KILOMETRES.slip()["v1320_mph"])
    speeds = {row["distance_ft"]: row["measured_mph"] for row in answer(shop, KILOMETRES, "speed", "y")["speeds"]}
    assert speeds[1320] == pytest.approx(true, abs=0.02)


def test_a_channel_logged_in_another_unit(shop):
    """The pressure reads a seventh of what it did in the runs before, and so passes a limit that it doesn't."""
    assert "psi taken for kPa" in asked(shop, OIL, "unit")["text"]
    low = [alarm for alarm in shown(shop, OIL)["trace"]["alarms"] if alarm["channel"] == "oil_pressure"]
    assert low[0]["condition"] == "under load"
    assert low[0]["action"] == "stop"
    page = answer(shop, OIL, "unit", "y")
    assert page["trace"]["alarms"] == []


def test_without_a_trace_times_unlike_the_cars_are_asked_about(shop):
    assert "slower than this car runs: is it the other lane's column?" in asked(shop, UNLIKE, "unlike")["text"]
    assert answer(shop, UNLIKE, "unlike", "n")["run"]["clean"]


def test_scale_readings_under_other_conditions(shop):
    question = asked(shop, UNLIKE, "scales")
    assert any("driver" in reason for reason in question["evidence"])
    answer(shop, UNLIKE, "scales", "n")


def test_what_was_answered_stays_answered_and_stands_in_the_history(shop):
    answer(shop, SHEET, "sheet", "s")
    assert shop("rebuild").code == 0
    assert not [item for item in shown(shop, SHEET)["asked"] if item["id"].startswith("sheet-")]
    page = shop("answer", "--json").json()
    assert [(item["run"], item["key"], item["by"]) for item in page["answered"]] == [(SHEET.key, "s", "crew chief")]
    assert "as the sheet says" in shop("answer", SHEET.key, "--history").out


def test_a_wrong_key_or_question_is_told(shop):
    done = shop("answer", SHEET.key, "sheet", "q")
    assert done.code == 2
    assert "accepted: t as the trace shows" in done.err
    done = shop("answer", SHEET.key, "weather", "y")
    assert done.code == 1
    assert "no such question" in done.err
    assert shop("answer", SHEET.key, "sheet").code == 2
