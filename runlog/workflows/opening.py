"""Opening a logbook whose results are up to date."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runlog.store.connection import open_logbook
from runlog.store.results import stale_marks

if TYPE_CHECKING:
    from pathlib import Path

    from runlog.store.connection import Logbook


def open_current(path: Path, *, write: bool = False) -> Logbook:
    """Open a logbook; work that a program left unfinished when it was stopped is finished first."""
    book = open_logbook(path, read_only=not write)
    try:
        if stale_marks(book):
            book.close()
            book = open_logbook(path)
            from runlog.workflows.intake.remake import index
            from runlog.workflows.results.derive import refresh

            index(book)
            refresh(book)
            if not write:
                book.close()
                book = open_logbook(path, read_only=True)
    except BaseException:
        book.close()
        raise
    return book
