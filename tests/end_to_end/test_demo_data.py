"""The demo season: written again byte for byte, accepted by the readers, consistent with itself and with physics."""

from __future__ import annotations

import ast
import csv
import itertools
import json
import math
import subprocess
import sys
from pathlib import Path

import pytest

from runlog.readers.car import read_car
from runlog.readers.track import read_track

DEMO = Path(__file__).resolve().parents[2] / "demo_runs"
TRUTH = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))
SPLITS_FT = (60, 330, 660, 1000, 1320)
FOOT, MPH, GRAVITY = 0.3048, 0.44704, 9.80665


def slips() -> list[dict[str, str]]:
    return [
        row
        for path in sorted(DEMO.glob("pits/*/slips.csv"))
        for row in csv.DictReader(path.read_text(encoding="utf-8").splitlines())
    ]


def key(row: dict[str, str]) -> str:
    return f"{row['car']}/{row['date']}/{row['run']}"


def undisturbed() -> list[dict[str, str]]:
    return [row for row in slips() if not row["spoiled"] and row["purpose"] == "full"]


@pytest.mark.slow
def test_script_writes_the_committed_bytes_again(tmp_path: Path) -> None:
    subprocess.run([sys.executable, "-B", str(DEMO / "make_demo.py"), str(tmp_path)], check=True, timeout=300)
    written = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    places = ("cars", "tracks", "sheets", "pits")
    committed = {
        path.relative_to(DEMO): path.read_bytes()
        for path in [*(path for place in places for path in (DEMO / place).rglob("*")), DEMO / "truth.json"]
        if path.is_file()
    }
    assert set(written) == set(committed)
    assert [str(name) for name in sorted(written) if written[name] != committed[name]] == []


def test_simulation_shares_no_code_with_the_program() -> None:
    allowed = sys.stdlib_module_names | {path.stem for path in DEMO.glob("*.py")}
    for path in sorted(DEMO.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert {name.split(".")[0] for name in names} <= allowed, path.name


def test_size_stays_small() -> None:
    sizes = {
        path: path.stat().st_size for path in DEMO.rglob("*") if path.is_file() and "__pycache__" not in path.parts
    }
    assert sum(sizes.values()) < 5_000_000
    assert max(size for path, size in sizes.items() if path.parent.parent.name == "pits") < 250_000


def test_cars_and_tracks_are_accepted_and_agree_with_the_sheets() -> None:
    cars = {path.stem: read_car(path.read_bytes(), path.name) for path in DEMO.glob("cars/*.toml")}
    tracks = {path.stem: read_track(path.read_bytes(), path.name) for path in DEMO.glob("tracks/*.toml")}
    assert sorted(cars) == ["curlew", "dunlin", "heron", "plover", "wigeon"]
    assert {car.aspiration for car in cars.values()} == {"natural", "supercharged", "turbocharged", "nitrous"}
    assert {track.finish_ft for track in tracks.values()} == {660, 1320}
    assert {row["track"] for row in slips()} == set(tracks)
    for name, car in cars.items():
        sheet = list(csv.DictReader((DEMO / f"sheets/{name}_baseline.csv").read_text(encoding="utf-8").splitlines()))
        items = {row["item"]: row for row in sheet}
        assert {item.name for item in car.adjustables} <= set(items)
        corners = [float(row["value"]) for item, row in items.items() if item.startswith("weight ")]
        assert sum(corners) * 0.45359237 == pytest.approx(car.race_mass, abs=0.01)
        front = sum(float(items[f"weight {side} front"]["value"]) for side in ("left", "right")) / sum(corners)
        assert front == pytest.approx(car.front_share, abs=6e-4)


def test_every_setting_stays_inside_the_car_file() -> None:
    for path in DEMO.glob("cars/*.toml"):
        car = read_car(path.read_bytes(), path.name)
        for name, facts in TRUTH["cars"][car.name]["adjustables"].items():
            item = car.adjustable(name)
            assert item is not None
            for value in [facts["baseline"], *map(float, facts["values_used_s"])]:
                assert item.low is not None
                assert item.high is not None
                assert item.low <= value <= item.high


def test_slips_print_the_true_splits_rounded() -> None:
    rows = slips()
    assert len(rows) == len(TRUTH["runs"]) == 119
    for row in rows:
        truth = TRUTH["runs"][key(row)]
        printed = {str(ft): float(row[f"t{ft}_s"]) for ft in SPLITS_FT if row[f"t{ft}_s"]}
        assert printed == pytest.approx(truth["splits_s"], abs=0.00052)


def test_trap_speeds_lie_between_the_neighbouring_averages() -> None:
    """Identity: while a car gains speed, the last 66 ft are quicker than the increment they end."""
    for row in undisturbed():
        for start, end in ((330, 660), (1000, 1320)):
            if row[f"v{end}_mph"]:
                average = (end - start) * FOOT / (float(row[f"t{end}_s"]) - float(row[f"t{start}_s"])) / MPH
                assert average < float(row[f"v{end}_mph"]) < 1.25 * average


def test_no_run_beats_lossless_constant_power() -> None:
    """Closed form t = (9 m x² / (8 P))^(1/3) from rest; power and mass of the car file, 12 % more power for dense air,
    boost and nitrous settings above the baseline. And none is slower than 1.6 times that."""
    cars = {path.stem: read_car(path.read_bytes(), path.name) for path in DEMO.glob("cars/*.toml")}
    for row in undisturbed():
        car, finish = cars[row["car"]], 1320 if row["t1320_s"] else 660
        ideal = (9 * car.race_mass * (finish * FOOT) ** 2 / (8 * car.power * 1.12)) ** (1 / 3)
        assert ideal < float(row[f"t{finish}_s"]) < 1.6 * ideal


def test_finish_speed_is_near_huntingtons_rule() -> None:
    """Speed = 225 (hp/lb)^(1/3) mph over a quarter mile (P. J. Nahin, In Praise of Simple Physics, 2016, p. 33)."""
    for row in undisturbed():
        if row["v1320_mph"]:
            car = read_car((DEMO / f"cars/{row['car']}.toml").read_bytes(), row["car"])
            rule = 225 * (car.power / 745.69987 / (car.race_mass / 0.45359237)) ** (1 / 3)
            assert float(row["v1320_mph"]) == pytest.approx(rule, rel=0.08)


def test_ballast_slows_the_last_increment_by_less_than_the_cube_root_law() -> None:
    """∂ln t/∂ln m is at most 1/3 at constant power from rest (closed form) and more mass is never quicker there."""
    for name, facts in TRUTH["cars"].items():
        ballast = facts["adjustables"].get("ballast rear")
        if ballast:
            car = read_car((DEMO / f"cars/{name}.toml").read_bytes(), name)
            share = ballast["step"] * 0.45359237 / car.race_mass
            last = facts["baseline_increments_s"][-1]
            assert 0 < ballast["one_step_up_s"]["1000-1320"] < share / 3 * last * 1.1


def test_logger_file_tells_the_same_run_as_the_slip() -> None:
    """Double integration of the logged acceleration from release reaches the beams when the slip says so.

    The body pitches 1.3° per g, so the sensor reads sin(1.3°) = 2.3 % high; that much more is allowed.
    """
    truth = TRUTH["runs"]["heron/2031-05-17/1"]
    log = truth["logger"]
    with (DEMO / log["file"]).open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))[1:]
    speed = distance = 0.0
    passed = {}
    for before, after in itertools.pairwise(rows):
        start, end = float(before[0]), float(after[0])
        if end > log["brake_release_s"]:
            mean = (float(before[3]) + float(after[3])) / 2 - log["accelerometer_bias_g"]
            speed += mean * GRAVITY * (end - start)
            distance += speed * (end - start)
            for ft, seconds in truth["splits_s"].items():
                if start < log["beam_clear_s"] + seconds <= end:
                    passed[int(ft)] = distance
    assert sorted(passed) == list(SPLITS_FT)
    for ft, metres in passed.items():
        assert 0.995 < metres / (ft * FOOT + 0.2286) < 1 + math.sin(math.radians(1.3)) + 0.012


