"""A new shop's first day, lived through by the commands in order: from fire-up to the review.

Car, track and day are invented. The runs follow the closed form of ``test_mistakes``: traction-limited, then constant
power (R. Stephenson, "Constant power equations of motion", Am. J. Phys. 50 (1982) 1150).
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from runlog.constants import FOOT, POUND, STANDARD_GRAVITY

if TYPE_CHECKING:
    from collections.abc import Sequence

    from conftest import Program

pytestmark = pytest.mark.slow

DAY = "2032-04-03"
CAR = """[car]
name = "plover"
new = true
race_weight = "2600 lb"
wheelbase = "105 in"
power = "400 hp"
tyre_circumference = "100 in"
final_drive = 4.1
gear_ratios = [1.0]
[[car.adjustable]]
name = "launch rpm"
low = 3800
high = 4800
[[car.adjustable]]
name = "rear tyre pressure"
low = 6
high = 9
"""
TRACK = '[track]\nname = "fenside"\nelevation = "120 m"\n'
BASELINE = "car,sheet,item,value,unit\nplover,full,launch rpm,4200,rpm\nplover,full,rear tyre pressure,7,psi\n"
AIR = "time,temperature_F,relative_humidity_pct,station_pressure_inHg\n" + "".join(
    f"{DAY}T{hour:02d}:00,68,50,29.5\n" for hour in range(8, 19)
)
A0 = 1.4 * STANDARD_GRAVITY
POWER_TO_MASS = 400 * 550 * FOOT * POUND * STANDARD_GRAVITY / (2600 * POUND)
ROLLOUT, CIRCUMFERENCE, FINAL_DRIVE = 0.2286, 2.54, 4.1
FEET = (60, 330, 660, 1000, 1320)
STEPS = ("fire-up", "burnout", "60", "330", "660", "full")


def motion(t: np.ndarray, lift: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Distance, speed, acceleration at seconds after launch; from ``lift`` [s] on the car coasts."""
    v0 = POWER_TO_MASS / A0
    t0, x0 = v0 / A0, v0**2 / (2 * A0)
    s = np.clip(t, 0.0, lift)
    v = np.where(s < t0, A0 * s, np.sqrt(v0**2 + 2 * POWER_TO_MASS * np.maximum(s - t0, 0.0)))
    x = np.where(s < t0, 0.5 * A0 * s**2, x0 + (v**3 - v0**3) / (3 * POWER_TO_MASS))
    a = np.where(t < 0, 0.0, np.where(s < t0, A0, POWER_TO_MASS / np.maximum(v, 1.0)))
    rolled = np.maximum(t - lift, 0.0)
    return x + v * rolled - 1.5 * rolled**2, v - 3.0 * rolled, np.where(rolled > 0, -3.0, a)


def lift_at(feet: float) -> float:
    """The second at which a car that pulls on comes by so many feet."""
    t = np.arange(0.0, 20.0, 0.001)
    return float(np.interp(ROLLOUT + feet * FOOT, motion(t, 20.0)[0], t))


def slip(number: int, purpose: str, to_ft: float, later: float = 0.0, **more: str) -> str:
    """A slip of a run that shut off after ``to_ft``; ``later`` [s] is added to each time. It prints to the end."""
    t = np.arange(0.0, 20.0, 0.001)
    x = motion(t, lift_at(to_ft))[0]
    x, t = x[: x.argmax()], t[: x.argmax()]
    start = np.interp(ROLLOUT, x, t)
    far = [feet for feet in FEET if ROLLOUT + feet * FOOT < x[-1]]
    row = {"car": "plover", "date": DAY, "run": str(number), "time": f"{8 + number}:05", "track": "fenside",
           "lane": "left", "purpose": purpose, "reaction_s": f"{0.1 + 0.013 * number:.3f}"}  # fmt: skip
    row |= {f"t{feet}_s": f"{np.interp(ROLLOUT + feet * FOOT, x, t) - start + later:.3f}" for feet in far}
    row |= more
    return f"{','.join(row)}\n{','.join(row.values())}\n"


def log(number: int, to_ft: float, launch_rpm: float = 4200.0) -> str:
    """What the logger recorded of such a run."""
    launch = 2.0
    lift = lift_at(to_ft)
    clock = np.arange(0.0, launch + min(lift + 2.0, 13.0), 0.02)
    _, v, a = motion(clock - launch, lift)
    shaft = np.maximum(v, 0.0) / CIRCUMFERENCE * 60 * FINAL_DRIVE
    engine = np.where(clock < launch, np.where(clock > 0.5, launch_rpm, 1300.0), np.maximum(shaft, 1300.0))
    throttle = np.where((clock > 0.5) & (clock - launch < lift), 100.0, 0.0)
    noise = np.random.default_rng([3, number]).normal(size=(3, clock.size))
    rows = zip(clock, engine + 8 * noise[0], np.maximum(shaft + 3 * noise[1], 0.0),
               a / STANDARD_GRAVITY + 0.01 * noise[2], throttle, strict=True)  # fmt: skip
    head = "Time (s),Engine RPM,Driveshaft RPM,Accel X (g),TPS (%)\n"
    return head + "\n".join(",".join(f"{value:.3f}" for value in row) for row in rows) + "\n"


