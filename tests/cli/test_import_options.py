"""What each option of the import settles."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import duckdb
import pytest

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Program

SLIP = "date,run,lane,t60_s,t330_s\n2031-08-01,1,left,1.41,3.8\n2031-08-01,2,right,1.42,3.81\n"
AIR = "time,temperature_F,relative_humidity_pct,{pressure}\n2031-08-01T10:00,70,50,{value}\n"
LOG = "{header}\n" + "".join(f"{n / 10:.1f},{900 + n},{n}\n" for n in range(40))


@pytest.fixture
def shop(runlog: Program, demo_folder: Path) -> Program:
    """A logbook with two cars and the tracks."""
    runlog("new", "a.duckdb")
    cars = [demo_folder / "cars" / f"{name}.toml" for name in ("heron", "plover")]
    assert runlog("import", *cars, demo_folder / "tracks").code == 0
    return runlog


def rows(shop: Program, sql: str) -> list[tuple[object, ...]]:
    with duckdb.connect(str(shop.folder / "a.duckdb"), read_only=True) as book:
        return book.execute(sql).fetchall()


def test_car_and_track_of_slips(shop: Program) -> None:
    shop.write("s.csv", SLIP)
    done = shop("import", "s.csv")
    assert done.code == 1
    assert "car" in done.out
    done = shop("import", "s.csv", "--car", "Heron", "--track", "lowfield")
    assert done.code == 0, done.out
    found = shop("runs", "--json").json()
    assert [(row["key"], row["track"]) for row in found] == [
        ("heron/2031-08-01/1", "lowfield"),
        ("heron/2031-08-01/2", "lowfield"),
    ]


def test_same_bytes_for_another_car_are_another_fact(shop: Program) -> None:
    shop.write("s.csv", SLIP)
    assert "1 stored" in shop("import", "s.csv", "--car", "heron").out
    assert "1 unchanged" in shop("import", "s.csv", "--car", "heron").out
    assert "1 stored" in shop("import", "s.csv", "--car", "plover").out
    assert {row["car"] for row in shop("runs", "--json").json()} == {"heron", "plover"}


def test_as_says_what_a_file_is(shop: Program) -> None:
    """A table of times and channels that looks like slips to nobody, told outright to be a logger file, and the other
    way round."""
    shop.write("x.csv", SLIP)
    done = shop("import", "x.csv", "--as", "logger", "--run", "heron/2031-08-01/1", "--json", "--dry-run")
    (file,) = json.loads(done.out)["files"]
    assert file["kind"] == "logger"
    done = shop("import", "x.csv", "--as", "spreadsheet")
    assert done.code == 2
    assert "'spreadsheet' is not a kind of file; accepted: track, car, map, air, sheet, slips, crew, logger" in done.err


def test_run_of_a_logger_file(shop: Program) -> None:
    shop.write("mystery.csv", LOG.format(header="Time [s],RPM,TPS [%]"))
    assert shop("import", "mystery.csv").code == 1
    (file,) = shop("import", "mystery.csv", "--run", "heron/2031-08-01/1", "--json").json()["files"]
    assert file["run"] == "heron/2031-08-01/1"
    done = shop("import", "mystery.csv", "--run", "the third one")
    assert done.code == 2
    assert "'the third one' is not a run key" in done.err


def test_one_run_is_not_given_to_several_logger_files(shop: Program) -> None:
    for name in ("one.csv", "two.csv"):
        shop.write(name, LOG.format(header="Time [s],RPM,TPS [%]"))
    done = shop("import", "one.csv", "two.csv", "--run", "heron/2031-08-01/1")
    assert done.code == 2
    assert "names one run, and there are 2 logger files (one.csv, two.csv)" in done.err
    assert rows(shop, "select count(*) from trace_fact") == [(0,)]


def test_sidecar_and_name_tell_the_run(shop: Program) -> None:
    shop.write("log.csv", LOG.format(header="Time [s],RPM,TPS [%]"))
    shop.write("log.run", "heron/2031-08-01/2\n")
    shop.write("heron_2031-08-01_3.csv", LOG.format(header="Time [s],RPM,TPS [%]").replace("900", "901"))
    files = shop("import", "log.csv", "heron_2031-08-01_3.csv", "--json").json()["files"]
    assert {file["path"]: file["run"] for file in files} == {
        "log.csv": "heron/2031-08-01/2",
        "heron_2031-08-01_3.csv": "heron/2031-08-01/3",
    }


def test_full_sheet_replaces_all_that_was(shop: Program) -> None:
    shop.write("s.csv", SLIP)
    shop("import", "s.csv", "--car", "heron")
    base = "item,value,unit\nrear tyre pressure,7,psi\nlaunch rpm,4200,rpm\n"
    change = "item,value,unit\nrear tyre pressure,6.5,psi\n"
    shop.write("base.csv", base)
    shop.write("change.csv", change)
    assert shop("import", "base.csv", "--run", "heron/2031-08-01/1", "--full").code == 0
    assert shop("import", "change.csv", "--run", "heron/2031-08-01/2").code == 0
    (one, two) = (shop("show", f"heron/2031-08-01/{number}", "--json").json() for number in (1, 2))
    assert two["changes"] == [{"item": "rear tyre pressure", "from": "7", "to": "6.5", "unit": "psi"}]
    assert one["run"]["number"] == 1
    assert rows(shop, "select item, is_full from sheet_fact order by entry, item") == [
        ("launch rpm", True),
        ("rear tyre pressure", True),
        ("rear tyre pressure", False),
    ]


def test_elevation_of_an_altimeter_setting(shop: Program) -> None:
    """29.92 inHg is 1013.2 hPa at sea level and 954.6 hPa at 500 m (ISO 2533 table: 954.61 for 1013.25)."""
    shop.write("air.csv", AIR.format(pressure="altimeter_inHg", value="29.92"))
    done = shop("import", "air.csv")
    assert done.code == 1
    assert "elevation" in done.out
    assert shop("import", "air.csv", "--elevation", "500m").code == 0
    ((pressure,),) = rows(shop, "select station_pressure from air_fact")
    assert pressure == pytest.approx(95461, abs=60)
    done = shop("import", "air.csv", "--elevation", "500 psi")
    assert done.code == 2
    assert "--elevation" in done.err


def test_rate_of_a_log_without_time(shop: Program) -> None:
    lines = "".join(f"{900 + n},{n}\n" for n in range(50))
    shop.write("heron_2031-08-01_1.csv", f"RPM,TPS [%]\n{lines}")
    done = shop("import", "heron_2031-08-01_1.csv")
    assert done.code == 1
    assert "--rate" in done.out
    (file,) = shop("import", "heron_2031-08-01_1.csv", "--rate", "25", "--json").json()["files"]
    assert file["time"]["rate_hz"] == 25
    assert file["time"]["end_s"] == pytest.approx(49 / 25)


MAP = '[channels]\n"Zog" = {channel = "engine_speed", unit = "rpm"}\n"Blip" = {channel = "throttle", unit = "%"}\n'


def understood(file: dict[str, object]) -> dict[str, object]:
    return {channel["name"]: channel["canonical"] for channel in file["channels"]}  # type: ignore[index,attr-defined]


def test_channel_map_settles_and_is_remembered(shop: Program) -> None:
    odd = LOG.format(header="Time [s],Zog,Blip")
    shop.write("heron_2031-08-01_1.csv", odd)
    shop.write("heron_2031-08-01_2.csv", odd.replace("901", "902"))
    shop.write("odd.toml", MAP)
    (file,) = shop("import", "heron_2031-08-01_1.csv", "--dry-run", "--json").json()["files"]
    assert understood(file) == {"Zog": None, "Blip": None}
    (file,) = shop("import", "heron_2031-08-01_1.csv", "--map", "odd.toml", "--json").json()["files"]
    assert understood(file) == {"Zog": "engine_speed", "Blip": "throttle"}
    assert [channel["confidence"] for channel in file["channels"]] == [1.0, 1.0]
    (file,) = shop("import", "heron_2031-08-01_2.csv", "--json").json()["files"]
    assert understood(file) == {"Zog": "engine_speed", "Blip": "throttle"}
    before = rows(shop, "select * from channel")
    assert shop("rebuild").code == 0
    assert rows(shop, "select * from channel") == before


def test_channel_map_of_a_dry_run_is_forgotten(shop: Program) -> None:
    shop.write("heron_2031-08-01_1.csv", LOG.format(header="Time [s],Zog,Blip"))
    shop.write("odd.toml", MAP)
    before = rows(shop, "select count(*) from entry")
    (file,) = shop("import", "heron_2031-08-01_1.csv", "--map", "odd.toml", "--dry-run", "--json").json()["files"]
    assert understood(file) == {"Zog": "engine_speed", "Blip": "throttle"}
    assert rows(shop, "select count(*) from entry") == before
    (file,) = shop("import", "heron_2031-08-01_1.csv", "--dry-run", "--json").json()["files"]
    assert understood(file) == {"Zog": None, "Blip": None}


def test_channel_map_that_cannot_be_is_refused(shop: Program) -> None:
    shop.write("heron_2031-08-01_1.csv", LOG.format(header="Time [s],Zog,Blip"))
    shop.write("odd.toml", MAP.replace("engine_speed", "engine_sped"))
    done = shop("import", "heron_2031-08-01_1.csv", "--map", "odd.toml")
    assert done.code == 1
    assert "engine_sped" in done.err + done.out
    assert "Traceback" not in done.err
    assert rows(shop, "select count(*) from trace_fact") == [(0,)]
    assert shop("import", "heron_2031-08-01_1.csv", "--map", "nowhere.toml").code == 1
