"""Where the figures of a page come from: every kind that is shown has a line, with entries that are in the logbook."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Season

KEY = "heron/2031-04-12/10"


def test_every_kind_of_figure_on_the_page_has_a_line(season: Season) -> None:
    page = season.json("show", KEY, "--explain")
    told = {row["figure"] for row in page["explanation"]}
    assert told >= {
        "measured", "counts to", "increments", "air readings", "density ratio", "density altitude", "corrected",
        "expected", "trace splits", "peak g", "tyre slip", "limit, oil pressure", "changes so far",
    }  # fmt: skip
    assert all(all(row.values()) for row in page["explanation"])


def test_values_are_those_of_the_page_and_entries_those_that_were_read(season: Season) -> None:
    page = season.json("show", KEY, "--explain")
    lines = {row["figure"]: row for row in page["explanation"]}
    last = page["splits"][-1]
    assert lines["measured"]["value"].endswith(f"1320 ft {last['measured_s']:.3f} s")
    assert f"→ {last['corrected_s']:.3f} s" in lines["corrected"]["value"]
    assert "slips.csv, read 20" in lines["measured"]["origin"]
    assert "heron_2031-04-12_10.csv" in lines["trace splits"]["origin"]
    assert "heron.toml" in lines["corrected"]["origin"]
    assert "air.csv" in lines["air readings"]["origin"]


def test_what_the_page_does_not_show_is_not_explained(season: Season) -> None:
    page = season.json("show", "curlew/2031-05-24/6", "--explain")
    assert page["trace"] is None
    assert not {row["figure"] for row in page["explanation"]} & {"trace splits", "peak g", "tyre slip"}
    assert season.json("show", KEY)["explanation"] is None


@pytest.mark.slow
def test_a_corrected_slip_is_named_as_its_new_origin(season_copy) -> None:
    season_copy("add", "run", "--car", "heron", "--date", "2031-04-12", "--number", "10", "--60", "1.444")
    rows = season_copy("show", KEY, "--explain", "--json").json()["explanation"]
    slip = next(row for row in rows if row["figure"] == "measured")
    assert re.match(r"the timing slip: typed heron/2031-04-12/10, read \d{4}-", slip["origin"])
    assert slip["value"] == "60 ft 1.444 s"


def test_the_page_says_from_how_and_source(season: Season) -> None:
    out = season.run("show", KEY, "--explain").out
    assert max(map(len, out.splitlines())) <= 80
    assert out.count("  from   ") == out.count("  how    ") == out.count("  source ") > 10
    assert "72 °F" in out
    assert "22.3 °C" in season.run("show", KEY, "--explain", "--units", "metric").out
