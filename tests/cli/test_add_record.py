"""Typing in the start-line record and the driver's report, and counting the runs of parts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Program

DAY = ("--car", "heron", "--date", "2031-08-01")


@pytest.fixture
def shop(runlog: Program, demo_folder) -> Program:
    """A logbook with one car and one track."""
    runlog("new", "a.duckdb")
    runlog("import", demo_folder / "cars" / "heron.toml", demo_folder / "tracks")
    return runlog


def test_the_record_of_a_run_stands_on_its_page_and_counts_parts(shop: Program) -> None:
    first = shop("add", "start", *DAY, "--number", "1", "--driver", "ann", "--tyres", "A", "--tyre-runs", "4",
                 "--coolant", "165F", "--staging", "shallow")  # fmt: skip
    assert first.code == 0, first.err
    done = shop("add", "report", *DAY, "--number", "1", "--moved", "left", "--moved-at", "200", "--json")
    assert done.json()["before_figures"] is True
    assert not any(figure in done.out for figure in ("1.412", "4.01"))
    assert shop("add", "run", *DAY, "--60", "1.412", "--330", "4.01").code == 0
    page = shop("show", "heron/2031-08-01/1", "--json").json()
    assert page["start_record"]["coolant"] == "165F"
    assert page["driver_report"]["summary"] == "moved left at 200 ft"
    text = shop("show", "heron/2031-08-01/1").out
    assert "Driver: moved left at 200 ft" in text
    assert "Start: coolant 165F, driver ann" in " ".join(text.split())

    again = shop("add", "start", *DAY, "--surface", "96F", "--json").json()
    assert again["run"] == "heron/2031-08-01/2"
    assert (again["driver"], again["tyre_set"], again["tyre_runs"], again["staging"]) == ("ann", "A", 5, "shallow")
    other = shop("add", "start", *DAY, "--number", "3", "--tyres", "B", "--json").json()
    assert (other["tyre_set"], other["tyre_runs"]) == ("B", None)

    late = shop("add", "report", *DAY, "--number", "1", "--braking", "weak", "--json").json()
    assert late["before_figures"] is False
    kept = shop("show", "heron/2031-08-01/1", "--json").json()["driver_report"]
    assert (kept["moved"], kept["braking"], kept["before_figures"]) == ("left", "weak", False)

    listed = shop("parts", "heron", "--json").json()
    assert [(item["part"], item["name"], item["runs"], item["runs_before"]) for item in listed["parts"]] == [
        ("tyre set", "A", 1, 4)
    ]
    assert "tyre set" in shop("parts", "heron").out


def test_what_cannot_be_is_refused(shop: Program) -> None:
    done = shop("add", "start", *DAY, "--coolant", "warm")
    assert done.code != 0
    assert "coolant" in done.err
    assert "a temperature with its unit" in done.err
    assert shop("add", "report", *DAY).code == 2
