"""Carried calibration, events and won or lost time on the demo season, against what is true there."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from runlog.store import results
from runlog.store.connection import open_logbook
from runlog.workflows.results.spoiling import proposals

if TYPE_CHECKING:
    from conftest import Program, Season

EARLY = [f"heron/2031-04-12/{number}" for number in (5, 6, 7, 10)]
LATE = ["heron/2031-04-26/1", "heron/2031-04-26/4", "heron/2031-05-17/1", "heron/2031-05-17/4", "heron/2031-06-07/2"]


def page(season: Season, key: str) -> dict[str, Any]:
    shown: dict[str, Any] = season.json("show", key)
    return shown


def misses(season: Season, truth: dict[str, Any], feet: int) -> list[float]:
    """Trace less true split [s] of the full runs that come after at least three slips."""
    found = []
    for key in EARLY + LATE:
        assert page(season, key)["trace"]["calibration"]["earlier_runs"] >= 3
        row = next(row for row in page(season, key)["splits"] if row["distance_ft"] == feet)
        found.append(row["trace_s"] - truth["runs"][key]["splits_s"][str(feet)])
    return found


@pytest.mark.parametrize(("feet", "target"), [(60, 0.004), (1320, 0.010)])
def test_splits_after_a_few_slips(season: Season, truth: dict[str, Any], feet: int, target: float) -> None:
    """The sd that is aimed for; the season's car changes its tyre pressure and ballast, but not its sensors."""
    assert float(np.sqrt(np.mean(np.square(misses(season, truth, feet))))) <= target


def test_calibration_is_shown_with_its_doubt_and_narrows(season: Season) -> None:
    def doubts(key: str) -> dict[str, float]:
        return {row["name"]: row["sd"] for row in page(season, key)["trace"]["calibration"]["parameters"]}

    first, last = doubts("heron/2031-04-12/1"), doubts(LATE[-1])
    assert set(first) == {"circumference", "slip_per_g", "growth", "accelerometer", "ground", "rollout"}
    assert all(last[name] < first[name] for name in first if name != "ground")
    assert "Calibrated by" in season.run("show", LATE[-1]).out
    assert "Calibrated by" not in season.run("show", "heron/2031-04-12/1").out


def test_spoiled_runs_teach_nothing(season: Season, truth: dict[str, Any]) -> None:
    for number in (8, 9):
        key = f"heron/2031-04-12/{number}"
        assert truth["runs"][key]["event"] in ("shake", "lift")
        assert page(season, key)["trace"]["calibration"]["learned_from_this_slip"] is False


def test_burnouts_are_told_where_they_were_recorded(season: Season, truth: dict[str, Any]) -> None:
    """Burnouts end 9 s before the brake release, so only files that begin more than 12 s before it hold one."""
    for key in EARLY + LATE + ["heron/2031-04-12/1", "heron/2031-04-12/2"]:
        logger = truth["runs"][key]["logger"]
        long = logger["brake_release_s"] - logger["first_time_s"] > 12.0
        told = [event for event in page(season, key)["trace"]["events"] if event["name"] == "burnout"]
        assert len(told) == long, key
        assert all(-13.0 < event["time_s"] < -11.5 for event in told)


def test_events_are_in_order_and_sure_of_themselves_within_bounds(season: Season) -> None:
    for key in EARLY + LATE:
        events = page(season, key)["trace"]["events"]
        times = [event["time_s"] for event in events]
        assert times == sorted(times)
        names = [event["name"] for event in events]
        assert names.count("launch") == 1
        assert names.count("mean g") == 5
        assert names.count("gear slip") == 2
        assert not {"spin", "wheelstand", "front wheels up", "abort"} & set(names)


def test_a_spoiling_event_is_asked_about_only_where_the_slip_does_not_say_so(season_copy: Program) -> None:
    """The shake of run 8 is on its sheet of results; with the mark taken away the trace asks."""
    assert season_copy("show", "heron/2031-04-12/8", "--json").json()["questions"] == []
    with open_logbook(season_copy.folder / "demo.duckdb", read_only=True) as book:
        found = {str(key): value for key, value in results.findings(book, "heron").items()}
    asked = proposals(found["heron/2031-04-12/8"]["events"], None, 400.0, 0.2794)
    assert len(asked) == 1
    assert "tyre shake" in asked[0].text
    assert "is the run spoiled?" in asked[0].text
    assert "inspect driveline and wheels first" in asked[0].text
    assert proposals(found["heron/2031-04-12/8"]["events"], "car: tyre shake", 400.0, 0.2794) == ()


@pytest.mark.parametrize(("one", "two"), list(combinations(EARLY[:3] + LATE[:1], 2)))
def test_won_and_lost_time_agrees_with_the_true_splits(
    season: Season, truth: dict[str, Any], one: str, two: str
) -> None:
    along = season.json("compare", one, two)["along_track"]
    first, second = along["runs"]
    assert set(first["difference_s"]) == {0.0}
    assert np.cumsum(second["lost_s"]) == pytest.approx(second["difference_s"], abs=1e-3)
    for feet in (60, 330, 660, 1000, 1320):
        true = truth["runs"][two]["splits_s"][str(feet)] - truth["runs"][one]["splits_s"][str(feet)]
        assert second["difference_s"][along["station_ft"].index(feet)] == pytest.approx(true, abs=0.008), feet


def test_swapped_runs_are_the_opposite(season: Season) -> None:
    there, back = (season.json("compare", *keys)["along_track"]["runs"][1] for keys in (EARLY[:2], EARLY[1::-1]))
    assert there["difference_s"] == pytest.approx([-value for value in back["difference_s"]], abs=2e-4)


def test_a_short_hit_is_compared_as_far_as_it_pulled(season: Season) -> None:
    along = season.json("compare", EARLY[0], "heron/2031-04-12/1")["along_track"]
    assert along["station_ft"] == [0, 60]


def test_drawing_is_written(season_copy: Program) -> None:
    done = season_copy("compare", *EARLY[:2], "--svg", "won.svg")
    assert done.code == 0
    assert "Where the time was won or lost" in done.out
    root = ElementTree.parse(season_copy.folder / "won.svg").getroot()
    assert len(root.findall("{http://www.w3.org/2000/svg}polyline")) == 4


def test_without_a_trace_there_is_nothing_to_draw(season_copy: Program) -> None:
    done = season_copy("compare", EARLY[0], "heron/2031-04-26/2", "--svg", "none.svg")
    assert done.code == 1
    assert "not every run has a trace" in done.err
    assert not (season_copy.folder / "none.svg").exists()
    assert season_copy("compare", EARLY[0], "heron/2031-04-26/2", "--json").json()["along_track"] is None
