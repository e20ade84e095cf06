"""Importing what arrives in a folder; the logbook is held only while something is written."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from runlog.errors import RunlogError
from runlog.workflows.intake.arrivals import SIDECAR, Arrivals, look, stages
from runlog.workflows.intake.ingest import FileReport, import_files
from runlog.workflows.opening import open_current
from runlog.workflows.runs.page import run_page

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from runlog.records import RunKey


@dataclass(frozen=True)
class News:
    """Something to tell: a file that was stored or refused, the page of a run that is complete, or a trouble."""

    file: FileReport | None = None
    page: dict[str, Any] | None = None
    trouble: str = ""


@dataclass
class Watch:
    """A folder that is watched for a logbook."""

    folder: Path
    logbook: Path
    settle_s: float = 2.0
    stored: int = 0
    _arrivals: Arrivals = field(init=False)
    _complete: dict[RunKey, bool] = field(default_factory=dict)
    _told: dict[Path, str] = field(default_factory=dict)
    """what was said of a refused file: it is said once"""
    _trouble: str = ""

    def __post_init__(self) -> None:
        self._arrivals = Arrivals(self.settle_s)

    def begin(self) -> None:
        """Note what is complete already, so that no page is made of it."""
        with open_current(self.logbook) as book:
            self._complete = stages(book)

    def step(self) -> Iterator[News]:
        """Look once, read what has become whole, and tell what came of it."""
        try:
            ready = self._arrivals.ready(look(self.folder), time.monotonic())
            if ready:
                yield from self._read(ready)
        except (OSError, RunlogError) as error:
            # a drive that is away, a logbook that another program holds: it goes on when they are back
            said = str(error)
            if said != self._trouble:
                yield News(trouble=said)
            self._trouble = said
        else:
            self._trouble = ""

    def _read(self, ready: list[Path]) -> Iterator[News]:
        files = [path for path in ready if path.suffix.lower() != SIDECAR]
        pages: list[dict[str, Any]] = []
        reports: tuple[FileReport, ...] = ()
        with open_current(self.logbook, write=True) as book:
            if files:
                reports = import_files(book, files).files
            if any(report.stored for report in reports):
                now = stages(book)
                new = sorted(key for key, logged in now.items() if self._complete.get(key) != logged)
                self._complete = now
                pages = [run_page(book, key) for key in new[-1:]]
        for path in ready:
            self._arrivals.done(path)
        by_name = {str(path): path for path in files}
        for report in reports:
            path = by_name[report.path]
            self.stored += report.stored
            if report.error is None:
                self._told.pop(path, None)
            if report.stored or (report.error is not None and self._told.get(path) != report.error):
                yield News(file=report)
            if report.error is not None:
                self._told[path] = report.error
        if len(ready) > len(files) or any(report.stored for report in reports):
            # what was refused may have waited for this: a log for its slip or its sidecar, a sheet for its car
            for path in self._told:
                if path not in files or len(ready) > len(files):
                    self._arrivals.again(path)
        yield from (News(page=page) for page in pages)
