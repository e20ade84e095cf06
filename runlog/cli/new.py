"""``runlog new``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from runlog.cli.common import new_command


@new_command("Make a new, empty logbook.", "runlog new marsh.duckdb")
def app(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The logbook to make, ending in .duckdb.")],
) -> None:
    """Make a new, empty logbook."""
    from runlog.store.connection import create_logbook

    create_logbook(file).close()
    typer.echo(f"{file} is ready. Next: runlog import CARS SHEETS PITS --logbook {file}")
