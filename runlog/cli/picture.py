"""Writing a drawing as PNG, for the commands that draw."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runlog.cli.common import note
from runlog.errors import RunlogError

if TYPE_CHECKING:
    from pathlib import Path


def write_png(path: Path, svg: str, what: str) -> None:
    """Write a drawing's picture, and say so; ``what`` names what it shows."""
    from runlog.reports.picture import WIDTH_PX, png_of, words_are_missing

    png = png_of(svg, WIDTH_PX)
    try:
        path.write_bytes(png)
    except OSError as error:
        raise RunlogError(f"{path} can't be written: {error.strerror}") from None
    note(f"{what} written to {path}")
    if words_are_missing(svg, png, WIDTH_PX):
        note(f"{path} has lines but no words: this machine has no fonts. Install any, or use --svg.")
