"""One plot as a document of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.reports.html.document import picture, render
from runlog.reports.plots import chart_of, drawing_of

if TYPE_CHECKING:
    from collections.abc import Mapping


def plot_html(content: Mapping[str, Any]) -> str:
    """Return a plot (the content of ``workflows.plots``) as one self-contained HTML file."""
    chart = chart_of(content)
    drawing = None
    if chart is None:
        words = f"Side view of the rear suspension of {content['about']}."
        drawing = {**picture(drawing_of(content)), "words": words}
    title = chart.title if chart else "Rear links, side view"
    name = chart.name if chart else ""
    more = {"about": content["about"], "title": title, "drawing": drawing, "name": name}
    return render("plot.html.j2", more, [chart])
