"""The content of a review against the files of the demo day, and against what other commands say."""

from __future__ import annotations

import csv
import itertools
import statistics
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from jsonschema import Draft202012Validator
from published import closed, schema

from runlog.workflows.review.changes import is_settled, settles
from runlog.workflows.review.privacy import without_names
from runlog.workflows.review.summary import in_words

if TYPE_CHECKING:
    from conftest import Program, Season

DAY = "heron/2031-04-12"
SCHEMA = schema("review")


@pytest.fixture(scope="module")
def page(season: Season) -> dict[str, Any]:
    content: dict[str, Any] = season.json("review", DAY)
    return content


@pytest.fixture(scope="module")
def slips(demo_folder: Path) -> list[dict[str, str]]:
    """The day's slips as the timing system printed them."""
    with (demo_folder / "pits" / "2031-04-12" / "slips.csv").open(encoding="utf-8") as lines:
        return list(csv.DictReader(lines))


@pytest.mark.parametrize(
    "words",
    [(DAY,), (DAY, "--short"), ("2031-06-07", "--car", "heron"), ("curlew/2031-05-24",), ("wigeon/2031-07-06",)],
)
def test_machine_output_is_what_the_schema_says(season: Season, words: tuple[str, ...]) -> None:
    """Oracle: JSON Schema 2020-12 as implemented by the jsonschema library."""
    Draft202012Validator.check_schema(SCHEMA)
    errors = Draft202012Validator(closed(SCHEMA)).iter_errors(season.json("review", *words))
    assert [f"{error.json_path}: {error.message[:200]}" for error in errors] == []


def test_runs_are_those_of_the_slips(page: dict[str, Any], slips: list[dict[str, str]]) -> None:
    assert [run["number"] for run in page["runs"]] == [int(slip["run"]) for slip in slips]
    for run, slip in zip(page["runs"], slips, strict=True):
        for column in ("t60_s", "t330_s", "t660_s", "t1000_s", "t1320_s"):
            assert run[column] == (float(slip[column]) if slip[column] else None)
        assert run["clean"] == (not slip["spoiled"])


def test_best_pass_is_the_quickest_clean_one_in_standard_air(page: dict[str, Any], season: Season) -> None:
    """Identity: the same figure as the list of runs has."""
    rows = season.json("runs", "--car", "heron", "--day", "2031-04-12")
    whole = [row for row in rows if row["clean"] and row["valid_to_ft"] == 1320]
    best = min(whole, key=lambda row: row["corrected_t1320_s"])
    assert page["best"]["number"] == best["number"]
    assert page["best"]["measured_s"] == best["t1320_s"]
    assert page["best"]["corrected_s"] == best["corrected_t1320_s"]


def test_spread_is_that_of_runs_of_one_setup(page: dict[str, Any]) -> None:
    """Oracle: the standard library's variance of the three full clean runs at the baseline (5, 6 and 10)."""
    times = [run["corrected_t1320_s"] for run in page["runs"] if run["number"] in (5, 6, 10)]
    assert page["spread"]["degrees"] == 2
    assert page["spread"]["sd_s"] == pytest.approx(statistics.stdev(times), abs=1e-4)
    assert page["spread"]["lo90_s"] < page["spread"]["sd_s"] < page["spread"]["hi90_s"]


def test_changes_are_those_of_the_sheets(page: dict[str, Any]) -> None:
    moves = {change["item"]: [move["run"] for move in change["moves"]] for change in page["changes"]}
    assert moves == {"rear tyre pressure": [7, 9], "launch rpm": [8, 9]}
    for change in page["changes"]:
        assert change["settles"]
        assert change["cautions"], "both can hurt someone"


def test_difference_along_the_track_ends_at_the_difference_of_the_slips(
    page: dict[str, Any], slips: list[dict[str, str]]
) -> None:
    """Oracle: the timing slips, to 10 ms; the traces are tied to them only through the motion's smoothness."""
    traces = page["traces"]
    times = {int(slip["run"]): slip for slip in slips}
    reference = times[int(traces["reference"].rpartition("/")[2])]
    at_finish = traces["station_ft"].index(1320)
    compared = 0
    for run in traces["runs"][1:]:
        if run["difference_s"][at_finish] is not None:
            told = float(times[run["number"]]["t1320_s"]) - float(reference["t1320_s"])
            assert run["difference_s"][at_finish] == pytest.approx(told, abs=0.010)
            compared += 1
    assert compared == 2


def test_speed_along_the_track_is_that_of_the_trap(page: dict[str, Any], slips: list[dict[str, str]]) -> None:
    """Oracle: the trap's mean speed over its 66 ft, to 1 %."""
    traces = page["traces"]
    stations = [n for n, feet in enumerate(traces["station_ft"]) if 1250 <= feet <= 1320]
    for run in traces["runs"]:
        slip = next(slip for slip in slips if int(slip["run"]) == run["number"])
        speeds = [run["speed_mph"][n] for n in stations]
        if None not in speeds:
            assert statistics.fmean(speeds) == pytest.approx(float(slip["v1320_mph"]), rel=0.01)


