"""Text from files on the terminal, units on the page, and how verdicts are said."""

from __future__ import annotations

import io
import unicodedata

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from runlog.reports import console, shown, words

UNITS = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@given(st.text())
def test_nothing_from_a_file_steers_the_terminal(text: str) -> None:
    """Controls, format characters (which turn text round), line and paragraph separators are spelt out."""
    shown_text = console.clean(text)
    assert not any(unicodedata.category(char) in ("Cc", "Cf", "Cs", "Co", "Zl", "Zp") for char in shown_text)


@given(st.text(alphabet=st.characters(categories=["L", "N", "P", "S"])))
def test_ordinary_text_stays_as_it_is(text: str) -> None:
    assert console.clean(text) == text


@pytest.mark.parametrize("text", ["[/nope]", "[bold]x[/bold]", "[link=http://a]b[/link]", ":smile:", "\\[x]"])
def test_markup_is_only_text(text: str) -> None:
    out = Console(width=80, force_terminal=False, record=True, file=io.StringIO())
    table = console.table("a", "b")
    console.add_row(table, [text, text])
    out.print(table)
    out.print(console.line(text, (text, "bold")))
    out.print(console.heading(text))
    console.bullets(out, [text])
    assert out.export_text().count(text) == 6


@pytest.mark.parametrize("metric", [False, True])
def test_units_are_pint_s(monkeypatch: pytest.MonkeyPatch, metric: bool) -> None:
    monkeypatch.setenv("RUNLOG_UNITS", "metric" if metric else "us")
    cases = [
        (shown.temperature, 32.2, "degC", "degC" if metric else "degF", 0.06 if metric else 0.6),
        (shown.pressure, 995.6, "hPa", "hPa" if metric else "inHg", 0.06 if metric else 0.006),
        (shown.altitude, 2921.9, "foot", "meter" if metric else "foot", 0.6),
        (shown.speed, 156.18, "mile/hour", "kilometer/hour" if metric else "mile/hour", 0.006),
    ]
    for function, value, given_in, shown_in, within in cases:
        figure = float(function(value).split()[0].replace(",", ""))
        assert figure == pytest.approx(UNITS.Quantity(value, given_in).to(shown_in).magnitude, abs=within)


def test_wind_says_whether_it_pushes(monkeypatch: pytest.MonkeyPatch) -> None:
    """10 mph = 4.4704 m/s exactly."""
    monkeypatch.delenv("RUNLOG_UNITS", raising=False)
    assert shown.wind(4.4704) == "10 mph tailwind"
    assert shown.wind(-4.4704) == "10 mph headwind"
    assert shown.wind(None) == "wind not known"


@pytest.mark.parametrize(
    ("value", "said"), [(0.0, "<1 %"), (0.004, "<1 %"), (0.5, "50 %"), (0.994, ">99 %"), (1.0, ">99 %")]
)
def test_a_probability_is_never_certainty(value: float, said: str) -> None:
    assert words.probability(value) == said


def test_every_verdict_has_words_and_a_mark_of_its_own_without_colour() -> None:
    row = {"inseparable_from": ["boost target"], "runs_needed": 6}
    said = [words.verdict_words(verdict, row) for verdict in words.VERDICTS]
    assert len(set(said)) == len(said) == 6
    assert "cannot separate from boost target" in " ".join(said)
    assert "cannot tell yet (~6 more runs)" in " ".join(said)
    assert len({mark for _, _, mark in words.VERDICTS.values()}) == 6


def test_no_difference_that_runs_have_no_part_in_is_said_to_be_assumed() -> None:
    row = {"inseparable_from": [], "runs_needed": None}
    assert words.verdict_words("no_difference", {**row, "share_learned": 0.09}) == "= no difference, as was assumed"
    assert words.verdict_words("no_difference", {**row, "share_learned": 0.5}) == "= no difference that matters"


def test_no_figure_is_a_dash() -> None:
    assert console.number(None) == console.value(None) == shown.temperature(None) == "–"
    assert console.number(-0.0123, 3, sign=True) == "-0.012"


def test_what_rounds_to_nothing_has_no_sign():
    """By hand: half of the last digit and more is shown with its sign, less isn't."""
    from runlog.reports.console import number

    said = [number(value, 3, sign=True) for value in (-0.0004, 0.0004, 0.0, -0.0006, 0.0006)]
    assert said == ["0.000", "0.000", "0.000", "-0.001", "+0.001"]
    assert number(-0.04, 1) == "0.0"
