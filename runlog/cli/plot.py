"""``runlog plot``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, note, option, print_json
from runlog.cli.written import HtmlOption, PngOption, write_drawing, write_text
from runlog.errors import UsageError


@new_command(
    "Plot the increments of a day, the traces of up to four runs along the track, the effects of a car's changes, the "
    "air of a day, or the side view of a car's links.",
    "runlog plot traces heron/2031-04-12/7 heron/2031-04-12/10 --svg traces.svg",
)
def app(
    kind: Annotated[str, typer.Argument(metavar="KIND", help="increments, traces, effects, air or chassis.")],
    what: Annotated[
        list[str] | None,
        typer.Argument(metavar="WHAT", help="The day, the runs or the car; the newest by default.", show_default=False),
    ] = None,
    svg: Annotated[Path | None, option("--svg", "FILE", "Draw it; needs runlog[html].")] = None,
    png: PngOption = None,
    html: HtmlOption = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Plot something."""
    from runlog.workflows.plots import KINDS, plot_content

    if kind not in KINDS:
        raise UsageError(f"{kind!r} can't be plotted; accepted: {', '.join(KINDS)}")
    with logbook(book) as opened:
        content = plot_content(opened, kind, what or ())
    _files(content, svg, png, html)
    if as_json:
        print_json(_plain(content))
    else:
        from runlog.reports.plots import print_plot

        print_plot(content)


def _files(content: dict[str, Any], svg: Path | None, png: Path | None, html: Path | None) -> None:
    from runlog.reports.plots import drawing_of

    named = f"{content['kind']} of {content['about']}"
    write_drawing(lambda: drawing_of(content), svg, png, named)
    if html is not None:
        from runlog.reports.html.plot import plot_html

        write_text(html, plot_html(content))
        note(f"{named} written to {html}")


def _plain(content: dict[str, Any]) -> dict[str, Any]:
    """Return the plot in the shape of ``plot --json``: its chart in the open grammar, where it is one."""
    from runlog.reports.plots import chart_of

    chart = chart_of(content)
    return {
        "kind": content["kind"],
        "about": content["about"],
        "title": chart.title if chart else None,
        "words": chart.words if chart else None,
        "spec": chart.spec if chart else None,
    }
