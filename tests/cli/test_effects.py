"""``runlog effects`` with its options, as a user runs it over the demo season."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from published import faults

if TYPE_CHECKING:
    from conftest import Program, Season


def fits(text: str) -> bool:
    return max(map(len, text.splitlines())) <= 80


def test_one_day_alone(season: Season) -> None:
    page = season.json("effects", "--car", "heron", "--day", "2031-04-26")
    assert faults("effects", page) == []
    assert (page["day"], page["days"], page["runs_used"]) == ("2031-04-26", 1, 7)
    moved = {row["adjustable"] for row in page["effects"] if row["change_made"]}
    assert moved == {"rear tyre pressure", "upper link front hole"}
    done = season.run("effects", "--car", "heron", "--day", "2031-04-26")
    assert "7 runs on 1 day;" in done.out
    assert fits(done.out)
    assert season.json("effects", "--car", "heron")["day"] is None


@pytest.mark.parametrize(("day", "code", "told"), [("2031-01-01", 1, "no run on"), ("yesterday", 2, "is not a day")])
def test_a_day_without_runs_or_that_is_none(season: Season, day: str, code: int, told: str) -> None:
    done = season.run("effects", "--car", "heron", "--day", day)
    assert done.code == code
    assert told in done.err


def test_every_prior_is_shown_with_its_origin(season: Season) -> None:
    page = season.json("effects", "--car", "heron", "--priors")
    assert faults("effects", page) == []
    origins = {prior["adjustable"]: prior["origin"] for prior in page["priors"]}
    assert set(origins) == {row["adjustable"] for row in page["effects"]}
    assert origins["ballast rear"] == "physics"
    assert origins["launch rpm"] == "fleet of 4 cars"
    assert origins["lower link front hole"] == "default"  # no car has moved it, but others have moved the anti-squat
    (hole,) = (prior for prior in page["priors"] if prior["adjustable"] == "lower link front hole")
    assert [part["origin"] for part in hole["through"]] == ["fleet of 3 cars"]
    done = season.run("effects", "--car", "heron", "--priors")
    assert all(name in done.out for name in origins)
    assert fits(done.out)


def test_a_prior_of_the_car_file_comes_through(season_copy: Program, demo_folder: Path) -> None:
    text = (demo_folder / "cars" / "heron.toml").read_text(encoding="utf-8")
    assert 'name = "launch rpm"\n' in text
    own = 'name = "launch rpm"\nprior_mean_s = [-0.004]\nprior_sd_s = [0.003]\n'
    season_copy.write("heron.toml", text.replace('name = "launch rpm"\n', own))
    assert season_copy("import", "heron.toml").code == 0
    priors = season_copy("effects", "--car", "heron", "--json").json()["priors"]
    prior = next(prior for prior in priors if prior["adjustable"] == "launch rpm")
    assert prior["origin"] == "car file"
    first = prior["increments"][0]
    assert (first["mean_s"], first["sd_s"]) == (-0.004, 0.003)


@pytest.mark.slow
def test_backtest(season: Season) -> None:
    page = season.json("effects", "--car", "plover", "--backtest")
    assert faults("effects_backtest", page) == []
    assert page["days"] == 3
    named = [one["model"] for one in page["places"][-1]["models"]]
    assert named == ["runlog", "mean of all runs", "Ridge", "BayesianRidge", "HuberRegressor", "Gaussian process"]
    assert len({one["runs"] for one in page["places"][0]["models"]}) == 1
    done = season.run("effects", "--car", "plover", "--backtest")
    assert fits(done.out)
    assert "90 would be right" in done.out
    # whoever came nearest is named, also where that isn't runlog
    said = " ".join(done.out.split())
    tool, _, own = said.partition("? a plain tool came nearer than runlog on")[2].partition("? runlog came nearest on")
    for place in page["places"]:
        errors = {one["model"]: one["rms_error_s"] for one in place["models"] if one["rms_error_s"] is not None}
        if errors:
            nearest = min(errors, key=lambda model: errors[model])
            assert f"{place['from_ft']}–{place['to_ft']} ft" in (own if nearest == "runlog" else tool)


def test_backtest_takes_all_days(season: Season) -> None:
    done = season.run("effects", "--backtest", "--day", "2031-04-26")
    assert done.code == 2
    assert "leave out --day" in done.err


@pytest.mark.slow
def test_scikit_learn_is_loaded_only_by_the_backtest(season: Season) -> None:
    code = (
        "import sys\nfrom runlog.cli.app import app\n"
        "try: app(sys.argv[1:])\nexcept SystemExit: pass\n"
        "print('sklearn' in sys.modules)"
    )
    for words, loaded in (
        (["effects", "--car", "plover"], "False"),
        (["effects", "--car", "plover", "--backtest"], "True"),
    ):
        done = subprocess.run(
            [sys.executable, "-c", code, *words], cwd=season.program.folder, env=season.program.env,
            capture_output=True, text=True, encoding="utf-8", check=True,
        )  # fmt: skip
        assert done.stdout.splitlines()[-1] == loaded


def test_rates_of_lost_runs_stand_on_the_page(season: Season) -> None:
    """The demo season has one run of plover that was lost to tyre shake, at 6.5 psi."""
    lost = {item["adjustable"]: item["settings"] for item in season.json("effects", "--car", "plover")["lost_runs"]}
    told = [(item["setting"], item["spoiled"]) for item in lost["rear tyre pressure"]]
    assert told == [(6, 0), (6.5, 1)]
    assert "lost by the car itself" in season.run("effects", "--car", "plover").out
