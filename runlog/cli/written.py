"""Writing a drawing or a document to a file, for the commands that make one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from runlog.cli.common import note
from runlog.errors import RunlogError

if TYPE_CHECKING:
    from collections.abc import Callable

HtmlOption = Annotated[
    Path | None,
    typer.Option("--html", metavar="FILE", help="Write it as one file for any browser.", show_default=False),
]
PngOption = Annotated[
    Path | None,
    typer.Option("--png", metavar="FILE", help="The same as a picture; needs runlog[png].", show_default=False),
]
PdfOption = Annotated[
    Path | None,
    typer.Option("--pdf", metavar="FILE", help="Print it to PDF by a browser here.", show_default=False),
]


def write_text(path: Path, text: str) -> None:
    """Write a text file; RunlogError that names it where that can't be done."""
    try:
        path.write_text(text, "utf-8", newline="\n")
    except OSError as error:
        raise RunlogError(f"{path} can't be written: {error.strerror}") from None


def write_drawing(drawn: Callable[[], str], svg: Path | None, png: Path | None, what: str) -> None:
    """Draw where it is asked for, write it as SVG and as a picture, and say so; ``what`` names what it shows."""
    if svg is None and png is None:
        return
    text = drawn()
    if svg is not None:
        write_text(svg, text)
        note(f"{what} written to {svg}")
    if png is not None:
        from runlog.cli.picture import write_png

        write_png(png, text, what)


def ensure_tools(html: Path | None, pdf: Path | None) -> None:
    """Raise the RunlogError that says what is missing for a document, before any work is done for it."""
    if html is not None or pdf is not None:
        from runlog.reports.html.document import ensure_tools

        ensure_tools()
    if pdf is not None:
        from runlog.reports.html.printing import ensure_browser

        ensure_browser()


def write_document(made: Callable[[], str], html: Path | None, pdf: Path | None, what: str) -> None:
    """Make a document where one is asked for, write it and print it, and say so."""
    if html is None and pdf is None:
        return
    text = made()
    if html is not None:
        write_text(html, text)
        note(f"{what} written to {html}")
    if pdf is not None:
        from runlog.reports.html.printing import print_pdf

        print_pdf(text, pdf)
        note(f"{what} printed to {pdf}")
