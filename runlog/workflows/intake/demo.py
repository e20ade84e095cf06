"""The demo season: where its files are, and a logbook made of them."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from runlog.errors import RunlogError
from runlog.workflows.intake.ingest import import_files

if TYPE_CHECKING:
    from collections.abc import Callable

    from runlog.store.connection import Logbook
    from runlog.workflows.intake.ingest import ImportReport

PARTS = ("tracks", "cars", "sheets", "pits")


def demo_folder() -> Path:
    """Return the folder of the demo season: inside the installed package, or beside it in a checkout."""
    package = Path(str(resources.files("runlog")))
    for folder in (package / "demo_runs", package.parent / "demo_runs"):
        if (folder / "pits").is_dir():
            return folder
    raise RunlogError("the demo season isn't installed with this runlog")


def import_demo(book: Logbook, progress: Callable[[str], None] | None = None) -> ImportReport:
    """Import the demo season."""
    folder = demo_folder()
    return import_files(book, [folder / part for part in PARTS], progress=progress)
