"""Settings and sentences in metric units. Oracle: the units library pint; the mile and the pound of 1959 are exact."""

from __future__ import annotations

import pint
import pytest

from runlog.reports import amounts

UREG: pint.UnitRegistry = pint.UnitRegistry()
PINT = {
    "psi": ("psi", "kPa"), "inHg": ("inHg", "hPa"), "lb": ("lb", "kg"), "lbf": ("lbf", "N"), "in": ("inch", "mm"),
    "ft": ("ft", "m"), "mi": ("mile", "km"), "mph": ("mile/hour", "km/hour"), "ft/s": ("ft/s", "m/s"),
    "ft/s²": ("ft/s**2", "m/s**2"), "°F": ("degF", "degC"), "hp": ("hp", "kW"), "lb/in": ("lbf/inch", "N/mm"),
    "lbf·ft": ("lbf*ft", "N*m"), "ft²": ("ft**2", "m**2"),
}  # fmt: skip


@pytest.fixture
def metric(monkeypatch):
    monkeypatch.setenv("RUNLOG_UNITS", "metric")


@pytest.mark.parametrize("unit", amounts._METRIC)
@pytest.mark.parametrize("number", [0.0, 6.5, 72.0, 2650.0])
def test_every_unit_turns_as_the_units_library_turns_it(unit, number, metric):
    ours, theirs = PINT[unit]
    digits = amounts._METRIC[unit][1]
    expected = UREG.Quantity(number, ours).to(theirs).magnitude
    assert float(amounts.setting(number, unit)) == pytest.approx(expected, abs=0.51 * 10**-digits)
    shown = amounts.symbol(unit).replace("·", "*").replace("²", "**2").replace("km/h", "km/hour").replace("°C", "degC")
    assert UREG.Unit(shown) == UREG.Unit(theirs)


def test_us_pages_show_settings_as_they_are():
    assert amounts.change(7.0, 6.5, "psi") == "7 → 6.5 psi"
    assert amounts.amount(25.0, "lb", sign=True) == "+25 lb"
    assert amounts.prose("the pull ends at 578 ft, 30 psi") == "the pull ends at 578 ft, 30 psi"
    assert amounts.place(700) == "700 ft"


def test_metric_pages_turn_settings(metric):
    assert amounts.change("7", 6.5, "psi") == "48.3 → 44.8 kPa"
    assert amounts.path([50, 75, 50], "lb") == "22.7 → 34 → 22.7 kg"
    assert amounts.amount(-0.5, "in", sign=True) == "-12.7 mm"


@pytest.mark.parametrize("unit", ["rpm", "click", "deg", "s", "%"])
def test_what_has_no_metric_other_stays(unit, metric):
    assert amounts.change(4200.0, 4400.0, unit) == f"4200 → 4400 {unit}"


def test_holes_keep_their_labels_and_unknown_values_a_dash(metric):
    assert amounts.change("2", "3A", "hole") == "2 → 3A"
    assert amounts.amount(None, "psi") == "– kPa"
    assert amounts.setting("as found", "psi") == "as found"


@pytest.mark.parametrize(
    ("text", "turned"),
    [
        (
            "the pull ends at 1.84 s, 79 ft (seen by the throttle)",
            "the pull ends at 1.84 s, 24 m (seen by the throttle)",
        ),
        ("beam at 60 ft, 0–60 ft and 1320 ft", "beam at 60 ft, 0–60 ft and 1320 ft"),
        ("oil pressure 23.7 < 30 psi: stop", "oil pressure 163.4 < 206.8 kPa: stop"),
        (
            "past what was tried (7 psi to 7.5 psi has been run)",
            "past what was tried (48.3 kPa to 51.7 kPa has been run)",
        ),
        ("2,650 lb by the scales", "1202 kg by the scales"),
        ("run 5 in heron, gear 2 in use", "run 5 in heron, gear 2 in use"),
        ("wheelie bar at 4 in.", "wheelie bar at 101.6 mm."),
        ("coolant above 220 °F", "coolant above 104.4 °C"),
        ("+10 °F against then", "+5.6 °C against then"),
        ("10 psi per 1,000 rpm", "68.9 kPa per 1,000 rpm"),
        ("spring 250 lb/in", "spring 43.8 N/mm"),
        ("1461 lb·ft of torque", "1461 lb·ft of torque"),
    ],
)
def test_sentences_of_the_program(text, turned, metric):
    assert amounts.prose(text) == turned


def test_words_of_people_stay_as_they_are(metric, capsys):
    from runlog.reports.console import bullets, console

    bullets(console(), ["left rear had lost 2 psi"], "☐", as_said=True)
    bullets(console(), ["left rear had lost 2 psi"], "?")
    assert capsys.readouterr().out.splitlines()[0].strip() == "☐ left rear had lost 2 psi"


def test_a_place_that_is_no_beam_is_a_distance(metric):
    assert (amounts.place(60), amounts.place(700), amounts.place(221.3)) == ("60 ft", "213 m", "67 m")


@pytest.mark.parametrize(("mph", "expected"), [(100.0, "160.9"), (None, "–"), (0.0, "0.0")])
def test_speeds(mph, expected, metric):
    assert amounts.speed_number(mph) == expected
