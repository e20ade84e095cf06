"""``runlog season`` as a user runs it, over the demo season."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from jsonschema import Draft202012Validator
from published import closed, schema

if TYPE_CHECKING:
    from conftest import Program, Season

SCHEMA = schema("season")
CARS = ("curlew", "dunlin", "heron", "plover", "wigeon")


@pytest.mark.parametrize("car", CARS)
def test_machine_output_is_what_the_schema_says(season: Season, car: str) -> None:
    """Oracle: JSON Schema 2020-12 as implemented by the jsonschema library."""
    Draft202012Validator.check_schema(SCHEMA)
    validator = Draft202012Validator(closed(SCHEMA))
    page = season.json("season", car)
    assert [f"{error.json_path}: {error.message[:200]}" for error in validator.iter_errors(page)] == []
    assert list(validator.iter_errors({**page, "days": None}))


@pytest.mark.parametrize("car", CARS)
def test_page_fits(season: Season, car: str) -> None:
    done = season.run("season", car)
    assert done.code == 0, done.err
    assert max(map(len, done.out.splitlines())) <= 80


def test_bests_are_the_quickest_of_the_list_of_runs(season: Season) -> None:
    """Against another command's figures: 0–60 and the elapsed time of every run as ``runs`` lists them."""
    page = season.json("season", "heron")
    rows = [row for row in season.json("runs", "--car", "heron") if row["date"] == "2031-05-17"]
    times = [row["corrected_t60_s"] for row in rows if row["corrected_t60_s"] is not None]
    day = next(day for day in page["days"] if day["date"] == "2031-05-17")
    assert day["increments"][0]["best_s"] == pytest.approx(min(times), abs=2e-4)
    assert day["runs"] == len(rows)
    whole = [row["corrected_t1320_s"] for row in season.json("runs", "--car", "heron")]
    best = next(best for best in page["bests"] if (best["from_ft"], best["to_ft"]) == (0, 1320))
    assert best["time_s"] == pytest.approx(min(time for time in whole if time is not None), abs=2e-4)


def test_the_car_of_the_newest_run_is_taken_and_an_unknown_one_refused(season: Season, runlog: Program) -> None:
    assert season.json("season")["car"] in CARS
    done = season.run("season", "ostrich")
    assert done.code == 1
    assert "no car 'ostrich'" in done.err


def test_the_document_holds_a_verdict_back_where_the_page_does(season: Season) -> None:
    pytest.importorskip("jinja2")
    pytest.importorskip("vl_convert")
    held = [row for row in season.json("season", "heron")["verdicts"] if row["held_back"]]
    assert held, "else nothing is tested"
    assert season.program("season", "heron", "--html", "season.html").code == 0
    text = (season.program.folder / "season.html").read_text("utf-8")
    for row in held:
        assert f"? held back: {row['held_back']['lost']} of {row['held_back']['runs']} runs lost" in text
