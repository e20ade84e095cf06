"""The side view: what is drawn where, on the terminal and in the file, and that text from files stays text."""

from __future__ import annotations

import copy
import xml.etree.ElementTree as ElementTree
from typing import Any

import pytest

from runlog.reports.drawing import side_view_svg
from runlog.reports.scene import scene
from runlog.reports.side_view import ROWS, WIDTH, side_view

SVG = "{http://www.w3.org/2000/svg}"
HOLE = {"hole": "9", "x_m": 0.4, "z_m": 0.36}


def link(rear: tuple[float, float], front: tuple[float, float]) -> dict[str, Any]:
    ends = {"rear": rear, "front": front}
    return {name: {"x_m": x, "z_m": z} for name, (x, z) in ends.items()}


def a_page(**more: Any) -> dict[str, Any]:
    """The exact case of 125 %: links that meet at (1.2, 0.3) m."""
    page: dict[str, Any] = {
        "car": "gull",
        "setup_from": "gull/2031-05-01/3",
        "wheelbase_m": 2.5,
        "axle_height_m": 0.4,
        "holes": [{"others": [HOLE]}],
        "links": [link((0.0, 0.45), (0.4, 0.4)), link((0.0, 0.2), (0.6, 0.25))],
        "instant_centre": {"x_m": 1.2, "z_m": 0.3},
        "parallel_slope": None,
        "anti_squat_pct": 125.0,
        "line_height_at_front_axle_m": 0.625,
        "centre_of_gravity_m": {"x": 1.25, "y": None, "z": 0.5},
        "combinations": None,
        "suppose": None,
    }
    return {**page, **more}


def supposed() -> dict[str, Any]:
    after = copy.deepcopy(a_page())
    after["links"][0]["front"]["z_m"] = 0.36
    after |= {"instant_centre": {"x_m": 0.8, "z_m": 0.27}, "line_height_at_front_axle_m": 0.84, "anti_squat_pct": 168.0}
    after["changes"] = [{"adjustable": "upper link front hole", "to": "9"}]
    return after


def place(rows: list[str], mark: str) -> tuple[int, int]:
    found = [(row.index(mark), n) for n, row in enumerate(rows[:ROWS]) if mark in row]
    assert len(found) == 1, found
    return found[0]


def test_terminal_view_puts_things_where_they_are() -> None:
    """The canvas runs from 0.15 m behind the axle to 0.1 m past the front one, heights from 0 to 0.665 m."""
    rows = side_view(a_page())
    assert all(len(row) <= WIDTH for row in rows)
    for mark, (x, z) in {"X": (1.2, 0.3), "G": (1.25, 0.5), "@": (0.0, 0.4)}.items():
        column, row = place(rows, mark)
        assert column == round((x + 0.15) / (2.6 + 0.15) * (WIDTH - 1)), mark
        assert row == round((1 - z / 0.665) * (ROWS - 1)), mark
    assert set(rows[ROWS - 1].replace("^", "_")) == {"_"}
    assert rows[ROWS - 1].count("^") == 2


def test_line_over_a_hundred_per_cent_ends_above_the_other() -> None:
    rows = side_view(a_page())
    steep = min(n for n, row in enumerate(rows[:ROWS]) if "." in row)
    flat = min(n for n, row in enumerate(rows[:ROWS]) if "-" in row)
    assert steep < flat


def test_supposed_change_is_drawn_beside_it() -> None:
    rows = side_view(a_page(suppose=supposed()))
    assert place(rows, "Y")[0] < place(rows, "X")[0]
    assert any("~" in row for row in rows[:ROWS])
    assert "~ supposed links  Y supposed instant centre  , line through Y" in rows


