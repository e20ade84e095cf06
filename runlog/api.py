"""The logbook from Python: ``import runlog; book = runlog.open("marsh.duckdb")``; every answer is a polars frame.

Numbers are SI with the unit in the column's name, except for distances along the track, which keep the names of the
trade (``60``, ``330`` … feet). A column without a unit is a count, a share from 0 to 1, or a text.

>>> import runlog
>>> with runlog.open("marsh.duckdb") as book:  # doctest: +SKIP
...     book.runs("heron").filter(pl.col("clean")).select("key", "t60_s", "corrected_t1320_s")
...     book.effects("heron").filter(pl.col("verdict") == "helped")
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from runlog.errors import NotFound, RunlogError, UsageError

if TYPE_CHECKING:
    import datetime as dt
    from types import TracebackType

    import polars as pl

    from runlog.records import RunKey
    from runlog.store.connection import Logbook
    from runlog.workflows.intake.ingest import ImportReport

__all__ = ["Book", "NotFound", "RunlogError", "UsageError", "open"]


class Book:
    """An open logbook; use ``open`` to get one. Close it, or use it as a context manager.

    A ``day`` is a date or its ISO text; a ``run`` is named as on the command line: ``heron/2031-04-12/3``,
    ``heron/latest``, or a bare number of the newest day. What is named and isn't there is a ``NotFound``.
    """

    def __init__(self, book: Logbook) -> None:
        self._book = book

    @property
    def path(self) -> Path:
        """Where the logbook is."""
        return self._book.path

    def cars(self) -> list[str]:
        """Return the cars that have a car file or a run, in order of name."""
        from runlog.store import results

        return sorted({key.car for key in results.run_keys(self._book)} | set(results.cars_with_file(self._book)))

    def runs(self, car: str | None = None, day: dt.date | str | None = None) -> pl.DataFrame:
        """Return one row a run: ``key``, what it was, slip times ``t60_s`` … and trap speeds ``v660_m_s`` …, the same
        ``corrected_…`` to the reference air, the splits by the trace, and the air of the run.
        """
        return self._table("runs", car, day)

    def splits(self, car: str | None = None, day: dt.date | str | None = None) -> pl.DataFrame:
        """Return one row a run and beam: ``distance_ft``, ``measured_s``, ``corrected_s``, ``trace_s``."""
        return self._table("splits", car, day)

    def increments(self, car: str | None = None, day: dt.date | str | None = None) -> pl.DataFrame:
        """Return one row a run and stretch: ``from_ft``, ``to_ft``, ``measured_s``, ``corrected_s``."""
        return self._table("increments", car, day)

    def setups(self, car: str | None = None, day: dt.date | str | None = None) -> pl.DataFrame:
        """Return one row a run and item in force: ``item``, ``value`` in ``unit``, ``text`` as the crew says it."""
        return self._table("setups", car, day)

    def air(self, day: dt.date | str | None = None) -> pl.DataFrame:
        """Return the air readings: local ``time``, ``temperature_k``, ``relative_humidity`` (0 to 1),
        ``station_pressure_pa``, wind, ``track_temperature_k``, and where the pressure comes from.
        """
        return self._table("air", None, day)

    def crew(self, car: str | None = None, day: dt.date | str | None = None) -> pl.DataFrame:
        """Return what the crew said, one row each: ``what``, when and by whom, ``content`` as JSON."""
        return self._table("crew", car, day)

    def traces(self, run: str | None = None, channels: list[str] | None = None) -> pl.DataFrame:
        """Return the log of a run (the newest without a word), one row a sample: ``channel`` as the logger named it,
        ``canonical`` name, ``time_s`` of the log, ``value`` in ``unit`` (SI; null where the log's own isn't known).
        ``channels`` are names of either sort.
        """
        from runlog.workflows.tables import table

        frame = table(self._book, "traces", run=self._run(run))
        if channels is None:
            return frame
        known = set(frame["channel"]) | set(frame["canonical"].drop_nulls())
        if missing := [name for name in channels if name not in known]:
            raise NotFound(f"no channel {', '.join(missing)}; there are: {', '.join(sorted(known))}")
        return frame.filter(
            frame["channel"].is_in(channels) | frame["canonical"].is_in(channels).fill_null(value=False)
        )

    def effects(self, car: str | None = None) -> pl.DataFrame:
        """Return what each adjustable does, one row for each stretch of the track: ``mean_s`` of one usual step up with
        its 50 and 90 % intervals, ``probability_helps``, ``verdict``; ``made_…`` for the change really made. A negative
        effect is quicker; elapsed time is ``from_ft`` 0 to the finish.
        """
        from runlog.workflows.find import find_car
        from runlog.workflows.lessons.page import effects_page
        from runlog.workflows.tables import effects_table

        return effects_table(effects_page(self._book, find_car(self._book, car)))

    def page(self, run: str | None = None) -> dict[str, Any]:
        """Return the page of a run as ``runlog show --json`` prints it."""
        from runlog.workflows.runs.page import run_page

        return run_page(self._book, self._run(run))

    def read(self, *paths: str | Path) -> ImportReport:
        """Read files and folders into the logbook, as ``runlog import`` does; it has to be open for writing.

        A file that is refused doesn't keep others from being stored: look at the report's ``files``.
        """
        from runlog.workflows.intake.ingest import import_files

        if self._book.read_only:
            raise UsageError('the logbook is open for reading: use runlog.open(path, mode="write")')
        return import_files(self._book, [Path(path) for path in paths])

    def close(self) -> None:
        """Let go of the file."""
        self._book.close()

    def __enter__(self) -> Book:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"runlog.open({str(self.path)!r})"

    def _run(self, run: str | None) -> RunKey:
        from runlog.workflows.find import find_run

        return find_run(self._book, run)

    def _table(self, name: str, car: str | None, day: dt.date | str | None) -> pl.DataFrame:
        from runlog.readers.keys import parse_date
        from runlog.workflows.find import find_car
        from runlog.workflows.tables import table

        date = parse_date(day) if isinstance(day, str) else day
        if day is not None and date is None:
            raise UsageError(f"{day!r} is not a date; accepted: a date such as 2031-04-12")
        return table(self._book, name, None if car is None else find_car(self._book, car), date)


def open(path: str | Path, mode: str = "read") -> Book:
    """Open a logbook for reading; with ``mode="write"`` also for ``Book.read``.

    Another program that wants to write waits until the book is closed. Raises ``NotFound`` where there is no logbook,
    ``LogbookError`` where it is held by another program or isn't one.
    """
    from runlog.workflows.opening import open_current

    if mode not in ("read", "write"):
        raise UsageError(f"mode: found {mode!r}; accepted: read, write")
    return Book(open_current(Path(path), write=mode == "write"))
