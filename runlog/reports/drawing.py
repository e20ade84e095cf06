"""The side view as a self-contained SVG drawing: no script, no outside files, all text escaped."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

from runlog.reports.console import clean
from runlog.reports.scene import scene
from runlog.reports.shown import length

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.reports.scene import Point, Scene, Segment

_SCALE = 300.0
"""drawing units for each metre"""
_MARGIN = 30.0
_LINE, _ABOVE, _BELOW = 19.0, 46.0, 12.0
"""drawing units from one line of words to the next, from the ground to the first, and under the last"""
_STYLE = (
    "text{font:13px sans-serif;fill:#1b1b1b}.title{font-size:17px;font-weight:bold}"
    ".link{stroke:#1b1b1b;stroke-width:5;stroke-linecap:round}"
    ".supposed{stroke:#b3541e;stroke-width:4;stroke-dasharray:9 5;stroke-linecap:round}"
    ".squat{stroke:#1f5fa8;stroke-width:2}.squat-supposed{stroke:#b3541e;stroke-width:2;stroke-dasharray:9 5}"
    ".neutral{stroke:#6b6b6b;stroke-width:1.5;stroke-dasharray:2 5}.ground{stroke:#1b1b1b;stroke-width:1.5}"
    ".tyre{fill:none;stroke:#b9b9b9;stroke-width:2}.pivot{fill:#fff;stroke:#1b1b1b;stroke-width:2}"
    ".hole{fill:none;stroke:#8a8a8a;stroke-width:1}.centre{stroke:#1f5fa8;stroke-width:2.5}"
    ".centre-supposed{stroke:#b3541e;stroke-width:2.5}"
)


def side_view_svg(page: Mapping[str, Any]) -> str:
    """Return the drawing of a chassis page as the text of an SVG file, lengths and heights to one scale."""
    shown = scene(page)
    words = _words(page)
    view = _View(shown, len(words))
    parts = [
        _element("rect", x=0, y=0, width=view.width, height=view.height, fill="#fff"),
        view.line("ground", ((view.left, 0.0), (shown.right, 0.0))),
        view.circle("tyre", shown.axle, shown.axle[1] * _SCALE),
        view.line("ground", ((shown.wheelbase, 0.0), (shown.wheelbase, 0.03))),
        view.label((shown.wheelbase, 0.05), "front axle", "middle"),
        *(view.line("neutral", line) for line in _present(shown.neutral_line)),
        *(view.line("squat-supposed", line) for line in _present(shown.supposed_line)),
        *(view.line("squat", line) for line in _present(shown.squat_line)),
        *(view.circle("hole", point, 3.5) for point in shown.other_holes),
        *(view.line("supposed", link) for link in shown.supposed_links),
        *(view.line("link", link) for link in shown.links),
        *(view.circle("pivot", pivot, 4.5) for link in (*shown.supposed_links, *shown.links) for pivot in link),
        view.circle("pivot", shown.axle, 3),
        *_gravity(view, shown),
        *_centre(view, shown.supposed_centre if shown.within(shown.supposed_centre) else None, "supposed"),
        *_centre(view, shown.centre if shown.within(shown.centre) else None, "instant centre"),
        *_ends(view, shown, page),
        *view.words(words),
    ]
    name = f"{page['car']}: side view of the rear suspension"
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {view.width:.0f} {view.height:.0f}" '
        f'width="{view.width:.0f}" height="{view.height:.0f}">'
    )
    body = "\n".join([f"<title>{_text(name)}</title>", f"<style>{_STYLE}</style>", *parts])
    return f"{head}\n{body}\n</svg>\n"


def _present(line: Segment | None) -> Sequence[Segment]:
    return () if line is None else (line,)


def _text(text: object) -> str:
    return escape(clean(text))


def _element(tag: str, text: str | None = None, **attributes: object) -> str:
    """Return an element; ``class_`` is written as class, numbers with one decimal, everything escaped."""
    written = " ".join(
        f'{name.rstrip("_").replace("_", "-")}="{value:.1f}"'
        if isinstance(value, float)
        else f'{name.rstrip("_").replace("_", "-")}="{_text(value)}"'
        for name, value in attributes.items()
    )
    return f"<{tag} {written}/>" if text is None else f"<{tag} {written}>{_text(text)}</{tag}>"


class _View:
    """From metres to the page."""

    def __init__(self, shown: Scene, lines: int) -> None:
        tyre = shown.axle[1] + 0.03
        self.left, self.top = min(shown.left, -tyre), max(shown.top, shown.axle[1] + tyre)
        self.width = (shown.right - self.left) * _SCALE + 2 * _MARGIN
        self.first_line = _MARGIN + (self.top - shown.bottom) * _SCALE + _ABOVE
        self.height = self.first_line + (lines - 1) * _LINE + _BELOW

    def place(self, point: Point) -> tuple[float, float]:
        """Return the page coordinates of a point [m]."""
        return _MARGIN + (point[0] - self.left) * _SCALE, _MARGIN + (self.top - point[1]) * _SCALE

    def line(self, kind: str, segment: Segment) -> str:
        """Return a line."""
        (x1, y1), (x2, y2) = map(self.place, segment)
        return _element("line", class_=kind, x1=x1, y1=y1, x2=x2, y2=y2)

    def circle(self, kind: str, point: Point, radius: float) -> str:
        """Return a circle with its radius in drawing units."""
        x, y = self.place(point)
        return _element("circle", class_=kind, cx=x, cy=y, r=float(radius))

    def label(self, point: Point, text: str, anchor: str = "start", lower: float = -8.0) -> str:
        """Return words beside a point, ``lower`` drawing units under it."""
        x, y = self.place(point)
        return _element("text", text, x=x + (8.0 if anchor == "start" else 0.0), y=y + lower, text_anchor=anchor)

    def words(self, lines: Sequence[str]) -> list[str]:
        """Return the words below the drawing, the first as a title."""
        return [
            _element("text", line, class_="title" if n == 0 else "note", x=_MARGIN, y=self.first_line + _LINE * n)
            for n, line in enumerate(lines)
        ]


def _gravity(view: _View, shown: Scene) -> list[str]:
    if shown.gravity is None:
        return []
    return [view.circle("pivot", shown.gravity, 6.5), view.label(shown.gravity, "centre of gravity")]


def _centre(view: _View, point: Point | None, name: str) -> list[str]:
    """Return the cross of an instant centre, named below it where it is a supposed one."""
    if point is None:
        return []
    x, z = point
    size = 8 / _SCALE
    kind, lower = ("centre-supposed", 22.0) if name == "supposed" else ("centre", -12.0)
    strokes = [((x - size, z - size), (x + size, z + size)), ((x - size, z + size), (x + size, z - size))]
    return [*(view.line(kind, stroke) for stroke in strokes), view.label(point, name, "middle", lower)]


def _ends(view: _View, shown: Scene, page: Mapping[str, Any]) -> list[str]:
    """Return the per cent at the front end of each line, where they stand far enough apart to be read."""
    after = page["suppose"] or {"anti_squat_pct": None}
    ends = (
        (shown.neutral_line, 100.0),
        (shown.squat_line, page["anti_squat_pct"]),
        (shown.supposed_line, after["anti_squat_pct"]),
    )
    taken: list[float] = []
    labels = []
    for line, percent in ends:
        if line is not None and percent is not None and all(abs(line[1][1] - z) > 0.045 for z in taken):
            taken.append(line[1][1])
            labels.append(view.label(line[1], f"{percent:.0f} %", "end"))
    return labels


def _words(page: Mapping[str, Any]) -> list[str]:
    lines = [f"{page['car']} — setup of {page['setup_from'] or 'no sheet'}"]
    lines.append(_figures("in use", page))
    if page["suppose"]:
        changes = ", ".join(f"{item['adjustable']} {item['to']}" for item in page["suppose"]["changes"])
        lines.append(_figures(f"supposed ({changes})", page["suppose"]))
    lines.append("Blue: line through the instant centre. Dotted: 100 %. Dashed: supposed. An estimate, not permission.")
    return lines


def _figures(lead: str, page: Mapping[str, Any]) -> str:
    centre, share = page["instant_centre"], page["anti_squat_pct"]
    place = "not known"
    if centre["x_m"] is not None:
        place = f"x {length(centre['x_m'])}, z {length(centre['z_m'])}"
    elif page["parallel_slope"] is not None:
        place = f"at infinity, slope {page['parallel_slope']:+.3f}"
    squat = "not known" if share is None else f"{share:.1f} %"
    return f"{lead}: instant centre {place}; anti-squat {squat}"