def test_speed_rises_and_nothing_is_told_beyond_the_pull(page: dict[str, Any]) -> None:
    for run in page["traces"]["runs"]:
        known = [value for value in run["speed_mph"] if value is not None]
        # a car that is on the throttle gains speed: never a loss of more than noise from one station to the next
        assert all(later > earlier - 0.5 for earlier, later in itertools.pairwise(known))
        for n, feet in enumerate(page["traces"]["station_ft"]):
            assert (run["speed_mph"][n] is None) == (feet > run["end_ft"] + 0.01), (run["key"], feet)


def test_engine_speed_is_that_of_the_logger_file(page: dict[str, Any], demo_folder: Path) -> None:
    """Oracle: the logger's own file of run 10: the highest engine speed before the finish, to 3 %."""
    text = (demo_folder / "pits" / "2031-04-12" / "heron_2031-04-12_10.csv").read_text(
        encoding="utf-8", errors="replace"
    )
    rows = list(csv.reader(text.splitlines()))
    head = next(n for n, row in enumerate(rows) if any("rpm" in cell.lower() for cell in row))
    column = rows[head].index("RPM (rpm)")
    values = [float(row[column]) for row in rows[head + 1 :] if row[column].replace(".", "").isdigit()]
    run = next(run for run in page["traces"]["runs"] if run["number"] == 10)
    assert max(v for v in run["engine_speed_rpm"] if v is not None) == pytest.approx(max(values), rel=0.03)


def test_chosen_runs_are_drawn_in_the_order_asked_for(season: Season) -> None:
    made = season.json("review", DAY, "--run", "5", "--run", "10")["traces"]
    assert [run["number"] for run in made["runs"]] == [5, 10]
    assert set(made["runs"][0]["difference_s"]) <= {0.0, None}


def test_car_as_left_is_the_sheet_after_the_last_change(season: Season) -> None:
    left = season.json("review", "heron/2031-06-07")["as_left"]
    differing = {line["item"]: (line["value"], line["baseline"]) for line in left["sheet"] if line["differs"]}
    # by hand from the sheets of the season: what was changed and not brought back
    assert differing == {"rear tyre pressure": ("6", "7"), "upper link front hole": ("2", "1")} | (
        {"launch rpm": differing["launch rpm"]} if "launch rpm" in differing else {}
    )
    back = {step["item"]: (step["from"], step["to"]) for step in left["back_to_baseline"]}
    assert back == differing
    assert all(step["cautions"] and step["minutes"] for step in left["back_to_baseline"])


def test_short_version_leaves_out_what_only_the_shop_needs(season: Season) -> None:
    made = season.json("review", DAY, "--short")
    assert made["audience"] == "customer"
    assert made["traces"] is None
    assert made["air"] is None


def test_summary_claims_nothing_that_a_verdict_does_not(season: Season) -> None:
    for day in ("heron/2031-04-12", "heron/2031-05-17", "heron/2031-06-07", "wigeon/2031-07-06", "curlew/2031-05-24"):
        page = season.json("review", day)
        known = " ".join(page["summary"]["known"])
        for change in page["changes"]:
            effect = change["elapsed"]
            if effect and (effect["note"] or effect["verdict"] not in ("helped", "hurt", "no_difference")):
                assert f"{change['item'].capitalize()} " not in known


@pytest.mark.parametrize(
    ("verdict", "share", "settled"),
    [("no_difference", 0.5, True), ("no_difference", 0.09, False), ("helped", 0.09, True), ("cannot_tell", 0.9, False)],
)
def test_no_difference_that_was_only_assumed_is_not_among_what_is_known(
    verdict: str, share: float, settled: bool
) -> None:
    effect = {"verdict": verdict, "share_learned": share, "note": "", "inseparable_from": [], "runs_needed": None}
    assert is_settled(effect) is settled
    assert settles(effect).startswith("nothing more") is settled


@pytest.mark.parametrize(
    ("mean", "low", "high", "said"),
    [
        (-0.012, -0.020, -0.004, "quicker by 0.012 s (between 0.004 and 0.020 s, 90 %)"),
        (0.012, 0.004, 0.020, "slower by 0.012 s (between 0.004 and 0.020 s, 90 %)"),
        (0.001, -0.004, 0.006, "anything from 0.004 s quicker to 0.006 s slower (90 %)"),
    ],
)
def test_effect_in_words_has_its_direction_right(mean: float, low: float, high: float, said: str) -> None:
    assert in_words({"mean_s": mean, "lo90_s": low, "hi90_s": high}) == said


def test_other_cars_are_not_named_in_what_was_typed() -> None:
    typed = {"note": "shook like Curlew; see curlew/2031-05-24/3, not curlews", "key": 7, "deep": [["dunlin-b", None]]}
    assert without_names(typed, {"curlew", "dunlin"}) == {
        "note": "shook like another car; see another car/2031-05-24/3, not curlews",
        "key": 7,
        "deep": [["dunlin-b", None]],
    }


