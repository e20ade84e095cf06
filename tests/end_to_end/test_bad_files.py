"""Files that can't be right: refused whole with one clear message, nothing of them stored, nothing else disturbed."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import duckdb
import pytest

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Program

SLIPS = "car,date,time,track,run,lane,purpose,t60_s,t330_s,t660_s,v660_mph\n"
SHEET = "car,date,run,item,value,unit\n"
AIR = "time,temperature_F,relative_humidity_pct,station_pressure_inHg\n"
CAR = """[car]
name = "egret"
race_weight = "2400 lb"
wheelbase = "104 in"
power = "700 hp"
power_at = "engine"
aspiration = "natural"
tyre_circumference = "100 in"
final_drive = 4.3
"""

RUN = "heron,2031-08-01,,lowfield,1,left,full,"
SET = "heron,2031-08-01,1,"
THREE_FAULTS = CAR.replace('"2400 lb"', '"2400 psi"').replace('"natural"', '"magic"').replace("4.3", '"tall"')
BACKWARDS = "Time [s],RPM\n0.0,900\n0.1,950\n0.0,990\n0.2,950\n"
UNKNOWN_RUN = "Time [s],RPM\n0.0,900\n0.1,950\n0.2,990\n"

BAD: dict[str, tuple[str, str | bytes, tuple[str, ...]]] = {
    # what: (file name, content, what the message must name beside the file)
    "empty": ("empty.csv", "", ("empty",)),
    "blank lines": ("blank.csv", "\n\n\n", ()),
    "binary": ("picture.csv", bytes(range(256)) * 40, ()),
    "time runs backwards": ("log_heron_2031-04-12_5.csv", BACKWARDS, ("line 4",)),
    "later beam earlier": ("slips.csv", SLIPS + RUN + "1.41,1.32,5.8,\n", ("line 2", "330")),
    "text in a time": ("slips.csv", SLIPS + RUN + "1.41,fast,5.8,\n", ("line 2", "t330_s", "'fast'")),
    "no such date": ("slips.csv", SLIPS + RUN.replace("08-01", "02-30") + "1.41,,,\n", ("line 2", "2031-02-30")),
    "a run twice": ("slips.csv", SLIPS + 2 * (RUN + "1.41,,,\n"), ("line 3", "heron/2031-08-01/1")),
    "unknown unit": ("sheet.csv", SHEET + SET + "rear tyre pressure,6.5,furlong\n", ("line 2", "furlong")),
    "unit of something else": ("sheet.csv", SHEET + SET + "rear tyre pressure,6.5,rpm\n", ("line 2", "rpm")),
    "unknown hole": ("sheet.csv", SHEET + SET + "upper link front hole,9,hole\n", ("line 2", "9", "1, 2, 3")),
    "unknown car in a sheet": (
        "sheet.csv",
        SHEET + SET.replace("heron", "egret") + "launch rpm,4200,rpm\n",
        ("egret",),
    ),
    "air of no place on earth": ("air.csv", AIR + "2031-08-01T10:00,70,50,2.99\n", ("line 2", "station_pressure_inHg")),
    "humidity above 100": ("air.csv", AIR + "2031-08-01T10:00,70,150,29.9\n", ("line 2", "relative_humidity_pct")),
    "three faults in a car file": ("car_egret.toml", THREE_FAULTS, ("race_weight", "aspiration", "final_drive")),
    "unknown key in a car file": ("car_egret.toml", CAR + 'colour = "blue"\n', ("colour",)),
    "cut off TOML": ("car_egret.toml", CAR[: CAR.index("power =") + 9], ("TOML", "end of document")),
    "faulty line in TOML": ("car_egret.toml", CAR.replace("wheelbase =", "wheelbase"), ("TOML", "line 4")),
    "TOML of something else": ("other.toml", "[shop]\nname = 'x'\n", ()),
    "logger file of no known run": ("mystery.csv", UNKNOWN_RUN, ("--run", ".run")),
}


def counts(logbook: Path) -> dict[str, int]:
    """Return the number of rows in every table."""
    with duckdb.connect(str(logbook), read_only=True) as book:
        names = [name for (name,) in book.execute("select table_name from duckdb_tables()").fetchall()]
        assert "slip_fact" in names
        return {name: book.execute(f"select count(*) from {name}").fetchone()[0] for name in names}


@pytest.mark.parametrize("what", BAD)
def test_bad_file_is_refused_whole(season_copy: Program, what: str) -> None:
    name, content, places = BAD[what]
    season_copy.write(name, content)
    before = counts(season_copy.folder / "demo.duckdb")
    done = season_copy("import", name)
    said = done.out + done.err
    assert done.code == 1, said
    assert "Traceback" not in said
    assert "refused" in done.out
    told = " ".join(said.split())
    assert f"{name}, " in told or f"{name}:" in told or f"{name} " in told
    for place in places:
        assert place in told, said
    assert counts(season_copy.folder / "demo.duckdb") == before


@pytest.mark.parametrize("what", ["text in a time", "three faults in a car file", "logger file of no known run"])
def test_refusal_is_in_the_machine_output_too(season_copy: Program, what: str) -> None:
    name, content, places = BAD[what]
    season_copy.write(name, content)
    done = season_copy("import", "--json", name)
    assert done.code == 1
    page = json.loads(done.out)
    (file,) = page["files"]
    assert (page["stored"], page["unchanged"], page["refused"]) == (0, 0, 1)
    assert file["stored"] is False
    assert name in file["error"]
    for place in places:
        assert place in file["error"]


def test_setting_beyond_the_limits_of_the_car_file_is_told(season_copy: Program) -> None:
    """It may be what was really set, so it goes in; it may be a slip of the pen, so it isn't passed over."""
    season_copy.write("sheet.csv", SHEET + SET + "rear tyre pressure,65,psi\n" + SET + "launch rpm,4200,rpm\n")
    (file,) = season_copy("import", "sheet.csv", "--json").json()["files"]
    assert file["stored"] is True
    assert len(file["warnings"]) == 1
    assert "rear tyre pressure 65 psi is outside the limits of the car file, 5 to 9 psi" in file["warnings"][0]


