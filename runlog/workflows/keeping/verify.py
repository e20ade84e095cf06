"""Checking that a logbook is whole, and that what it says is what its originals say."""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from runlog.errors import RunlogError
from runlog.store import checking, originals, results
from runlog.store.connection import open_logbook, wal_of
from runlog.workflows.intake.rebuild import rebuild
from runlog.workflows.lessons.current import current_effects

if TYPE_CHECKING:
    from collections.abc import Callable

    from runlog.store.connection import Logbook

MOST = 20
"""faults of one kind that are listed"""


@dataclass(frozen=True)
class Verified:
    """What was looked at, and the faults found: where, and what."""

    entries: int
    rebuilt: bool
    faults: tuple[tuple[str, str], ...]


def verify(book: Logbook, *, quick: bool = False, progress: Callable[[str], None] | None = None) -> Verified:
    """Check schema, originals and references; unless ``quick``, also that a rebuild of a copy says the same.

    The logbook itself isn't changed.
    """
    faults = [("schema", text) for text in checking.schema_faults(book)]
    if not faults:
        faults += [("originals", text) for text in checking.original_faults(book, progress)]
        faults += [("references", text) for text in checking.link_faults(book)]
    rebuilt = not quick and not faults
    if rebuilt:
        faults += [("rebuild", text) for text in _rebuilt_faults(book, progress)]
    kept = [fault for n, fault in enumerate(faults) if sum(one[0] == fault[0] for one in faults[:n]) < MOST]
    return Verified(len(originals.entries(book)) if not _schema(faults) else 0, rebuilt, tuple(kept))


def _schema(faults: list[tuple[str, str]]) -> bool:
    return any(where == "schema" for where, _ in faults)


def _rebuilt_faults(book: Logbook, progress: Callable[[str], None] | None) -> list[str]:
    with tempfile.TemporaryDirectory(prefix="runlog-") as folder:
        here, copy = Path(folder) / "here.duckdb", Path(folder) / "copy.duckdb"
        for path in (here, copy):
            shutil.copyfile(book.path, path)
            if wal_of(book.path).exists():
                shutil.copyfile(wal_of(book.path), wal_of(path))
        with open_logbook(here) as now, open_logbook(copy) as again:
            _look_at_effects(now)
            try:
                rebuild(again, progress)
            except RunlogError as error:
                return [f"an original can't be read again: {line}" for line in str(error).splitlines()]
            return list(checking.differences(now, again))


def _look_at_effects(book: Logbook) -> None:
    """Have those effects computed that wait until somebody looks, since other cars have taught something."""
    for car in results.cars_with_file(book):
        stored = results.car_result(book, car)
        if stored is not None and stored[1] and stored[1].get("others") != results.fleet_digest(book, car):
            results.save_effects(book, car, current_effects(book, car))
