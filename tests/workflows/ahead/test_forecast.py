"""Forecasts of the next run: their directions, that they are kept as said, and that none knows its run."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from scipy import stats

from runlog.errors import RunlogError, UsageError
from runlog.records import Given
from runlog.store import originals, proposals
from runlog.workflows.ahead.forecast import Question, forecast_page, keep_proposal
from runlog.workflows.ahead.next_run import SaidAir
from runlog.workflows.ahead.record import record_page
from runlog.workflows.intake.ingest import add_typed, import_files
from runlog.workflows.intake.rebuild import rebuild

if TYPE_CHECKING:
    from pathlib import Path

    from runlog.store.connection import Logbook

HEADER = "car,date,time,track,run,lane,purpose,t60_s,t330_s,t660_s,t1000_s,t1320_s,v1320_mph,spoiled\n"
NEXT = "teal,2031-04-13,11:15,lowfield,2,left,full,1.40,3.83,5.85,7.59,9.04,156.2,\n"
HOT = SaidAir(temperature=311.0, relative_humidity=0.2, station_pressure=98000.0, wind_speed=0.0)
COLD = SaidAir(temperature=278.0, relative_humidity=0.2, station_pressure=102500.0, wind_speed=0.0)


@pytest.fixture
def season(book: Logbook, files: Path) -> Logbook:
    report = import_files(book, [files])
    assert report.refused == 0
    return book


def ask(book: Logbook, **more: Any) -> dict[str, Any]:
    return forecast_page(book, "teal", Question(**more))


def mean(page: dict[str, Any], feet: int = 1320) -> float:
    return next(split["mean_s"] for split in page["splits"] if split["distance_ft"] == feet)


def arrive(book: Logbook, line: str = NEXT) -> None:
    add_typed(book, "slips", (HEADER + line).encode(), "typed", Given())


def distance(page: dict[str, Any], feet: int = 1320) -> dict[str, Any]:
    return next(row for row in page["distances"] if row["distance_ft"] == feet)


# --- what is foretold -------------------------------------------------------------------------------------------------


def test_it_is_for_the_run_after_the_newest(season):
    page = ask(season)
    assert page["run"] == "teal/2031-04-13/2"
    assert page["time"] == "11:15:00"
    assert [split["distance_ft"] for split in page["splits"]] == [60, 330, 660, 1000, 1320]
    assert [split["mean_s"] for split in page["splits"]] == sorted(split["mean_s"] for split in page["splits"])
    later = ask(season, date=season_date("2031-05-01"))
    assert later["run"] == "teal/2031-05-01/1"
    assert later["splits"][-1]["sd_s"] > page["splits"][-1]["sd_s"], "a day that hasn't begun has a level of its own"


def season_date(text: str) -> Any:
    import datetime as dt

    return dt.date.fromisoformat(text)


def test_chances_and_dials_are_those_of_the_normal_distribution(season):
    """Oracle: scipy.stats.norm, with the printed mean and sd."""
    page = ask(season, dial_s=9.0, risks=(0.02, 0.3))
    last = page["splits"][-1]
    normal = stats.norm(last["mean_s"], last["sd_s"])
    assert page["chance_under_dial"] == pytest.approx(normal.cdf(9.0), abs=2e-3)
    assert [row["risk"] for row in page["suggested_dial"]] == [0.02, 0.3]
    for row in page["suggested_dial"]:
        assert row["dial_s"] == pytest.approx(normal.ppf(row["risk"]), abs=3e-4)
    for low, high, share in ((last["lo50_s"], last["hi50_s"], 0.5), (last["lo90_s"], last["hi90_s"], 0.9)):
        assert normal.cdf(high) - normal.cdf(low) == pytest.approx(share, abs=2e-3)


def test_chance_that_the_run_is_not_clean_is_told_apart(season):
    """Beta(2, 26) before and none of four runs lost: (2 + 0)/(28 + 4), by hand; one of five: 3/33."""
    assert ask(season)["chance_not_clean"] == pytest.approx(2 / 32, abs=1e-4)
    before = mean(ask(season))
    arrive(season, "teal,2031-04-13,11:15,lowfield,2,left,full,1.9,5.0,7.5,9.5,11.0,120,driver: throttle lift\n")
    page = ask(season)
    assert page["chance_not_clean"] == pytest.approx(3 / 33, abs=1e-4)
    assert mean(page) == pytest.approx(before, abs=0.02), "a lost run moves the chance, not the clean run's time"


def test_directions(season):
    cold, hot = ask(season, air=COLD, dial_s=9.05), ask(season, air=HOT, dial_s=9.05)
    assert mean(cold) < mean(hot), "dense air is quicker for an engine that breathes by itself"
    assert cold["chance_under_dial"] > hot["chance_under_dial"]
    assert ask(season, dial_s=9.2)["chance_under_dial"] > ask(season, dial_s=9.0)["chance_under_dial"]
    dials = [row["dial_s"] for row in ask(season)["suggested_dial"]]
    assert dials == sorted(dials)
    push, pull = (
        mean(ask(season, air=SaidAir(wind_speed=8.0, wind_from_deg=angle))) for angle in (265.0, 85.0)
    )  # the track runs towards 85°
    assert push < pull, "a tailwind is quicker than a headwind"


def test_a_supposed_change_moves_the_times_as_the_car_file_expects(season):
    """Where the shop says that a step costs 0.1 s in the first 60 ft, held tightly, supposing it shows it."""
    known = (
        '[car]\nname = "teal"\nrace_weight = "2600 lb"\nwheelbase = "105 in"\npower = "800 hp"\n'
        'tyre_circumference = "100 in"\nfinal_drive = 4.1\n[[car.adjustable]]\nname = "launch rpm"\n'
        '[[car.adjustable]]\nname = "rear tyre pressure"\nlow = 5\nhigh = 9\n'
        "prior_mean_s = [0.1]\nprior_sd_s = [0.002]\n"
    )
    add_typed(season, "car", known.encode(), "teal.toml", Given())
    plain, more = ask(season), ask(season, suppose=("rear tyre pressure +0.5",))
    assert mean(more, 60) - mean(plain, 60) == pytest.approx(0.1, abs=0.01)
    line = next(line for line in more["setup"] if line["item"] == "rear tyre pressure")
    assert (line["value"], line["supposed_from"]) == (7.5, 7.0)
    assert any("past what was tried" in note for note in more["notes"])
    assert any("tyre maker's limits" in text for text in more["cautions"])
    with pytest.raises(RunlogError, match="high limit of 9 psi"):
        ask(season, suppose=("rear tyre pressure=9.5",))


@pytest.mark.parametrize(
    ("more", "error", "said"),
    [
        ({"suppose": ("race weight -50",)}, RunlogError, "only its adjustables"),
        ({"suppose": ("launch rpm +100", "launch rpm +50")}, UsageError, "twice"),
        ({"suppose": ("launch rpm",)}, UsageError, "is not a change"),
        ({"date": season_date("2031-04-12")}, UsageError, "isn't foretold"),
    ],
)
def test_what_cannot_be_foretold_is_refused_and_not_kept(season, more, error, said):
    with pytest.raises(error, match=said):
        ask(season, **more)
    assert proposals.forecasts(season) == []


def test_a_car_without_runs_is_told_nothing(book, files):
    import_files(book, [files / "teal.toml", files / "baseline.csv"])
    page = ask(book, dial_s=9.0)
    assert {split["mean_s"] for split in page["splits"]} == {None}
    assert page["chance_under_dial"] is None
    assert {row["dial_s"] for row in page["suggested_dial"]} == {None}
    assert page["chance_not_clean"] == pytest.approx(2 / 28, abs=1e-4)  # Beta(2, 26), no run
    with pytest.raises(UsageError, match="say the relative humidity, station pressure too"):
        ask(book, air=SaidAir(temperature=300.0))


# --- what is kept, and the record -------------------------------------------------------------------------------------


def test_every_forecast_is_kept_as_it_was_said_and_survives_a_rebuild(season):
    made = [ask(season), ask(season, dial_s=9.1), ask(season, dial_s=9.1)]
    kept = proposals.forecasts(season, "teal")
    assert [item.content for item in kept] == made[:2], "the same twice running is kept once"
    text = originals.fetch(season, originals.entries(season)[-1].sha256)
    assert json.loads(text) == made[1]
    arrive(season)
    record = record_page(season, None)
    rebuild(season)
    assert proposals.forecasts(season, "teal") == kept
    assert record_page(season, None) == record
    assert proposals.forecasts(season, "heron") == []


def test_a_forecast_waits_for_its_run_and_is_then_held_against_it(season):
    page = ask(season)
    before = record_page(season, "teal")
    assert (before["forecasts"], before["waiting"], before["scored"]) == (1, 1, 0)
    arrive(season)
    after = record_page(season, "teal")
    assert (after["forecasts"], after["waiting"], after["scored"]) == (1, 0, 1)
    row = distance(after)
    assert row["mean_error_s"] == pytest.approx(9.04 - mean(page), abs=1e-4)
    pit = stats.norm.cdf(9.04, mean(page), page["splits"][-1]["sd_s"])  # oracle: scipy
    assert row["pit"][int(pit * 10)] == 1
    assert sum(row["pit"]) == 1
    assert after["days"] == [
        {"date": "2031-04-13", "car": "teal", "count": 1, "mean_error_s": row["mean_error_s"],
         "rms_error_s": row["rms_error_s"]}
    ]  # fmt: skip
    assert ask(season)["run"] == "teal/2031-04-13/3"


def foretold(book: Logbook, **more: Any) -> None:
    """Keep a forecast of the next run that says 9.0 ± 0.1 s at 1320 ft."""
    page = ask(book)
    splits = [
        {**split, "mean_s": 9.0 if split["distance_ft"] == 1320 else None, "sd_s": 0.1} for split in page["splits"]
    ]
    keep_proposal(book, proposals.FORECAST, page["run"], {**page, "splits": splits, **more})


def test_record_by_hand(season):
    """9.0 ± 0.1 s foretold, 8.9 s run: error −0.1, one sd quicker, Φ(−1) = 0.159, so the second tenth; outside 50 %."""
    foretold(season, chance_not_clean=0.0625)
    arrive(season, NEXT.replace("9.04", "8.90"))
    page = record_page(season, None)
    row = distance(page)
    assert row["pit"] == [0, 1, 0, 0, 0, 0, 0, 0, 0, 0]
    assert (row["count"], row["inside50"], row["inside90"], row["mean_error_s"]) == (1, 0, 1, -0.1)
    assert row["words"] == ["too few to judge: 10 are needed"]
    assert distance(page, 60)["count"] == 0
    assert distance(page, 60)["mean_error_s"] is None
    assert page["not_clean"] == {"runs": 1, "count": 0, "expected": 0.06}


def test_of_several_for_one_run_the_last_counts(season):
    foretold(season)
    ask(season)
    arrive(season)
    page = record_page(season, None)
    assert (page["forecasts"], page["scored"]) == (3, 1)
    assert [item["why"] for item in page["set_aside"]] == ["an earlier one of the same run: the last counts"] * 2
    assert distance(page, 60)["count"] == 1, "the hand-made one says nothing of 60 ft"


def test_a_forecast_of_another_run_is_set_aside(season):
    ask(season, suppose=("launch rpm +200",))
    ask(season, lane="right")
    ask(season, air=HOT)
    arrive(season)
    page = record_page(season, None)
    assert page["scored"] == 0
    assert [item["why"].split(":")[0] for item in page["set_aside"]] == [
        "made for another setup", "made for the other lane", "made for other air",
    ]  # fmt: skip
    assert {row["count"] for row in page["distances"]} == {0}


def test_what_was_made_after_the_run_is_never_scored(season):
    page = ask(season)
    season.rows("delete from book.main.forecast_fact")
    arrive(season)
    keep_proposal(season, proposals.FORECAST, page["run"], page)
    record = record_page(season, None)
    assert record["scored"] == 0
    assert record["set_aside"] == [{"run": "teal/2031-04-13/2", "why": "made after the run was stored"}]


def test_a_correction_of_the_slip_is_what_counts_but_changes_no_forecast(season):
    page = ask(season)
    arrive(season)
    arrive(season, NEXT.replace("9.04", "9.14"))
    assert proposals.forecasts(season)[0].content == page
    assert distance(record_page(season, None))["mean_error_s"] == pytest.approx(9.14 - mean(page), abs=1e-4)


def test_a_run_that_was_lost_counts_as_not_clean_and_as_far_as_it_was_true(season):
    ask(season)
    header = HEADER.strip().replace("spoiled", "spoiled,true_to_ft\n")
    line = NEXT.strip() + "driver: throttle lift,330\n"
    add_typed(season, "slips", (header + line).encode(), "typed", Given())
    page = record_page(season, None)
    assert [row["count"] for row in page["distances"]] == [1, 1, 0, 0, 0]
    assert page["not_clean"]["count"] == 1


def test_looking_back_scores_what_each_run_s_forerunners_led_to_expect(season):
    page = record_page(season, None, look_back=True)
    back = page["look_back"]
    # by hand: the first run has no forerunner, the second one that went 60 ft, the other two have some to the finish
    assert [row["count"] for row in back["distances"]] == [3, 2, 2, 2, 2]
    assert page["scored"] == 0
    assert record_page(season, None)["look_back"] is None
