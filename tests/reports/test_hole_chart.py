"""The chart of hole combinations: marks where the figures put them, and a drawing that stands alone."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from typing import Any

import pytest

from runlog.reports.hole_chart import COLUMNS, ROWS, chart_of, hole_chart
from runlog.reports.hole_drawing import hole_chart_svg

SVG = "{http://www.w3.org/2000/svg}"


def a_row(x: float | None, z: float | None, moved: int = 1) -> dict[str, Any]:
    return {"instant_centre": {"x_m": x, "z_m": z}, "moved": moved}


def a_page(*rows: dict[str, Any], target: float = 100.0, car: str = "gull") -> dict[str, Any]:
    """h 0.5 m over L 2.5 m: 100 % is a height of a fifth of the length."""
    gravity = {"x": 1.25, "y": None, "z": 0.5}
    return {
        "car": car,
        "wheelbase_m": 2.5,
        "centre_of_gravity_m": gravity,
        "target_pct": target,
        "combinations": list(rows),
    }


FOUR = (a_row(1.5, 0.3), a_row(1.0, 0.1), a_row(2.0, 0.5), a_row(1.2, 0.4, 0))


def cells(page: dict[str, Any], sign: str) -> list[tuple[int, int]]:
    """Return (column, row from above) of a mark in the frame."""
    rows = hole_chart(page)[1 : ROWS + 1]
    return [(n - 11, line) for line, row in enumerate(rows) for n, char in enumerate(row) if n > 10 and char == sign]


def test_marks_stand_where_the_figures_say() -> None:
    """Spans 0.94–2.06 m and 0.076–0.524 m: 6 % of the spread added each way; N is midway in both."""
    ((column, row),) = cells(a_page(*FOUR), "N")
    assert abs(column - (COLUMNS - 1) / 2) <= 0.5
    assert row == (ROWS - 1) / 2
    ((column, row),) = cells(a_page(*FOUR), "X")
    assert column == round((1.2 - 0.94) / 1.12 * (COLUMNS - 1))
    assert row == round((0.524 - 0.4) / 0.448 * (ROWS - 1))
    low, high = sorted(cells(a_page(*FOUR), "+"))
    assert low[0] < column < high[0]
    assert low[1] > row > high[1]


def test_the_targets_line_goes_through_what_has_it() -> None:
    """(1.5, 0.3) m has exactly 100 %: the dots on both sides of it are in line with it."""
    dots = cells(a_page(*FOUR), ".")
    for column, row in dots:
        x = 0.94 + 1.12 * column / (COLUMNS - 1)
        assert row == pytest.approx((0.524 - 0.2 * x) / 0.448 * (ROWS - 1), abs=0.56)
    assert len(dots) > COLUMNS / 2
    assert cells(a_page(*FOUR, target=900.0), ".") == []


@pytest.mark.parametrize("units", ["", "metric"])
def test_it_fits_and_says_its_units(units: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNLOG_UNITS", units)
    rows = hole_chart(a_page(*FOUR, target=-1000.0))
    assert max(map(len, rows)) <= 79
    axis = rows[ROWS + 2]
    left, right = ("940 mm", "2060 mm") if units else ("37.0 in", "81.1 in")  # by definition of the inch
    assert axis.strip().startswith(left)
    assert axis.strip().endswith(right)


def test_used_may_be_the_nearest_and_says_so() -> None:
    page = a_page(a_row(1.2, 0.3, 0), a_row(1.4, 0.4))
    assert cells(page, "N") == []
    assert len(cells(page, "X")) == 1
    assert "the combination in use is the nearest" in hole_chart(page)


def test_what_cant_be_drawn_is_counted() -> None:
    rows = hole_chart(a_page(*FOUR, a_row(-3.0, 0.3), a_row(40.0, 0.3), a_row(None, None)))
    assert rows[-1] == "outside the chart: 3, behind the axle, far away or at infinity"


def test_nothing_to_draw() -> None:
    for page in (a_page(), a_page(a_row(None, None)), a_page() | {"combinations": None}):
        assert chart_of(page) is None
        assert hole_chart(page) == []
        assert hole_chart_svg(page) is None


def test_one_combination_alone_stands_in_the_middle() -> None:
    ((column, row),) = cells(a_page(a_row(1.2, 0.3, 0)), "X")
    assert abs(column - (COLUMNS - 1) / 2) <= 0.5
    assert row == (ROWS - 1) / 2


def test_drawing_is_well_formed_escaped_and_stands_alone() -> None:
    text = hole_chart_svg(a_page(*FOUR, car='<script>alert("1")</script>&'))
    assert text is not None
    root = ElementTree.fromstring(text)
    assert {element.tag.removeprefix(SVG) for element in root.iter()} <= {
        "svg", "title", "style", "rect", "line", "circle", "path", "text",
    }  # fmt: skip
    names = {name for element in root.iter() for name in element.attrib}
    assert not any(name.startswith("on") or "href" in name for name in names)
    assert "url(" not in text
    assert '<script>alert("1")</script>&: instant centres of the allowed holes' in list(root.itertext())
    by_kind = [element.get("class") for element in root.iter()]
    assert by_kind.count("allowed") == 4
    assert by_kind.count("nearest") == by_kind.count("used") == by_kind.count("target") == 1


def test_drawn_line_goes_through_the_ring() -> None:
    """The nearest has exactly the target: the line's height at the ring's place is the ring's."""
    root = ElementTree.fromstring(hole_chart_svg(a_page(*FOUR)) or "")
    ring = next(element for element in root.iter() if element.get("class") == "nearest")
    line = next(element for element in root.iter() if element.get("class") == "target")
    x1, y1, x2, y2 = (float(line.get(name, "nan")) for name in ("x1", "y1", "x2", "y2"))
    x, y = float(ring.get("cx", "nan")), float(ring.get("cy", "nan"))
    assert x1 < x < x2
    assert y1 + (y2 - y1) * (x - x1) / (x2 - x1) == pytest.approx(y, abs=0.2)