@pytest.mark.slow
def test_no_other_car_is_named_in_any_review(season_copy: Program, season: Season) -> None:
    header = "car,date,time,track,run,lane,purpose,t60_s,spoiled,note\n"
    season_copy.write(
        "more.csv", f"{header}heron,2031-04-12,18:30,lowfield,11,left,60,1.420,,as plover and WIGEON did\n"
    )
    assert season_copy("import", "more.csv").code == 0
    done = season_copy("review", DAY, "--json")
    assert "as another car and another car did" in done.out
    assert not any(name in done.out.lower() for name in ("curlew", "dunlin", "plover", "wigeon"))


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("2031-04-13",), 1, "no run on 2031-04-13"),
        (("heron/2031-04-12", "--car", "curlew"), 2, "two cars: heron in heron/2031-04-12, curlew in --car"),
        (("someday",), 2, "'someday' is not a day"),
        ((DAY, "--run", "44"), 1, "no run 44 on 2031-04-12; there are: 1, 2, 3, 4, 5, 6, 7, 8, 9, 10"),
        (("2031-04-12", "--car", "curlew"), 1, "no run of curlew on 2031-04-12 in the logbook"),
    ],
)
def test_what_cannot_be_reviewed(season: Season, words: tuple[str, ...], code: int, said: str) -> None:
    done = season.run("review", *words)
    assert done.code == code
    assert said in done.err


def test_a_day_of_several_cars_asks_which(season_copy: Program) -> None:
    header = "car,date,time,track,run,lane,purpose,t60_s\n"
    season_copy.write("more.csv", f"{header}curlew,2031-04-12,18:30,lowfield,1,left,60,1.420\n")
    assert season_copy("import", "more.csv").code == 0
    done = season_copy("review", "2031-04-12")
    assert done.code == 2
    assert "several cars ran on 2031-04-12: give one of curlew, heron with --car" in done.err


def test_open_stop_item_ends_every_proposal(season_copy: Program) -> None:
    before = season_copy("review", "heron/2031-06-07", "--json").json()
    assert before["next"], "something is proposed while nothing is open"
    words = ("--car", "heron", "--run", "heron/2031-06-07/7", "--no-setting", "--by", "A. Crew")
    assert season_copy("item", "add", "oil on the header, 3 psi lost, as in curlew", "--stop", *words).code == 0
    page = season_copy("review", "heron/2031-06-07", "--json").json()
    assert [(item["due"], item["text"]) for item in page["open_items"]] == [
        ("stop", "oil on the header, 3 psi lost, as in another car")
    ]
    assert page["next"] == []
    told = " ".join(page["summary"]["next"])
    assert "There is no next run: open stop item: oil on the header" in told
    assert "To learn most" not in told
    # what the crew wrote stays as it is, in whichever units the page speaks
    done = season_copy("review", "heron/2031-06-07", RUNLOG_UNITS="metric")
    assert " ".join(done.out.split()).count("3 psi lost") == 3
    # what is found later wasn't known on an earlier day
    earlier = season_copy("review", DAY, "--json").json()["open_items"]
    assert [item["due"] for item in earlier] == ["at the shop"], "the season's own"


def test_barred_setting_is_told_and_not_proposed(page: dict[str, Any]) -> None:
    """Run 8 shook the tyres at a launch rpm of 4400: by the slips file of that day."""
    barred = {(bar["item"], bar["value"]) for bar in page["clearance"]["barred"]}
    assert barred == {("launch rpm", 4400.0)}
    assert not [step for step in page["next"] if step["adjustable"] == "launch rpm" and 4400.0 in step["path"]]


def test_a_day_of_which_little_is_known_says_so(runlog: Program) -> None:
    """No car file, no sheet, no air, no trace: everything that is missing is named and nothing is claimed."""
    assert runlog("new", "a.duckdb").code == 0
    runlog.write("s.csv", "car,date,time,track,run,lane,purpose,t60_s\nlone,2031-04-12,,,1,,60,1.420\n")
    assert runlog("import", "s.csv").code == 0
    page = runlog("review", "2031-04-12", "--json").json()
    assert [error.message for error in Draft202012Validator(closed(SCHEMA)).iter_errors(page)] == []
    assert page["summary"]["known"] == ["lone made 1 run, clean.", "The best clean pass was run 1: 60 ft in 1.420 s."]
    unknown = " ".join(page["summary"]["unknown"])
    for missing in ("No air within reach of run 1", "No run was logged", "2 questions about the day's data"):
        assert missing in unknown
    assert page["changes"] == page["next"] == page["as_left"]["sheet"] == []
    assert page["traces"] is page["air"] is page["clearance"] is page["spread"] is None
    done = runlog("review", "2031-04-12", "--html", "r.html")
    assert done.code == 0, done.err
    assert "no run was logged: nothing can be said of the car's limits" in done.out
    assert "No limit passed" not in (runlog.folder / "r.html").read_text(encoding="utf-8").partition("Cautions</h2>")[0]
