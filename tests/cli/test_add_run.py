"""Typing a timing slip in by hand: with options, guided at a terminal, and refused where nobody can answer."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import duckdb
import pytest
from terminal import answered

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Program

WHO = ("--car", "heron", "--date", "2031-08-01")


@pytest.fixture
def shop(runlog: Program, demo_folder: Path) -> Program:
    """A logbook with one car and one track."""
    runlog("new", "a.duckdb")
    runlog("import", demo_folder / "cars" / "heron.toml", demo_folder / "tracks")
    return runlog


def test_with_options(shop: Program) -> None:
    given = ("--lane", "left", "--track", "lowfield", "--time", "10:05", "--purpose", "330", "--reaction", "0.2")
    done = shop("add", "run", *WHO, *given, "--60", "1.412", "--330", "4.01", "--note", "quiet", "--json")
    assert done.code == 0, done.err
    page = done.json()
    assert page["run"] == {
        "key": "heron/2031-08-01/1", "car": "heron", "date": "2031-08-01", "time": "10:05:00", "track": "lowfield",
        "number": 1, "lane": "left", "purpose": "330", "clean": True, "spoiled_reason": None, "spoiled_class": None,
        "valid_to_ft": 330,
        "note": "quiet",
    }  # fmt: skip
    assert [row["measured_s"] for row in page["splits"]] == [1.412, 4.01, None, None, None]
    assert "heron/2031-08-01/1 is stored" in done.err


def test_next_number_by_default(shop: Program) -> None:
    for number in (1, 2, 3):
        done = shop("add", "run", *WHO, "--60", "1.412", "--json").json()
        assert done["run"]["number"] == number


def test_what_is_wrong_with_it_is_told(shop: Program) -> None:
    done = shop("add", "run", *WHO, "--60", "1.412", "--330", "1.2", "--lane", "middle")
    assert done.code == 1
    assert "330" in done.err
    assert "Traceback" not in done.err
    assert shop("runs", "--json").json() == []
    done = shop("add", "run", *WHO, "--60", "quick")
    assert done.code == 1
    assert "'quick'" in done.err


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (("--60", "1.412"), "no car given: --car CAR"),
        (WHO, "at least one of --60, --330, --660, --1000, --1320"),
        ((), "no car given: --car CAR"),
    ],
)
def test_without_a_terminal_what_is_missing_is_named(shop: Program, given: tuple[str, ...], told: str) -> None:
    done = shop("add", "run", *given)
    assert done.code == 2
    assert told in done.err
    assert shop("runs", "--json").json() == []


def test_typing_it_again_corrects_it_and_keeps_what_was_said(shop: Program) -> None:
    shop("add", "run", *WHO, "--number", "1", "--60", "1.512", "--lane", "left")
    done = shop("add", "run", *WHO, "--number", "1", "--60", "1.412", "--lane", "left", "--json")
    assert done.json()["splits"][0]["measured_s"] == 1.412
    (row,) = shop("runs", "--json").json()
    assert row["t60_s"] == 1.412
    with duckdb.connect(str(shop.folder / "a.duckdb"), read_only=True) as book:
        assert book.execute("select t60 from slip_fact order by entry").fetchall() == [(1.512,), (1.412,)]
        assert book.execute("select t60 from slip").fetchall() == [(1.412,)]
        kept = book.execute("select count(distinct sha256) from entry where kind = 'slips'").fetchone()
        assert kept == (2,)


def test_typing_it_back_brings_the_old_value_back(shop: Program) -> None:
    for time_60 in ("1.512", "1.412", "1.512"):
        done = shop("add", "run", *WHO, "--number", "1", "--60", time_60)
        assert done.code == 0, done.err
    (row,) = shop("runs", "--json").json()
    assert row["t60_s"] == 1.512
    assert shop("rebuild").code == 0
    (row,) = shop("runs", "--json").json()
    assert row["t60_s"] == 1.512


@pytest.mark.skipif(os.name == "nt", reason="needs a pseudo-terminal")
def test_guided_at_a_terminal(shop: Program) -> None:
    answers: dict[str, str | list[str]] = {
        "Car": "heron", "Date": "2031-08-01", "Clock time": "10:05", "Track": "lowfield", "Lane": "right",
        "Planned": "60", "60 ft": "1.433", "Note": "straight",
    }  # fmt: skip
    code, screen = answered(shop, ("add", "run"), answers)
    assert code == 0, screen
    for question in ("Car", "Date", "Run of the day [1]", "Lane (left, right)", "60 ft [s]", "Spoiled by"):
        assert question in screen
    assert "330 ft [s]" not in screen  # beyond the planned distance nothing counts
    (row,) = shop("runs", "--json").json()
    assert (row["key"], row["time"], row["lane"]) == ("heron/2031-08-01/1", "10:05:00", "right")
    assert (row["t60_s"], row["t330_s"], row["note"]) == (1.433, None, "straight")


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="needs a pseudo-terminal")
def test_report_and_start_record_ask_again_for_what_cannot_be_kept(shop: Program) -> None:
    about = ("--car", "heron", "--date", "2031-08-01")
    shop("add", "run", *WHO, "--number", "1", "--60", "1.412")
    replies: dict[str, str | list[str]] = {"Coolant": ["warm", "165F"], "Driver with": ["190", "190lb"],
                                          "Runs on it": ["four", "4"]}  # fmt: skip
    code, screen = answered(shop, ("add", "start", "--car", "heron"), replies)
    assert code == 0, screen
    assert screen.count("found 'warm'; accepted: a temperature with its unit") == 1
    assert screen.count("found 'four'") == 1
    code, screen = answered(shop, ("add", "report", *about), {"Moved": ["sideways", "left"], "Where": "200"})
    assert code == 0, screen
    assert screen.count("found 'sideways'; accepted:") == 1
    assert "heron/2031-08-01/1: moved left at 200 ft" in screen


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="needs a pseudo-terminal")
def test_release_items_and_changes_at_a_terminal(shop: Program) -> None:
    """Enter and y as a crew presses them; a check that isn't good ends without a signature."""
    shop("import", shop.write("base.csv", "car,sheet,item,value,unit\nheron,full,launch rpm,4200,rpm\n"))
    shop("add", "run", *WHO, "--number", "1", "--60", "1.412")
    shop("release", "heron", "--again", "fire-up", "--why", "new engine")
    code, screen = answered(shop, ("release", "heron", "--sign", "fire-up"), {"no leaks": "n"})
    assert (code, "no leaks: fuel, oil, coolant, transmission is not good" in " ".join(screen.split())) == (1, True)
    good = {"no leaks": "y", "oil": "y", "throttle": "y", "brake": "y", "shut-off": "y", "fire": "y", "Signed": "ann"}
    code, screen = answered(shop, ("release", "heron", "--sign", "fire-up"), good)
    assert code == 0, screen
    assert shop("release", "heron", "--json").json()["steps"][0]["signed_by"] == "ann"
    code, screen = answered(shop, ("item", "add", "oil on the header", "--car", "heron"), {})
    assert code == 0, screen
    code, screen = answered(shop, ("item", "close", "1"), {"What was done": "new gasket"})
    assert code == 0, screen
    code, screen = answered(shop, ("add", "change", "launch rpm=4400", "--car", "heron"), {"launch rpm": "y"})
    assert (code, "really done so?" in screen) == (0, True), screen


@pytest.mark.skipif(os.name == "nt", reason="needs a pseudo-terminal")
def test_complete_slip_is_not_asked_about_at_a_terminal(shop: Program) -> None:
    code, screen = answered(shop, ("add", "run", *WHO, "--60", "1.412"), {})
    assert code == 0, screen
    assert "Lane (left, right)" not in screen


@pytest.mark.skipif(os.name == "nt", reason="needs a pseudo-terminal")
def test_a_wrong_answer_is_told_at_once_and_asked_again(shop: Program) -> None:
    answers: dict[str, str | list[str]] = {"Lane": ["middle", "left"], "60 ft": ["1.4o", "1.40"], "Planned": "60"}
    code, screen = answered(shop, ("add", "run", *WHO, "--time", "10:05"), answers)
    assert code == 0, screen
    assert screen.count("found 'middle'; accepted: left or right") == 1
    assert screen.count("found '1.4o'; accepted: seconds from 0.3 to 99") == 1
    (row,) = shop("runs", "--json").json()
    assert (row["lane"], row["t60_s"]) == ("left", 1.4)
