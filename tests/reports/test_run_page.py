"""The run page: one screen whatever a run has to say, the largest answers first, and nothing lost that can hurt."""

from __future__ import annotations

import copy
from typing import TYPE_CHECKING, Any

import pytest

from runlog.reports.run_page import print_run_page
from runlog.reports.words import alarm_words

if TYPE_CHECKING:
    from conftest import Season

SCREEN = 50


@pytest.fixture
def page(season: Season) -> dict[str, Any]:
    return copy.deepcopy(season.json("show", "heron/2031-04-12/9"))


def lines_of(page: dict[str, Any], capsys: pytest.CaptureFixture[str], **options: bool) -> list[str]:
    print_run_page(page, **options)
    return capsys.readouterr().out.splitlines()


def fits(season: Season, key: str, capsys: pytest.CaptureFixture[str]) -> None:
    lines = lines_of(season.json("show", key), capsys)
    assert len(lines) < SCREEN, key
    assert max(map(len, lines)) <= 80, key


@pytest.mark.parametrize("key", ["heron/2031-04-12/9", "curlew/2031-05-03/4", "curlew/2031-06-21/4", "heron/latest"])
def test_the_longest_pages_of_the_demo_season_fit_one_screen(season: Season, key: str, capsys):
    fits(season, key, capsys)


@pytest.mark.slow
def test_every_run_of_the_demo_season_fits_one_screen(season: Season, capsys):
    for run in season.json("runs"):
        fits(season, run["key"], capsys)


def crowded(page: dict[str, Any]) -> dict[str, Any]:
    """Return the page of a run with more of everything than a screen holds."""
    page["trace"]["warnings"] = [f"warning {n} about a sensor that reads what it should not read" for n in range(6)]
    page["questions"] = [
        f"question {n}: is the slip of the other lane, or the clock of the logger off?" for n in range(5)
    ]
    [item, *_] = page["open_items"] or [dict.fromkeys(("id", "due", "date", "run", "by", "settings", "closed"))]
    said = "oil at the left valve cover"
    page["open_items"] = [{**item, "due": "before the next run", "text": f"item {n}: {said}"} for n in range(6)]
    page["caveats"] = [f"caveat {n}" for n in range(3)]
    alarm = {"channel": "oil_pressure", "kind": "low", "time_s": 0.5, "value": 23.7, "limit": 30, "unit": "psi"}
    alarm |= {"condition": "under load", "action": "stop"}
    page["trace"]["alarms"] = [{**alarm, "time_s": n / 2} for n in range(6)]
    page["verdicts"] = page["verdicts"] * 3
    return page


def test_a_crowded_page_says_what_it_leaves_out_and_where_that_is(page, capsys):
    lines = lines_of(crowded(page), capsys)
    assert len(lines) < SCREEN
    told = " ".join(" ".join(lines).split("Not shown: ")[1].split())
    assert "changes made so far (runlog effects --car heron)" in told
    assert "6 notes on the trace (--full)" not in told  # 6 warnings, the calibration and the instants
    assert "8 notes on the trace (--full)" in told
    assert "questions (--full)" in told


def test_what_can_hurt_stays_on_a_crowded_page(page, capsys):
    text = " ".join(" ".join(lines_of(crowded(page), capsys)).split())
    for caution in page["cautions"]:
        assert caution in text
    assert text.count("! limit passed") >= 4
    assert "item 0: oil" in text
    assert "✗ spoiled: driver: throttle lift" in text


def test_full_shows_all_of_a_crowded_page(page, capsys):
    text = "\n".join(lines_of(crowded(page), capsys, full=True))
    assert "Not shown" not in text
    assert text.count("limit passed") == 6
    assert all(f"warning {n}" in text and f"question {min(n, 4)}" in text for n in range(6))


def test_the_largest_answer_is_the_farthest_time_that_counts(season: Season, capsys):
    """Of run 9 the driver lifted after 330 ft: the later figures of its slip are no times of the car."""
    from runlog.reports.digits import tall

    page = season.json("show", "heron/2031-04-12/9")
    lines = lines_of(page, capsys)
    top = next(n for n, line in enumerate(lines) if "   s to 330 ft" in line)
    measured = next(row["measured_s"] for row in page["splits"] if row["distance_ft"] == 330)
    assert tuple(line[: len(tall("3.838")[0])] for line in lines[top : top + 3]) == tall(f"{measured:.3f}")
    assert "as expected" in lines[top + 2]


def test_parts_come_in_the_order_in_which_the_crew_asks(season: Season, capsys):
    text = "\n".join(lines_of(season.json("show", "heron/2031-04-12/10"), capsys))
    asked = [
        "s to 1320 ft",
        "as expected",
        "Changed:",
        "Trace:",
        "limit passed",
        "Changes so far",
        "Before the next run",
    ]
    places = [text.index(words) for words in asked]
    assert places == sorted(places)


def test_a_run_without_a_slip_has_no_tall_figures(page, capsys):
    for row in page["splits"]:
        row |= {"measured_s": None, "corrected_s": None, "counts": False}
    page["run"] |= {"valid_to_ft": None, "spoiled_reason": None}
    lines = lines_of(page, capsys)
    assert "no slip yet" in "\n".join(lines)
    assert not any("▀▀" in line for line in lines)


@pytest.mark.parametrize(
    ("channel", "condition", "value", "told"),
    [
        ("acceleration_x", "tyre shake suspected", None, "tyre shake suspected, at 0.1 s: look"),
        ("fuel_pressure", "at full throttle", 4.0, "fuel pressure at full throttle 4 < 5 psi, at 0.1 s: look"),
        ("oil_pressure", "", 4.0, "oil pressure 4 < 5 psi, at 0.1 s: look"),
    ],
)
def test_alarm_names_its_channel_unless_it_names_itself(
    channel: str, condition: str, value: float | None, told: str
) -> None:
    alarm = {"channel": channel, "kind": "low", "time_s": 0.1, "value": value, "limit": 5.0, "unit": "psi"}
    assert alarm_words({**alarm, "condition": condition, "action": "look"}) == told
