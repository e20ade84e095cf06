"""``runlog fleet`` as a user runs it, over the demo season."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from jsonschema import Draft202012Validator
from published import closed, schema

if TYPE_CHECKING:
    from conftest import Program, Season

SCHEMA = schema("fleet")
CARS = ["curlew", "dunlin", "heron", "plover", "wigeon"]


def test_machine_output_is_what_the_schema_says(season: Season) -> None:
    """Oracle: JSON Schema 2020-12 as implemented by the jsonschema library."""
    Draft202012Validator.check_schema(SCHEMA)
    validator = Draft202012Validator(closed(SCHEMA))
    page = season.json("fleet")
    assert [error.message for error in validator.iter_errors(page)] == []
    assert [car["car"] for car in page["cars"]] == CARS
    assert list(validator.iter_errors({**page, "cars": None}))


def test_page_fits_and_tells_of_average_spread_and_another_car(season: Season) -> None:
    done = season.run("fleet")
    assert done.code == 0, done.err
    assert max(map(len, done.out.splitlines())) <= 80
    for word in ("on average", "between cars", "in another car", "Worth testing next", "not permission"):
        assert word in done.out
    assert "1. " in done.out
    assert "1000–1320 " in done.out
    assert "…" not in done.out


def test_interval_for_another_car_covers_the_cars_true_effects(season: Season, truth: dict[str, Any]) -> None:
    """Nominally 90 %; of some hundred effects that hang together, the count may stray to 80 %."""
    covered = []
    for row in season.json("fleet")["effects"]:
        if (
            row["beyond_tried"]
            or not row["cars_tried"]
            or row["inseparable_from"]
            or row["from_ft"] == 0 < row["to_ft"] - 60
        ):
            continue
        for car in row["cars_with"]:
            known = truth["cars"][car]["adjustables"].get(row["adjustable"])
            true = known and known["one_step_up_s"].get(f"{row['from_ft']}-{row['to_ft']}")
            if true is not None:
                covered.append(row["new_car_lo90_s"] < true < row["new_car_hi90_s"])
    assert len(covered) >= 50
    assert sum(covered) >= 0.8 * len(covered)


@pytest.mark.slow
def test_order_of_import_changes_nothing(runlog: Program, demo_folder: Path) -> None:
    parts = [demo_folder / part for part in ("tracks", "cars", "sheets")]
    days = [demo_folder / "pits" / day / "slips.csv" for day in ("2031-04-12", "2031-05-24", "2031-05-04")]
    pages = []
    for name, order in (("one.duckdb", days), ("other.duckdb", days[::-1])):
        runlog("new", name)
        assert runlog("import", "--logbook", name, *parts, *order).code == 0
        pages.append(runlog("fleet", "--json", "--logbook", name).json())
    assert pages[0] == pages[1]


def test_an_empty_logbook(runlog: Program) -> None:
    runlog("new", "a.duckdb")
    done = runlog("fleet")
    assert done.code == 1
    assert "no car with a car file has run yet" in done.err
