"""Reading every original again and computing everything anew."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runlog.errors import LogbookError
from runlog.store import history, originals, results, traces
from runlog.workflows.intake.remake import Before, remake
from runlog.workflows.results import derive

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Executor

    from runlog.store.connection import Logbook


def rebuild(book: Logbook, progress: Callable[[str], None] | None = None, executor: Executor | None = None) -> int:
    """Read all originals again in the order they came and compute all results; return the number of entries.

    Facts are replaced in one transaction: when an original can't be read that could be, the logbook stays as it was.
    """
    count = len(originals.entries(book))
    before = history.unread(book)
    with book.transaction():
        results.drop_all(book)
        traces.restate(book, [])
        refused = remake(book, Before(), progress)
        fresh = [str(error) for number, error in refused.items() if number not in before]
        if fresh:
            raise LogbookError("\n".join(fresh))
        results.mark_stale(book)
    derive.refresh(book, progress, executor)
    return count
