"""What a car's slips teach is carried to its later runs: only there, in any order of import, and again by rebuild."""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, Any

import pytest

from runlog.records import RunKey
from runlog.store import calibrations, results
from runlog.store.connection import Logbook, create_logbook
from runlog.workflows.intake.ingest import import_files
from runlog.workflows.intake.rebuild import rebuild

if TYPE_CHECKING:
    from pathlib import Path

DAY = dt.date(2031, 4, 12)
KEYS = [RunKey("teal", DAY, number) for number in (2, 3, 4)]
SLIP = "car,date,time,track,run,lane,purpose,t60_s,t330_s,t660_s,t1000_s,t1320_s\n"
CIRCUMFERENCE = 2.54
SHORT = 0.01
"""what the driven wheels read high: the circumference in the car file is too long by this"""


def log(launch: float) -> str:
    """A car that gains 12 m/s² falling off with speed; its wheels read high."""
    lines = ["Time (s),Driveshaft RPM,Accel X (g)"]
    speed = 0.0
    for n in range(1250):
        time = n / 100
        pull = 12.0 * (1 - speed / 90) if time >= launch else 0.0
        speed += pull / 100
        shaft = speed * (1 + SHORT) / CIRCUMFERENCE * 60 * 4.1
        lines.append(f"{time:.2f},{shaft:.1f},{pull / 9.80665:.4f}")
    return "\n".join(lines) + "\n"


def slip_line(number: int, late: float = 0.0) -> str:
    """The slip of that car: v' = 12 (1 − v/90), x = 90 (t − 7.5 (1 − e^(−t/7.5))) (closed form), from 0.2286 m on."""
    times = [f"{TIMES[feet] + late:.3f}" for feet in (60, 330, 660, 1000, 1320)]
    return f"teal,2031-04-12,1{number}:20,lowfield,{number},left,full,{','.join(times)}\n"


def _time_to(place: float) -> float:
    low, high = 0.0, 30.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        covered = 90 * (middle - 7.5 * (1 - math.exp(-middle / 7.5)))
        low, high = (middle, high) if covered < place else (low, middle)
    return low


TIMES = {feet: _time_to(0.2286 + feet * 0.3048) - _time_to(0.2286) for feet in (60, 330, 660, 1000, 1320)}


@pytest.fixture
def parts(files: Path) -> dict[str, Path]:
    """Car, track and air, and slip and log of three runs."""
    made = {name: files / name for name in ("teal.toml", "lowfield.toml", "air.csv")}
    for key in KEYS:
        made[f"slip {key.number}"] = files / f"slip_{key.number}.csv"
        made[f"slip {key.number}"].write_text(SLIP + slip_line(key.number), "utf-8")
        made[f"log {key.number}"] = files / f"teal_2031-04-12_{key.number}.csv"
        made[f"log {key.number}"].write_text(log(1.0 + 0.02 * key.number), "utf-8")
    return made


def imported(path: Path, *steps: list[Path]) -> Logbook:
    book = create_logbook(path)
    for step in steps:
        report = import_files(book, step)
        assert report.refused == 0, [item.error for item in report.files]
    return book


def state(book: Logbook) -> dict[RunKey, Any]:
    rows = {row.key: row.trace_splits for row in results.run_results(book, "teal")}
    return {key: (rows[key], calibrations.of_run(book, key)) for key in KEYS if calibrations.of_run(book, key)}


def test_later_runs_rest_on_earlier_slips(parts: dict[str, Path], tmp_path: Path) -> None:
    with imported(tmp_path / "a.duckdb", list(parts.values())) as book:
        found = state(book)
    assert [found[key][1].known["runs"] for key in KEYS] == [0, 1, 2]
    assert all(found[key][1].learned for key in KEYS)
    doubts = [found[key][0][1320][1] for key in KEYS]
    assert doubts[2] < doubts[1] < 0.5 * doubts[0]
    for key in KEYS[1:]:
        for feet, (time, sd) in found[key][0].items():
            assert abs(time - TIMES[feet]) < 2.5 * sd
    place = found[KEYS[2]][1].after["names"].index("circumference")
    after = found[KEYS[2]][1].after
    assert after["mean"][place] == pytest.approx(SHORT, abs=3 * after["sd"][place])


def test_a_run_never_learns_from_its_own_slip(parts: dict[str, Path], tmp_path: Path) -> None:
    with imported(tmp_path / "a.duckdb", list(parts.values())) as book:
        before = state(book)
    parts["slip 4"].write_text(SLIP + slip_line(4, late=0.004), "utf-8")
    with imported(tmp_path / "b.duckdb", list(parts.values())) as book:
        after = state(book)
    assert [after[key][0] for key in KEYS] == [before[key][0] for key in KEYS]
    assert after[KEYS[2]][1].after != before[KEYS[2]][1].after


