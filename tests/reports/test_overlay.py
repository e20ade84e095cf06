"""Where the time was won or lost: the plot's characters, the drawing's points, and that text stays text."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ElementTree
from typing import Any

import pytest

from runlog.reports.overlay import HALF, along_table, overlay_svg, plot_row

SVG = "{http://www.w3.org/2000/svg}"


def a_page(runs: int = 2, key: str = "gull/2031-05-01/3") -> dict[str, Any]:
    stations = [0, 60, 100, 330, 660]
    made = [
        {
            "key": key,
            "time_s": [0.0, 1.4, 1.9, 3.9, 5.9],
            "speed_mph": [8.0, 50.0, 62.0, 98.0, None],
            "difference_s": [0.0, 0.01 * n, 0.02 * n, -0.03 * n, None if n else 0.0],
            "lost_s": [0.0] * 5,
        }
        for n in range(runs)
    ]
    return {"along_track": {"station_ft": stations, "runs": made}}


@pytest.mark.parametrize(
    ("difference", "at"), [(0.0, HALF), (0.05, HALF + HALF // 2), (-0.1, 0), (0.1, 2 * HALF), (9.0, 2 * HALF)]
)
def test_a_letter_stands_where_its_difference_is(difference: float, at: int) -> None:
    row = plot_row([difference], 0.1)
    assert len(row) == 2 * HALF + 1
    assert row.index("b") == at
    assert row[HALF] == ("b" if difference == 0.0 else "|")


def test_runs_at_the_same_place_and_runs_without_a_figure() -> None:
    assert plot_row([0.05, 0.05], 0.1).count("*") == 1
    assert plot_row([None], 0.1).strip() == "|"


@pytest.mark.parametrize("runs", [2, 3, 4])
def test_table_fits_eighty_columns(runs: int) -> None:
    from rich.console import Console

    console = Console(width=200, record=True, file=io.StringIO())
    console.print(along_table(a_page(runs)["along_track"]))
    lines = console.export_text().splitlines()
    assert max(len(line.rstrip()) for line in lines) <= 80
    assert len(lines) == 5  # the start itself isn't a line


def test_drawing_has_a_line_for_each_run_in_both_panels() -> None:
    root = ElementTree.fromstring(overlay_svg(a_page(3)))
    lines = root.findall(f"{SVG}polyline")
    assert len(lines) == 6
    assert len({line.get("stroke-dasharray") for line in lines[:3]}) == 3  # told apart without colour
    points = [tuple(map(float, point.split(","))) for point in lines[4].get("points", "").split()]
    assert len(points) == 4  # no point where there is no figure
    across = [x for x, _ in points]
    assert (across[1] - across[0]) / (across[3] - across[0]) == pytest.approx(60 / 330, abs=1e-3)
    zero, later, ahead = points[0][1], points[2][1], points[3][1]
    assert later < zero < ahead
    assert (ahead - zero) / (zero - later) == pytest.approx(1.5, abs=0.02)


def test_drawing_speaks_the_units_of_the_page(monkeypatch: pytest.MonkeyPatch) -> None:
    """Speeds scale by 1.609344 and distances by 0.3048, both exact by definition; the lines stay where they are."""
    drawn = {}
    for units in ("us", "metric"):
        monkeypatch.setenv("RUNLOG_UNITS", units)
        drawn[units] = ElementTree.fromstring(overlay_svg(a_page()))
    words = {units: list(root.itertext()) for units, root in drawn.items()}
    assert {"speed, mph", "distance from the start beam, ft"} <= set(words["us"])
    assert {"speed, km/h", "distance from the start beam, m"} <= set(words["metric"])
    places = {
        (units, element.text): float(element.attrib["x"])
        for units, root in drawn.items()
        for element in root.iter(f"{SVG}text")
        if element.get("text-anchor") == "middle"
    }
    start = places["us", "0"]
    assert places["metric", "0"] == start
    metre, foot = (places["metric", "200"] - start) / 200, (places["us", "600"] - start) / 600
    assert foot / metre == pytest.approx(0.3048, abs=1e-3)
    ends = [root.findall(f"{SVG}polyline")[0].attrib["points"].split()[0] for root in drawn.values()]
    assert ends[0].split(",")[0] == ends[1].split(",")[0]


def test_text_from_files_stays_text() -> None:
    drawing = overlay_svg(a_page(key='</desc><script>alert("x")</script>'))
    root = ElementTree.fromstring(drawing)
    assert not list(root.iter(f"{SVG}script"))
    assert "<script" not in drawing
    assert "http" not in drawing.replace("http://www.w3.org/2000/svg", "")
