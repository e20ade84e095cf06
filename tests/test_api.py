"""The logbook from Python: the same figures as the command line, units in the names, nothing changed by reading.

Oracles: what ``--json`` prints, with the exact foot and mile of the international yard and pound agreement of 1959; the
demo's files as a plain CSV reader reads them.
"""

from __future__ import annotations

import csv
import datetime as dt
import math
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl
import pytest

import runlog

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conftest import Program, Season

DAY = "2031-04-12"


@pytest.fixture
def book(season: Season) -> Iterator[runlog.Book]:
    with runlog.open(season.logbook) as opened:
        yield opened


def test_runs_are_those_of_the_command_line(season: Season, book: runlog.Book) -> None:
    said = season.json("runs", "--car", "heron", "--day", DAY)
    frame = book.runs("heron", DAY)
    assert frame["key"].to_list() == [run["key"] for run in said]
    for run, row in zip(said, frame.iter_rows(named=True), strict=True):
        for name in ("t60_s", "t1320_s", "corrected_t1320_s", "reaction_s"):
            assert row[name] == (None if run[name] is None else pytest.approx(run[name], abs=5e-5))
        if run["v1320_mph"] is not None:
            assert row["v1320_m_s"] == pytest.approx(run["v1320_mph"] * 0.44704, abs=0.003)
        assert (row["clean"], row["spoiled"], row["lane"]) == (run["clean"], run["spoiled_reason"], run["lane"])


def test_air_of_a_run_is_in_si(season: Season, book: runlog.Book) -> None:
    said = season.json("show", f"heron/{DAY}/5")["air"]
    [row] = book.runs("heron", DAY).filter(pl.col("number") == 5).to_dicts()
    assert row["temperature_k"] == pytest.approx(said["temperature_c"] + 273.15, abs=0.006)
    assert row["relative_humidity"] == pytest.approx(said["relative_humidity_pct"] / 100, abs=6e-4)
    assert row["station_pressure_pa"] == pytest.approx(said["station_pressure_hpa"] * 100, abs=0.6)
    assert row["density_altitude_m"] == pytest.approx(said["density_altitude_ft"] * 0.3048, abs=0.02)


def test_increments_add_up_to_the_split(book: runlog.Book) -> None:
    key = f"heron/{DAY}/5"
    parts = book.increments("heron").filter(pl.col("key") == key)
    last = book.splits("heron").filter((pl.col("key") == key) & (pl.col("distance_ft") == 1320))
    assert parts["measured_s"].sum() == pytest.approx(last["measured_s"][0])
    assert parts["corrected_s"].sum() == pytest.approx(last["corrected_s"][0])


def test_setup_is_what_the_sheet_says(book: runlog.Book, demo_folder: Path) -> None:
    with (demo_folder / "sheets" / "heron_baseline.csv").open(encoding="utf-8") as file:
        written = {row["item"]: float(row["value"]) for row in csv.DictReader(file) if row["unit"] in ("rpm", "psi")}
    setup = {row["item"]: row["value"] for row in book.setups("heron", DAY).filter(pl.col("number") == 1).to_dicts()}
    assert len(written) >= 4
    assert {item: setup[item] for item in written} == written


def test_air_readings_of_a_day(book: runlog.Book) -> None:
    frame = book.air(dt.date(2031, 4, 12))
    assert frame.height > 10
    assert frame["time"].is_sorted()
    assert frame["relative_humidity"].is_between(0.2, 1.0).all()
    assert frame["station_pressure_pa"].is_between(95_000, 105_000).all()
    assert book.air().height > frame.height


def test_trace_is_the_log_in_si(book: runlog.Book, demo_folder: Path) -> None:
    """The file's own numbers by a plain CSV reader; one revolution is 2 π rad. Samples are kept in single precision."""
    lines = (demo_folder / "pits" / DAY / "heron_2031-04-12_7.csv").read_text(encoding="utf-8").splitlines()
    names, units, *rows = csv.reader(lines)
    column = names.index("Engine speed")
    assert units[column] == "rpm"
    numbers = [float(row[column]) for row in rows if row[column]]
    frame = book.traces(f"heron/{DAY}/7", ["engine_speed"])
    assert set(zip(frame["unit"], frame["written_unit"], strict=True)) == {("rad/s", "rpm")}
    assert frame["time_s"].is_sorted()
    assert frame["value"].to_list() == pytest.approx([number * 2 * math.pi / 60 for number in numbers], rel=1e-6)


