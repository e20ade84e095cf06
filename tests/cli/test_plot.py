"""``runlog plot``: every kind on the terminal and in files."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from jsonschema import Draft202012Validator
from published import schema

if TYPE_CHECKING:
    from conftest import Program, Season

PLOTS = {
    "increments": ("heron/2031-04-12",),
    "traces": ("heron/2031-04-12/7", "heron/2031-04-12/10"),
    "effects": ("heron",),
    "air": ("2031-04-12",),
    "chassis": ("heron",),
}
SCHEMA = schema("plot")


@pytest.mark.parametrize("kind", PLOTS)
def test_it_fits_the_page_without_colour(season: Season, kind: str) -> None:
    done = season.run("plot", kind, *PLOTS[kind])
    assert done.code == 0, done.err
    lines = done.out.splitlines()
    assert len(lines) > 10
    assert max(map(len, lines)) <= 80
    assert "\x1b" not in done.out


@pytest.mark.parametrize("kind", PLOTS)
def test_files_hold_it_too(season: Season, tmp_path: Path, kind: str) -> None:
    """Oracle: the standard library's XML parser; the signature of a PNG file (ISO/IEC 15948, clause 5.2)."""
    paths = {name: tmp_path / f"x.{name}" for name in ("svg", "png", "html")}
    options = [word for name, path in paths.items() for word in (f"--{name}", str(path))]
    done = season.run("plot", kind, *PLOTS[kind], *options)
    assert done.code == 0, done.err
    root = ET.fromstring(paths["svg"].read_text(encoding="utf-8"))
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    shapes = [item for item in root.iter() if item.tag.rpartition("}")[2] in ("path", "line", "circle", "rect")]
    assert len(shapes) > 10
    assert not list(root.iter("{http://www.w3.org/2000/svg}script"))
    assert paths["png"].read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
    assert "<!doctype html>" in paths["html"].read_text(encoding="utf-8")
    assert done.err.count("written to") == 3


@pytest.mark.parametrize("kind", PLOTS)
def test_machine_output_is_the_chart_in_the_open_grammar(season: Season, kind: str) -> None:
    """Oracles: JSON Schema 2020-12 by jsonschema; the grammar's own compiler, which refuses what it doesn't know."""
    import vl_convert

    content = season.json("plot", kind, *PLOTS[kind])
    assert list(Draft202012Validator(SCHEMA).iter_errors(content)) == []
    assert content["kind"] == kind
    if kind == "chassis":
        assert content["spec"] is None
        return
    compiled = vl_convert.vegalite_to_vega(json.dumps(content["spec"]))
    assert compiled["$schema"].startswith("https://vega.github.io/schema/vega/")
    assert content["words"].endswith(".")


def test_effects_stand_on_their_side_of_zero(season: Season) -> None:
    """Identity: the figures that effects prints."""
    rows = {row["name"]: row for row in season.json("plot", "effects", "heron")["spec"]["data"]["values"]}
    effects = [row for row in season.json("effects", "--car", "heron")["effects"] if row["change_made"]]
    whole = {row["adjustable"]: row["change_made"] for row in effects if (row["from_ft"], row["to_ft"]) == (0, 1320)}
    assert len(rows) == len(whole)
    for name, row in rows.items():
        made = next(made for adjustable, made in whole.items() if name.startswith(adjustable))
        assert row["mean"] == pytest.approx(made["mean_s"], abs=1e-4)
        assert row["low"] < row["mean"] < row["high"]


def test_increments_leave_out_what_does_not_count(season: Season) -> None:
    """Run 3 shut off at 660 ft as planned: the slip's later figures are coasting."""
    spec = season.json("plot", "increments", "heron/2031-04-12")["spec"]
    rows: list[dict[str, Any]] = [
        row for panel in spec["vconcat"] for layer in panel["layer"] for row in layer.get("data", {}).get("values", [])
    ]
    spans = {row["span"] for row in rows if row.get("run") == "3" and "span" in row}
    assert spans == {"0–60 ft", "60–330 ft", "330–660 ft"}


def test_the_newest_day_is_plotted_by_default(season: Season) -> None:
    assert season.json("plot", "increments")["about"] == "wigeon/2031-07-06"


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("spirals",), 2, "'spirals' can't be plotted; accepted: increments, traces, effects, air, chassis"),
        (("traces", *["heron/2031-04-12/5"] * 5), 2, "at most 4 runs can be told apart on one plot, 5 given"),
        (("traces", "curlew/2031-05-24/6"), 1, "no trace of curlew/2031-05-24/6 tells speed and distance"),
        (("effects", "heron", "curlew"), 2, "this plot is of a car, 2 given: heron, curlew"),
        (("air", "2031-04-13"), 1, "no run on 2031-04-13"),
        (("increments", "someday"), 2, "'someday' is not a day"),
    ],
)
def test_what_cannot_be_plotted(season: Season, words: tuple[str, ...], code: int, said: str) -> None:
    done = season.run("plot", *words)
    assert done.code == code
    assert said in done.err


def test_one_run_alone_has_no_course(runlog: Program, demo_folder: Path) -> None:
    assert runlog("new", "a.duckdb").code == 0
    runlog("import", demo_folder / "cars" / "heron.toml", demo_folder / "tracks")
    header = "car,date,time,track,run,lane,purpose,t60_s\n"
    runlog.write("one.csv", f"{header}heron,2031-04-12,10:30,lowfield,1,left,60,1.420\n")
    assert runlog("import", "one.csv").code == 0
    done = runlog("plot", "increments")
    assert done.code == 0, done.err
    assert "one run only: runlog show heron/2031-04-12/1" in done.out
    done = runlog("plot", "effects")
    assert done.code == 1
    assert "nothing to plot" in done.err
