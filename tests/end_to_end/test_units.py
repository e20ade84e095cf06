"""Every page in metric units: no foot, mile, pound, inch, psi or °F is left but in the names of distances."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from runlog.cli.app import COMMANDS

if TYPE_CHECKING:
    from conftest import Season

CARS = ("curlew", "dunlin", "heron", "plover", "wigeon")
_SUPPOSED = {
    "curlew": "rear tyre pressure=8", "dunlin": "ballast rear=50", "heron": "shift rpm +100",
    "plover": "ballast rear=25", "wigeon": "front tyre pressure=30",
}  # fmt: skip
PAGES: dict[str, list[tuple[str, ...]]] = {
    "show": [("heron/2031-04-12/1",), ("heron/2031-04-12/9", "--full"), ("heron/2031-04-12/10",),
             ("heron/2031-04-12/10", "--explain"),
             ("heron/2031-06-07/6", "--full"), ("plover/2031-06-14/6",), ("curlew/2031-06-21/4", "--full"),
             ("dunlin/2031-05-11/2",)],
    "runs": [()],
    "compare": [("heron/2031-04-12/5", "heron/2031-04-12/7"), ("dunlin/2031-05-11/1", "dunlin/2031-05-11/2")],
    "effects": [("--car", car) for car in CARS] + [("--car", car, "--priors") for car in CARS],
    "season": [(car,) for car in CARS],
    "fleet": [()],
    "chassis": [("heron",), ("heron", "--holes"), ("dunlin",)],
    "suppose": [("--car", car, change) for car, change in _SUPPOSED.items()],
    "forecast": [("--car", "heron", "--dial", "9"), ("--record",)],
    "plan": [("--car", "heron"), ("--car", "dunlin")],
    "release": [("heron",)],
    "back-to-baseline": [("heron",)],
    "item": [("list",)],
    "review": [("2031-04-12", "--car", "heron")],
    "plot": [("increments",), ("air", "2031-04-12"), ("effects", "heron"), ("chassis", "heron"),
             ("traces", "heron/2031-04-12/7")],
    "history": [("heron/2031-04-12/7",), ("2031-04-12",), ("heron",), ("lowfield",)],
    "air": [("--temperature", "90F", "--humidity", "60", "--pressure", "29.40inHg"),
            ("--day", "2031-04-12", "--car", "heron")],
}  # fmt: skip
WITHOUT = {
    "new", "import", "watch", "add", "map", "kit", "config", "rebuild", "demo", "undo", "export", "merge", "bundle",
    "verify", "backup", "parts", "settle",
}  # fmt: skip
"""commands whose pages show no quantity of their own"""
ELSEWHERE = {"conflicts", "answer"}
"""commands that have nothing to show of the demo season: tests/reports/test_told.py holds their pages to the same"""
AS_HELD = {"sql"}
"""commands that show what the logbook holds, in SI units"""

US = re.compile(
    r"(?<![\w/])(?P<figures>\d[\d.,]*)?\s?(?P<unit>ft|mph|psi|lbf?|lb·ft|°F|inHg|in|hp|gr/lb|lb/in)(?![\w/])"
)
NAME = re.compile(r"(?:^|[–\s(])(?:60|330|660|1000|1320)\s?ft\b")


def left_over(page: str) -> list[str]:
    """Return the lines with a quantity in US units; ``in`` is one only right after a number."""
    found = []
    for line in re.sub(r"\s*\n(?=ft\b)", " ", page).splitlines():
        rest = NAME.sub(" ", line)
        hits = [hit for hit in US.finditer(rest) if hit["unit"] != "in" or (hit["figures"] and hit.end() == len(rest))]
        if hits:
            found.append(line)
    return found


_QUICK = ("show", "runs", "compare", "season")


@pytest.mark.parametrize(
    ("command", "words"),
    [
        pytest.param(name, words, marks=() if name in _QUICK else pytest.mark.slow)
        for name, all_ in PAGES.items()
        for words in all_
    ],
)
def test_no_us_unit_is_left_on_a_metric_page(season: Season, command: str, words: tuple[str, ...]) -> None:
    done = season.run(command, *words, "--units", "metric")
    assert (done.code, done.err) == (0, "") or command == "forecast", done.err
    assert len(done.out) > 100
    assert left_over(done.out) == []


@pytest.mark.parametrize("command", ["show", "runs", "compare", "season", "air", "history"])
def test_the_same_page_in_us_units_has_them(season: Season, command: str) -> None:
    """Else the test above could not fail."""
    assert any(left_over(season.run(command, *words, "--units", "us").out) for words in PAGES[command])


def test_every_command_is_one_or_the_other() -> None:
    assert set(COMMANDS) == set(PAGES) | WITHOUT | ELSEWHERE | AS_HELD


def test_metric_speeds_are_the_same_speeds(season: Season) -> None:
    """A mile is 1609.344 m, exactly (1959)."""
    key = "heron/2031-04-12/5"
    mph = next(row["measured_mph"] for row in season.json("show", key)["speeds"] if row["distance_ft"] == 1320)
    page = season.run("show", key, "--units", "metric").out
    assert f"at 1320 ft {mph * 1.609344:.2f} km/h" in page
    assert f"at 1320 ft {mph:.2f} mph" in season.run("show", key, "--units", "us").out


def test_machines_are_told_the_same_in_any_units(season: Season) -> None:
    for words in (("show", "heron/2031-04-12/5"), ("effects", "--car", "dunlin"), ("season", "heron")):
        assert season.run(*words, "--json", "--units", "metric").out == season.run(*words, "--json").out