@pytest.mark.parametrize(
    ("x", "units", "words"),
    [
        (30.48, "us", "1200 in ahead of the rear axle"),  # an inch is 0.0254 m by definition
        (-9.144, "us", "360 in behind the rear axle"),
        (30.48, "metric", "30480 mm ahead of the rear axle"),
    ],
)
def test_far_centre_is_said_in_words(x: float, units: str, words: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNLOG_UNITS", units)
    rows = side_view(a_page(instant_centre={"x_m": x, "z_m": 0.3}))
    assert "X" not in "".join(rows[:ROWS])
    assert rows[-1] == f"instant centre outside the view, {words}"


def test_combinations_are_marked() -> None:
    rows = [{"instant_centre": {"x_m": 1.7, "z_m": 0.2}}, {"instant_centre": {"x_m": None, "z_m": None}}]
    page = a_page(combinations=rows)
    assert "".join(side_view(page)[:ROWS]).count("+") == 1
    assert scene(page).combination_centres == ((1.7, 0.2),)


def test_nothing_known_still_makes_a_view() -> None:
    nothing = {"x_m": None, "z_m": None}
    bare = a_page(
        holes=[],
        links=[],
        instant_centre=nothing,
        anti_squat_pct=None,
        line_height_at_front_axle_m=None,
        setup_from=None,
    )
    bare["centre_of_gravity_m"] = {"x": None, "y": None, "z": None}
    assert place(side_view(bare), "@")
    words = "".join(ElementTree.fromstring(side_view_svg(bare)).itertext())
    assert "instant centre not known; anti-squat not known" in words
    assert "setup of no sheet" in words


def test_drawing_is_well_formed_and_stands_alone() -> None:
    text = side_view_svg(a_page(suppose=supposed()))
    root = ElementTree.fromstring(text)
    assert root.tag == f"{SVG}svg"
    assert {element.tag.removeprefix(SVG) for element in root.iter()} <= {
        "svg", "title", "style", "rect", "line", "circle", "text",
    }  # fmt: skip
    names = {name for element in root.iter() for name in element.attrib}
    assert not any(name.startswith("on") or "href" in name for name in names)
    assert "url(" not in text
    assert "@import" not in text
    words = list(root.itertext())
    assert "gull — setup of gull/2031-05-01/3" in words
    assert "in use: instant centre x 47.24 in, z 11.81 in; anti-squat 125.0 %" in words  # 1.2 and 0.3 m by 0.0254
    assert "125 %" in words
    assert "168 %" in words


def test_drawing_speaks_the_units_of_the_page(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNLOG_UNITS", "metric")
    words = list(ElementTree.fromstring(side_view_svg(a_page())).itertext())
    assert "in use: instant centre x 1200 mm, z 300 mm; anti-squat 125.0 %" in words


@pytest.mark.parametrize("after", [None, supposed()])
def test_drawing_ends_a_line_under_its_last_words(after: dict[str, Any] | None) -> None:
    root = ElementTree.fromstring(side_view_svg(a_page(suppose=after)))
    last = max(float(element.attrib["y"]) for element in root.iter(f"{SVG}text"))
    assert 4 <= float(root.attrib["height"]) - last <= 19  # room for descenders, less than one line more


def test_drawing_keeps_one_scale() -> None:
    """Front axle mark, contact patch, centre of gravity: distances on the page in the ratio of the metres."""
    root = ElementTree.fromstring(side_view_svg(a_page()))
    squat = next(element for element in root.iter() if element.get("class") == "squat")
    x1, y1, x2, y2 = (float(squat.attrib[name]) for name in ("x1", "y1", "x2", "y2"))
    assert (y1 - y2) / (x2 - x1) == pytest.approx(0.625 / 2.5, abs=1e-3)
    tyre = next(element for element in root.iter() if element.get("class") == "tyre")
    assert float(tyre.attrib["r"]) / (x2 - x1) == pytest.approx(0.4 / 2.5, abs=1e-3)
    assert float(tyre.attrib["cy"]) + float(tyre.attrib["r"]) == pytest.approx(y1, abs=0.2)  # it stands on the ground


def test_text_from_files_stays_text() -> None:
    nasty = '</text><script>alert("x")</script>&\x1b[31m'
    after = supposed()
    after["changes"][0]["to"] = nasty
    text = side_view_svg(a_page(car=nasty, suppose=after))
    root = ElementTree.fromstring(text)
    assert "<script" not in text
    assert "\x1b" not in text
    assert any("<script>" in words for words in root.itertext())