@pytest.mark.slow
def test_any_order_of_import_gives_the_same_numbers(parts: dict[str, Path], tmp_path: Path) -> None:
    base = [parts[name] for name in ("teal.toml", "lowfield.toml", "air.csv")]
    with imported(tmp_path / "a.duckdb", list(parts.values())) as book:
        expected = state(book)
    runs = [[f"slip {number}", f"log {number}"] for number in (2, 3, 4)]
    orders = [
        [name for run in reversed(runs) for name in run],
        [name for run in runs for name in reversed(run)],
        ["log 4", "log 2", "slip 2", "slip 4", "log 3", "slip 3"],
    ]
    for n, order in enumerate(orders):
        with imported(tmp_path / f"{n}.duckdb", base, *([parts[name]] for name in order)) as book:
            assert state(book) == expected, order
            rebuild(book)
            assert state(book) == expected, order


def test_a_new_newest_log_leaves_the_others_alone(
    parts: dict[str, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from runlog.workflows.results import derive

    early = [path for name, path in parts.items() if name != "log 4"]
    with imported(tmp_path / "a.duckdb", early) as book:
        before = state(book)
        asked: list[str] = []
        whole = derive._whole_car
        monkeypatch.setattr(derive, "_whole_car", lambda *given: asked.append("whole") or whole(*given))
        import_files(book, [parts["log 4"]])
        assert asked == []
        assert {key: state(book)[key] for key in KEYS[:2]} == before
        assert state(book)[KEYS[2]][1].known["runs"] == 2


def test_a_spoiled_run_and_a_wrong_slip_teach_nothing(parts: dict[str, Path], tmp_path: Path) -> None:
    spoiled = slip_line(2).rstrip("\n") + ",car: shake\n"
    parts["slip 2"].write_text(SLIP.rstrip("\n") + ",spoiled\n" + spoiled, "utf-8")
    parts["slip 3"].write_text(SLIP + slip_line(3, late=0.6), "utf-8")
    with imported(tmp_path / "a.duckdb", list(parts.values())) as book:
        found = state(book)
        rows = {row.key: row for row in results.run_results(book, "teal")}
    assert [found[key][1].learned for key in KEYS] == [False, False, True]
    assert any("the slip is 0.6" in asked.text for asked in rows[KEYS[1]].questions)


def test_new_tyres_start_the_tyres_anew_and_old_ones_are_remembered(parts: dict[str, Path], tmp_path: Path) -> None:
    sheet = tmp_path / "files" / "tyres.csv"
    sheet.write_text(
        "car,date,run,item,value,unit\nteal,2031-04-12,3,rear tyre set,B,set\nteal,2031-04-12,4,rear tyre set,A,set\n"
        "teal,2031-04-12,2,rear tyre set,A,set\n",
        "utf-8",
    )
    with imported(tmp_path / "a.duckdb", [*parts.values(), sheet]) as book:
        found = state(book)
    assert [found[key][1].tyres for key in KEYS] == ["A", "B", "A"]
    names = found[KEYS[0]][1].known["names"]
    sds = [dict(zip(names, found[key][1].known["sd"], strict=True)) for key in KEYS]
    sensors, tyres = ("accelerometer", "rollout"), ("circumference", "slip_per_g", "growth")
    assert all(sds[1][name] < 0.8 * sds[0][name] for name in sensors)
    # nothing is known of other tyres, whatever else the slips have narrowed; of the first set, what they taught
    means = [dict(zip(names, found[key][1].known["mean"], strict=True)) for key in KEYS]
    assert all(means[1][name] == 0.0 for name in tyres)
    assert all(means[2][name] != 0.0 for name in tyres)
    assert all(sds[2][name] < sds[1][name] for name in tyres)


def test_several_older_logs_compute_the_car_once(
    parts: dict[str, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from runlog.workflows.results import derive

    late = [path for name, path in parts.items() if name not in ("log 2", "log 3")]
    with imported(tmp_path / "all.duckdb", list(parts.values())) as book:
        expected = state(book)
    with imported(tmp_path / "a.duckdb", late) as book:
        asked: list[str] = []
        whole = derive._whole_car
        monkeypatch.setattr(derive, "_whole_car", lambda *given: asked.append("whole") or whole(*given))
        import_files(book, [parts["log 2"], parts["log 3"]])
        assert asked == ["whole"]
        assert state(book) == expected
        assert results.stale_marks(book) == []
