"""What other cars have tried is a car's prior: the same whatever came in first, up to date whenever somebody looks."""

from __future__ import annotations

from pathlib import Path

import pytest

from runlog.store import results
from runlog.store.connection import create_logbook
from runlog.workflows.intake.ingest import import_files
from runlog.workflows.lessons.current import current_effects
from runlog.workflows.lessons.page import effects_page
from runlog.workflows.results.derive import refresh

CAR = """[car]
name = "{name}"
race_weight = "2600 lb"
wheelbase = "105 in"
power = "800 hp"
tyre_circumference = "100 in"
final_drive = 4.1
[[car.adjustable]]
name = "launch rpm"
"""
BASELINE = "car,sheet,item,value,unit\n{name},full,launch rpm,4200,rpm\n"
HEADER = "car,date,time,run,lane,purpose,t60_s,t330_s\n"
CHANGES = "car,date,run,item,value,unit\n"


def slips(name: str, day: str, gain: float) -> tuple[str, str]:
    """Six runs, every other one with 200 rpm more; jitter of some milliseconds, made by hand."""
    rows, changes = [], []
    for n, jitter in enumerate((0.003, -0.002, 0.004, 0.0, -0.004, 0.001), 1):
        up = n % 2 == 0
        rows.append(
            f"{name},{day},{9 + n}:00,{n},left,330,{1.41 + jitter - gain * up:.3f},{3.85 + jitter - gain * up:.3f}"
        )
        changes.append(f"{name},{day},{n},launch rpm,{4400 if up else 4200},rpm")
    return HEADER + "\n".join(rows) + "\n", CHANGES + "\n".join(changes) + "\n"


@pytest.fixture
def shop(tmp_path: Path) -> dict[str, list[Path]]:
    made: dict[str, list[Path]] = {}
    for name, gain in (("teal", 0.0), ("tern", 0.03)):
        times, changes = slips(name, "2031-04-12", gain)
        texts = {"car.toml": CAR.format(name=name), "base.csv": BASELINE.format(name=name), "slips.csv": times,
                 "changes.csv": changes}  # fmt: skip
        made[name] = [tmp_path / f"{name}_{file}" for file in texts]
        for path, text in zip(made[name], texts.values(), strict=True):
            path.write_text(text, "utf-8")
    return made


def test_the_order_of_import_changes_nothing(tmp_path: Path, shop: dict[str, list[Path]]) -> None:
    pages = []
    for order in (("teal", "tern"), ("tern", "teal")):
        with create_logbook(tmp_path / f"{'_'.join(order)}.duckdb") as book:
            for name in order:
                import_files(book, shop[name])
                refresh(book)
            pages.append({name: effects_page(book, name) for name in ("teal", "tern")})
    assert pages[0] == pages[1]
    assert {row["prior_origin"] for row in pages[0]["teal"]["effects"] if row["to_ft"] <= 330} == {"fleet of 1 car"}


def test_another_cars_runs_are_heard_when_somebody_looks_and_not_before(
    tmp_path: Path, shop: dict[str, list[Path]]
) -> None:
    with create_logbook(tmp_path / "shop.duckdb") as book:
        import_files(book, shop["teal"])
        refresh(book)
        alone = effects_page(book, "teal")
        assert {row["prior_origin"] for row in alone["effects"]} == {"default"}
        stored = results.car_result(book, "teal")
        import_files(book, shop["tern"])
        refresh(book)
        assert results.car_result(book, "teal") == stored  # importing one car computes no other
        now = effects_page(book, "teal")
        first = [next(row for row in page["effects"] if row["to_ft"] == 60) for page in (alone, now)]
        assert first[1]["prior_origin"] == "fleet of 1 car"
        assert first[1]["mean_s"] < first[0]["mean_s"]  # the other gained 30 ms by it
        own = results.car_result(book, "tern")
        assert own is not None
        assert current_effects(book, "tern") == own[1]  # its own are up to date as stored


def test_of_an_unknown_car_nothing_is_known(tmp_path: Path) -> None:
    with create_logbook(tmp_path / "empty.duckdb") as book:
        assert current_effects(book, "teal") == {}