class Crew:
    """A crew at its laptop: each thing it does has to work, unless it says that it is refused."""

    def __init__(self, program: Program) -> None:
        self.program = program

    def does(self, *words: str) -> str:
        done = self.program(*words)
        assert done.code == 0, (words, done.err)
        return done.out

    def refused(self, *words: str) -> str:
        done = self.program(*words)
        assert (done.code, done.out) == (1, ""), words
        return done.err

    def json(self, *words: str) -> Any:
        return self.program(*words, "--json").json()

    def brings(self, number: int, told: str, logged: str) -> dict[str, Any]:
        """Import a run's slip and log and return its page."""
        for name, content in ((f"slip_{number}.csv", told), (f"plover_{DAY}_{number}.csv", logged)):
            self.program.write(name, content)
            self.does("import", name)
        page: dict[str, Any] = self.json("show", f"plover/{DAY}/{number}")
        return page

    def signs(self, step: str) -> None:
        self.does("release", "plover", "--sign", step, "--tick", "all", "--by", "A. Crew")

    def may_go(self) -> int:
        feet = {self.json(*words)["clearance"]["to_ft"] for words in (["release"], ["plan", "--runs", "1"])}
        assert len(feet) == 1, "every page says the same"
        return int(feet.pop())

    def planned(self) -> list[dict[str, Any]]:
        steps: list[dict[str, Any]] = self.json("plan", "--runs", "3")["steps"]
        return steps


def questions(page: dict[str, Any]) -> list[str]:
    return [item["id"].split("-")[0] for item in page["asked"] if item["answers"]]


def reaches(steps: Sequence[dict[str, Any]]) -> list[int]:
    return [int(step["purpose"]) if step["purpose"].isdigit() else 1320 for step in steps]


