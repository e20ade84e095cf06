"""Work on a logbook that a test has a program of its own do, and kills: ``python killing.py WORK LOGBOOK GIVEN``."""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from runlog.errors import UsageError
from runlog.store.connection import Logbook
from runlog.workflows.intake.ingest import import_files
from runlog.workflows.intake.rebuild import rebuild
from runlog.workflows.keeping.backup import backup
from runlog.workflows.keeping.merge import merge
from runlog.workflows.keeping.undo import undo
from runlog.workflows.opening import open_current

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    Say = Callable[[str], None]


def _import(book: Path, given: Path, _: Say) -> None:
    with open_current(book, write=True) as opened:
        import_files(opened, [given])


def _merge(book: Path, given: Path, _: Say) -> None:
    with open_current(book, write=True) as opened:
        merge(opened, given)


def _rebuild(book: Path, _: Path, __: Say) -> None:
    with open_current(book, write=True) as opened:
        rebuild(opened)


def _undo(book: Path, _: Path, __: Say) -> None:
    with open_current(book, write=True) as opened, contextlib.suppress(UsageError):  # withdrawn already
        undo(opened, 4)


def _upgrade(book: Path, _: Path, __: Say) -> None:
    open_current(book).close()


def _backup(book: Path, given: Path, say: Say) -> None:
    backup(book, given, progress=say)


WORK = {
    "import": _import,
    "merge": _merge,
    "rebuild": _rebuild,
    "undo": _undo,
    "upgrade": _upgrade,
    "backup": _backup,
}


@contextlib.contextmanager
def telling(say: Say) -> Iterator[None]:
    """Have it said whenever a transaction begins and is about to be committed."""
    whole = Logbook.transaction

    @contextlib.contextmanager
    def transaction(book: Logbook) -> Iterator[None]:
        say("begins")
        with whole(book):
            yield
            say("commits")

    Logbook.transaction = transaction  # type: ignore[method-assign]
    try:
        yield
    finally:
        Logbook.transaction = whole  # type: ignore[method-assign]


def _print(text: str) -> None:
    print(text, flush=True)


if __name__ == "__main__":
    with telling(_print):
        WORK[sys.argv[1]](Path(sys.argv[2]), Path(sys.argv[3]), _print)
    _print("done")