def test_one_bad_file_does_not_keep_the_others_out(season_copy: Program) -> None:
    season_copy.write("in/slips_a.csv", SLIPS + "heron,2031-08-01,,lowfield,1,left,60,1.41,,,\n")
    season_copy.write("in/slips_b.csv", SLIPS + "heron,2031-08-01,,lowfield,2,left,60,oops,,,\n")
    done = season_copy("import", "in")
    assert done.code == 1
    assert "1 stored, 0 unchanged, 1 refused" in done.out
    shown = season_copy("show", "heron/2031-08-01/1")
    assert (shown.code, "1.410" in shown.out) == (0, True)
    assert season_copy("show", "heron/2031-08-01/2").code == 1


def test_all_faults_of_a_file_are_told_at_once(runlog: Program) -> None:
    runlog("new", "a.duckdb")
    runlog.write("slips.csv", SLIPS + "egret,someday,,,1,,,abc,,,\negret,2031-08-01,25:99,,0,,,1.4,1.3,,\n")
    done = runlog("import", "slips.csv", "--json")
    for told in ("line 2, column date", "line 2, column t60_s", "line 3, column time", "line 3, column run"):
        assert told in done.out, told


def test_missing_path_is_named(runlog: Program) -> None:
    runlog("new", "a.duckdb")
    done = runlog("import", "nowhere.csv", "also_nowhere")
    assert done.code == 1
    assert "nowhere.csv" in done.err
    assert "also_nowhere" in done.err
    assert "Traceback" not in done.err


def test_logbook_that_is_none_is_named(runlog: Program) -> None:
    runlog.write("fake.duckdb", b"this is not a database")
    done = runlog("runs")
    assert done.code == 1
    assert "fake.duckdb can't be opened as a logbook" in done.err
    assert "Traceback" not in done.err
    with duckdb.connect(str(runlog.folder / "other.duckdb")) as book:
        book.execute("create table apples (n integer)")
    done = runlog("runs", "--logbook", "other.duckdb")
    assert done.code == 1
    assert "not a logbook" in done.err
    # and it was left as it was
    with duckdb.connect(str(runlog.folder / "other.duckdb"), read_only=True) as book:
        assert book.execute("select table_name from duckdb_tables()").fetchall() == [("apples",)]