def test_a_new_shops_first_day(runlog: Program) -> None:
    crew = Crew(runlog)
    crew.does("new", "shop.duckdb")
    for name, content in {"car.toml": CAR, "track.toml": TRACK, "base.csv": BASELINE, "air.csv": AIR}.items():
        runlog.write(name, content)
    crew.does("import", "car.toml", "track.toml", "base.csv", "air.csv")

    # fire-up, burnout: no run before both are signed, none signed out of turn or with a check open
    assert crew.may_go() == 0
    assert crew.planned() == []
    assert "fire-up and leaks comes first" in crew.refused(
        "release", "plover", "--sign", "burnout", "--tick", "all", "--by", "A. Crew"
    )
    crew.does("release", "plover", "--tick", "oil pressure")
    assert "not ticked" in crew.refused("release", "plover", "--sign", "fire-up", "--by", "A. Crew")
    crew.signs("fire-up")
    crew.signs("burnout")
    assert crew.may_go() == 60

    # the first hit; the slip prints on, but what counts is what was driven
    crew.does("add", "start", "--date", DAY, "--number", "1", "--coolant", "160F", "--driver", "B. Driver",
              "--tyres", "No. 1", "--tyre-runs", "0", "--rear-pressure", "7psi")  # fmt: skip
    page = crew.brings(1, slip(1, "60", 100), log(1, 100))
    assert page["run"]["valid_to_ft"] == 60
    assert page["start_record"]["driver"] == "B. Driver"
    crew.does("add", "report", "--date", DAY, "--number", "1", "--moved", "straight", "--wheels", "down")
    assert crew.may_go() == 60, "reaching 60 ft isn't passing it"
    assert set(reaches(crew.planned())) == {60}

    # something found: no next run until it is dealt with
    crew.does("item", "add", "oil on the left header", "--stop", "--no-setting", "--by", "A. Crew")
    assert crew.may_go() == 0
    assert "open stop item" in crew.refused("plan", "--accept")
    crew.does("item", "close", "1", "--did", "new gasket", "--by", "B. Crew")
    crew.signs("60")
    assert crew.may_go() == 330

    # a mistake: a slip that isn't this run's. It is asked, answered and left out of what counts
    page = crew.brings(2, slip(2, "330", 400, later=0.25), log(2, 400))
    assert questions(page) == ["slip"]
    crew.does("answer", f"plover/{DAY}/2", "slip", "w", "--by", "A. Crew")
    page = crew.json("show", f"plover/{DAY}/2")
    assert (page["run"]["spoiled_reason"], questions(page)) == ("timing: not this run's slip", [])
    # the slip is found: it is imported over the wrong one
    page = crew.brings(2, slip(2, "330", 400), log(2, 400))
    assert (page["run"]["clean"], page["run"]["valid_to_ft"], questions(page)) == (True, 330, [])
    crew.signs("330")
    assert crew.may_go() == 660
    page = crew.brings(3, slip(3, "660", 720), log(3, 720))
    assert page["run"]["valid_to_ft"] == 660
    crew.signs("660")
    assert (crew.may_go(), crew.json("release")["step"]) == (1320, "full")

    # the full run; then a second unchanged one before anything is changed
    page = crew.brings(4, slip(4, "full", 1400), log(4, 1400))
    assert (page["run"]["clean"], page["run"]["valid_to_ft"], page["changes"]) == (True, 1320, [])
    assert page["splits"][-1]["trace_s"] == pytest.approx(page["splits"][-1]["measured_s"], abs=0.05)
    crew.signs("full")
    assert crew.json("release")["released"]
    assert any("1 so far" in text for text in crew.json("release")["clearance"]["notes"])
    assert crew.planned()[0]["set"] == []
    crew.brings(5, slip(5, "full", 1400, later=0.004), log(5, 1400))
    assert crew.json("release")["clearance"]["notes"] == []

    # the first change: what the trace shows isn't what the sheet says
    crew.does("add", "change", "launch rpm=4400", "--yes")
    page = crew.brings(6, slip(6, "full", 1400, spoiled="car: wheelstand", true_to_ft="0"), log(6, 1400, 4700))
    assert questions(page) == ["sheet"]
    crew.does("answer", f"plover/{DAY}/6", "sheet", "t", "--by", "A. Crew")
    page = crew.json("show", f"plover/{DAY}/6")
    (change,) = page["changes"]
    stood = float(change["to"])
    assert (change["item"], change["from"], stood) == ("launch rpm", "4200", pytest.approx(4700, abs=50))
    crew.does("add", "report", "--date", DAY, "--number", "6", "--wheels", "high", "--bars", "rode on them")

    # that setting is barred, and what lies beyond: nothing proposes it, nothing foretells it
    cleared = crew.json("release")["clearance"]
    assert cleared["to_ft"] == 0, "no run as the car stands"
    assert "is barred since" in cleared["reasons"][0]
    first, *_ = steps = crew.planned()
    assert [line["item"] for line in first["set"]] == ["launch rpm"], "it is put right before the next run"
    assert all(line["value"] < stood for step in steps for line in step["set"] if line["item"] == "launch rpm")
    assert "barred since" in crew.refused("forecast", "--suppose", f"launch rpm={stood:g}")
    assert "barred since" in crew.refused("suppose", "launch rpm=4800")
    way_back = crew.json("back-to-baseline")
    assert [step["item"] for step in way_back["steps"]] == ["launch rpm"]
    crew.does("add", "change", "--to-baseline", "--yes")
    crew.brings(7, slip(7, "full", 1400, later=-0.003), log(7, 1400))
    assert crew.may_go() == 1320
    assert crew.json("back-to-baseline")["steps"] == []
    crew.does("release", "plover", "--setting", f"launch rpm={stood:g}", "--by", "A. Crew", "--why", "bars lowered")
    assert crew.json("release")["clearance"]["barred"] == []
    crew.does("suppose", f"launch rpm={stood:g}")

    # what to do next, taken on as the plan, done and confirmed as done
    plan = crew.json("plan", "--runs", "3", "--accept")
    assert plan["steps"]
    ahead = [step for step in plan["steps"] if step["set"]]
    assert all(3800 <= line["value"] <= 4800 for step in ahead for line in step["set"] if line["item"] == "launch rpm")

    # the end of the day
    review = crew.json("review", DAY)
    assert [run["number"] for run in review["runs"]] == [1, 2, 3, 4, 5, 6, 7]
    assert [run["number"] for run in review["runs"] if run["spoiled_reason"]] == [6]
    assert review["as_left"]["sheet"]
    assert all(entry["differs"] is False for entry in review["as_left"]["sheet"])
    (item,) = crew.json("item", "list", "--all")
    assert (item["text"], item["closed"]["text"]) == ("oil on the left header", "new gasket")
    told = json.dumps(crew.json("history", f"plover/{DAY}/2"))
    assert "answer" in told
    assert told.count('"slips"') == 2, "both slips of run 2 are kept: the wrong one and the right one"
    before = crew.json("show", f"plover/{DAY}/6")
    crew.does("rebuild")
    assert crew.json("show", f"plover/{DAY}/6") == before, "all of it stands in what was kept"
