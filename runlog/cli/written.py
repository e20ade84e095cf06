"""Writing a drawing or a document to a file, for the commands that make one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runlog.errors import RunlogError

if TYPE_CHECKING:
    from pathlib import Path


def write_text(path: Path, text: str) -> None:
    """Write a text file; RunlogError that names it where that can't be done."""
    try:
        path.write_text(text, "utf-8", newline="\n")
    except OSError as error:
        raise RunlogError(f"{path} can't be written: {error.strerror}") from None