def test_trace_has_every_channel_and_an_unknown_one_is_refused(season_copy: Program) -> None:
    """A channel that is none of ours keeps its name, and its unit where that says what it measures."""
    lines = "".join(f"{n / 10},{3000 + n},{n},{n},{n}\n" for n in range(50))
    log = season_copy.write("log.csv", f"Time (s),Engine RPM,Zork (psi),Quux (g),Blip\n{lines}")
    assert season_copy("import", log, "--run", "heron/2031-04-12/3").code == 0
    with runlog.open(season_copy.folder / "demo.duckdb") as book:
        frame = book.traces("heron/2031-04-12/3")
        assert frame.group_by("channel").len()["len"].to_list() == [50] * 4
        found = {row["channel"]: row for row in frame.filter(pl.col("time_s") == 4.0).to_dicts()}
        # a psi is a pound-force on a square inch: 4.4482216152605 N / 0.0254² m²
        assert found["Zork"]["value"] == pytest.approx(40 * 4.4482216152605 / 0.0254**2, rel=1e-6)
        assert [found[name]["unit"] for name in ("Zork", "Quux", "Blip")] == ["Pa", None, None]
        assert found["Blip"]["value"] == 40
        assert set(book.traces("heron/2031-04-12/3", ["Zork"])["channel"]) == {"Zork"}
        with pytest.raises(runlog.NotFound, match=r"no channel warp; there are: .*engine_speed"):
            book.traces("heron/2031-04-12/3", ["warp"])


def test_effects_are_those_of_the_command_line(season: Season, book: runlog.Book) -> None:
    said = season.json("effects", "--car", "heron")["effects"]
    frame = book.effects("heron")
    assert frame.height == len(said)
    for row, other in zip(frame.iter_rows(named=True), said, strict=True):
        assert (row["adjustable"], row["from_ft"], row["to_ft"]) == (
            other["adjustable"], other["from_ft"], other["to_ft"],
        )  # fmt: skip
        assert row["mean_s"] == other["mean_s"]
        assert row["verdict"] == other["verdict"]
        assert row["made_mean_s"] == (other["change_made"] or {}).get("mean_s")
    assert (frame["lo90_s"] <= frame["mean_s"]).all()


def test_cars_and_the_newest_run(season: Season, book: runlog.Book) -> None:
    assert book.cars() == ["curlew", "dunlin", "heron", "plover", "wigeon"]
    assert book.page()["run"] == season.json("show")["run"]
    assert book.page("heron/latest")["run"] == season.json("show", "heron/latest")["run"]


@pytest.mark.parametrize(
    ("ask", "told"),
    [
        (lambda book: book.runs("egret"), "no car 'egret' in the logbook; there are: curlew"),
        (lambda book: book.traces("heron/2031-04-12/77"), "no run heron/2031-04-12/77"),
        (lambda book: book.runs("heron", "yesterday"), "'yesterday' is not a date; accepted"),
        (lambda book: book.read("x.csv"), "open for reading"),
    ],
)
def test_what_is_not_there_says_what_is(book: runlog.Book, ask, told: str) -> None:
    with pytest.raises(runlog.RunlogError, match=told):
        ask(book)


def test_reading_changes_not_a_byte(season_copy: Program) -> None:
    path = season_copy.folder / "demo.duckdb"
    before = path.read_bytes()
    with runlog.open(path) as book:
        book.runs()
        book.effects("heron")
    assert path.read_bytes() == before


def test_writing_reads_files_as_import_does(season_copy: Program) -> None:
    slips = season_copy.write("slips.csv", "car,date,run,t60_s\nheron,2031-07-01,1,1.400\n")
    with runlog.open(season_copy.folder / "demo.duckdb", mode="write") as book:
        assert book.read(slips).stored == 1
        assert book.runs("heron", "2031-07-01")["t60_s"].to_list() == [1.4]
    with pytest.raises(runlog.UsageError, match="mode: found 'w'; accepted: read, write"):
        runlog.open(season_copy.folder / "demo.duckdb", mode="w")


def test_no_logbook_is_said_as_on_the_command_line(tmp_path: Path) -> None:
    with pytest.raises(runlog.NotFound, match="no logbook at"):
        runlog.open(tmp_path / "marsh.duckdb")


def test_import_is_light_and_frames_need_no_arrow_library(season: Season) -> None:
    code = (
        "import sys, runlog; light = {'polars', 'duckdb', 'typer', 'numpy'} & set(sys.modules); "
        f"book = runlog.open({str(season.logbook)!r}); book.runs(); book.air(); "
        "print(sorted(light), 'pyarrow' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout == "[] False\n"


def test_types_are_published() -> None:
    assert (Path(runlog.__file__).parent / "py.typed").exists()
    with pytest.raises(AttributeError, match="module 'runlog' has no attribute 'shut'"):
        runlog.shut  # noqa: B018
