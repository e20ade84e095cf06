"""What entries and answers say, in the units of the page. Oracles: the units library pint, and exact definitions."""

from __future__ import annotations

import pint
import pytest

from runlog.reports import answers, merging, told

UREG: pint.UnitRegistry = pint.UnitRegistry()


@pytest.fixture(params=["us", "metric"])
def units(request, monkeypatch):
    monkeypatch.setenv("RUNLOG_UNITS", request.param)
    return request.param


@pytest.mark.parametrize(
    ("what", "si", "in_us", "in_metric", "near"),
    [
        # field, SI value with its unit, and the unit in which each page shows it; 'near' is the last decimal
        ("race_mass", "1202.0 kg", "lb", "kg", (1, 0.1)),
        ("wheelbase", "2.667 m", "inch", "mm", (0.01, 1)),
        ("driveshaft length", "1.2192 m", "inch", "mm", (0.01, 1)),
        ("elevation", "640.0 m", "ft", "m", (1, 1)),
        ("power", "611476.0 W", "hp", "kW", (1, 0.1)),
        ("drag_area", "0.62 m**2", "ft**2", "m**2", (0.01, 0.001)),
        ("wheelie_bars stiffness", "43782.0 N/m", "lbf/inch", "N/mm", (1, 0.1)),
        ("tyre speed_limit", "80.4672 m/s", "mile/hour", "km/hour", (0.01, 0.01)),
        ("wind_speed", "4.4704 m/s", "mile/hour", "km/hour", (0.1, 0.1)),
        ("powertrain converter_stall", "544.543 rad/s", "rpm", "rpm", (1, 1)),
    ],
)
def test_a_figure_is_shown_in_the_units_of_the_page(what, si, in_us, in_metric, near, units):
    wanted = in_us if units == "us" else in_metric
    expected = UREG.Quantity(si).to(wanted).magnitude
    number, unit = told.value(what, UREG.Quantity(si).magnitude).replace(",", "").rsplit(" ", 1)
    assert float(number) == pytest.approx(expected, abs=0.51 * near[units == "metric"])
    spelled = unit.replace("lb/in", "lbf/inch").replace("mph", "mile/hour").replace("km/h", "km/hour")
    assert UREG.Unit(spelled.replace("²", "**2")) == UREG.Unit(wanted)


def test_a_temperature_is_shown_in_the_units_of_the_page(units):
    """Water freezes at 273.15 K, 32 °F, 0 °C: by definition, and ice point of the Fahrenheit scale."""
    assert told.value("temperature", 273.15) == {"us": "32 °F", "metric": "0.0 °C"}[units]


def test_a_setting_is_turned_and_the_words_of_people_are_not(units):
    """1 psi is 6.894757 kPa (NIST SP 811, appendix B)."""
    pressure = {"what": "rear tyre pressure", "from": "7 psi", "to": "6.5 psi"}
    shown = told.difference(pressure, "sheet teal/2031-04-12/7 rear tyre pressure")
    assert shown == {"us": "7 → 6.5 psi", "metric": "48.3 → 44.8 kPa"}[units]
    hole = {"what": "upper link front hole", "from": None, "to": "2 hole"}
    assert told.difference(hole, "full sheet teal") == "upper link front hole 2"
    note = {"what": "note", "from": None, "to": "lost 2 psi"}
    assert told.difference(note, "slip teal/2031-04-12/7") == "note lost 2 psi"


def test_parts_of_a_list_are_named_not_spelled_out():
    before = [{"name": "launch rpm", "low": 3800}, {"name": "shift rpm", "low": 7000}]
    after = [{"name": "launch rpm", "low": 4000}, {"name": "ballast rear", "low": 0}]
    item = {"what": "adjustables", "from": before, "to": after}
    assert told.difference(item, "car teal") == "adjustables changed: launch rpm; new: ballast rear; gone: shift rpm"
    assert told.difference({"what": "gear_ratios", "from": [1.8, 1.0], "to": [2.0, 1.0]}) == "gear ratios 1.8, 1 → 2, 1"


def test_what_differs_between_laptops_is_shown_in_the_units_of_the_page(units, capsys):
    sayings = [
        {"entry": n, "name": "sheet.csv", "told_by": None, "stored_at": None, "differs": differs}
        for n, differs in enumerate(([], [{"what": "ballast rear", "from": "50 lb", "to": "75 lb"}]), 1)
    ]
    thing = "sheet teal/2031-04-12/7 ballast rear"
    merging.print_conflicts([{"thing": thing, "shown": 2, "sayings": sayings}])
    assert {"us": "50 → 75 lb", "metric": "22.7 → 34 kg"}[units] in capsys.readouterr().out


def test_a_question_and_its_answers_are_shown_in_the_units_of_the_page(units, capsys):
    question = {
        "id": "unit-rear-tyre-pressure-1", "whole_day": False, "evidence": [],
        "text": "rear tyre pressure went from 7 to 44.8 (psi), 6.4 times as much: kPa taken for psi?",
        "answers": [{"key": "y", "text": "yes: it was 6.5 psi"}],
    }  # fmt: skip
    answers.print_question(1, "teal/2031-04-12/7", question)
    said = " ".join(capsys.readouterr().out.split())
    assert "from 7 to 44.8 (psi), 6.4 times" in said  # what was written stays as it was written
    assert {"us": "yes: it was 6.5 psi", "metric": "yes: it was 44.8 kPa"}[units] in said