def test_readme_states_the_true_effects() -> None:
    rows = [line.strip("| ").split(" | ") for line in (DEMO / "README.md").read_text(encoding="utf-8").splitlines()]
    stated = {
        (row[0], row[1]): [float(cell) for cell in row[4:10]] for row in rows if len(row) == 11 and row[4][0] in "+-"
    }
    ends = [*(f"{a}-{b}" for a, b in zip((0, *SPLITS_FT), SPLITS_FT, strict=False)), "0-1320"]
    true = {
        (car, name): [1000 * item["one_step_up_s"][end] for end in ends]
        for car, facts in TRUTH["cars"].items()
        for name, item in facts["adjustables"].items()
    }
    assert set(stated) == set(true)
    for name, values in stated.items():
        assert values == pytest.approx(true[name], abs=0.0501), name


def test_the_crew_s_words_are_accepted_and_no_run_goes_past_an_unsigned_step_but_those_that_skipped_one() -> None:
    """``heron`` and ``dunlin`` went from 60 to 660 ft on their first day; 330 ft was signed only after that."""
    from runlog.readers.crew import read_crew

    facts = [fact for path in DEMO.glob("pits/*/crew.jsonl") for fact in read_crew(path.read_bytes(), path.name)]
    assert {fact.by for fact in facts} == {"I. Nvented", "M. Adeup"}
    items = {fact.id for fact in facts if fact.what == "item"}
    assert {fact.content["item"] for fact in facts if fact.what == "item_closed"} <= items
    past = set()
    for row in slips():
        signs = [fact for fact in facts if fact.what == "sign_off" and fact.car == row["car"]]
        before = {
            fact.content["step"]
            for fact in signs
            if (fact.date.isoformat(), fact.number or 0) < (row["date"], int(row["run"]))
        }
        assert {"fire-up", "burnout"} <= before
        last = 660 if row["track"] == "upfell" else 1320
        went = last if row["purpose"] == "full" else int(row["purpose"])
        steps = [feet for feet in (60, 330, 660) if feet < last]
        unsigned = next((feet for feet in steps if str(feet) not in before), last)
        if went > unsigned:
            past.add((row["car"], unsigned, went))
    assert past == {("heron", 330, 660), ("dunlin", 330, 660)}
