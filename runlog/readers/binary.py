"""Recordings in formats that are not text: Parquet, and ASAM MDF 4 where its library is installed."""

from __future__ import annotations

import contextlib
import datetime as dt
import gc
import io
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import polars as pl
from polars.exceptions import PolarsError

from runlog.readers.cells import Kind, kind_of
from runlog.readers.columns import Block, Column, add_times, add_words
from runlog.readers.headers import Heading, read_heading, unique_names
from runlog.readers.lines import Layout
from runlog.readers.preamble import Preamble
from runlog.readers.recording import Opened, table_of
from runlog.readers.time_base import Timeline
from runlog.readers.timing import Timing

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from runlog.problems import Problems

_MOST_CELLS: Final = 1 << 28
"""A packed column of one value repeated takes no room; this many cells take 2 GB."""
_LOOK: Final = 20
_DAY_US: Final = 86_400_000_000


def form_of(content: bytes) -> str:
    """Return the format by its first bytes: ``parquet``, ``mdf``, or empty."""
    return "parquet" if content.startswith(b"PAR1") else "mdf" if content.startswith(b"MDF     ") else ""


def open_parquet(content: bytes, problems: Problems) -> Opened:
    """Read the columns of a Parquet file; faults go to ``problems`` and are raised."""
    accepted, remedy = "a Parquet file with a column for the time and one for each channel", "Export it again."
    frame = pl.DataFrame()
    try:
        names = pl.read_parquet_schema(io.BytesIO(content))
        rows = pl.scan_parquet(io.BytesIO(content)).select(pl.len()).collect().item()
        if rows * len(names) > _MOST_CELLS:
            problems.add("", f"{rows:,} rows of {len(names)} columns", f"at most {_MOST_CELLS:,} cells")
        else:
            frame = pl.read_parquet(io.BytesIO(content))
    except (PolarsError, OSError) as error:
        problems.add("", f"a Parquet file that can't be read ({str(error).splitlines()[0]})", accepted, remedy)
    if not problems.found and not frame.height:
        problems.add("", "a Parquet file without rows", accepted, remedy)
    problems.raise_if_any()
    columns = [_column(series) for series in frame.iter_columns()]
    headings = _headings([(name, "s" if frame.schema[name] == pl.Duration else "") for name in frame.columns])
    return _opened(headings, columns, frame.height)


def _column(series: pl.Series) -> Column:
    kind = series.dtype
    if kind.is_numeric() or kind == pl.Boolean:
        return _numbers(series.cast(pl.Float64, strict=False).to_numpy(), series.null_count())
    if isinstance(kind, pl.Duration):
        return _numbers(series.dt.total_microseconds().cast(pl.Float64).to_numpy() / 1e6, series.null_count())
    if isinstance(kind, (pl.Datetime, pl.Date)):
        return _moments(series)
    if kind == pl.Time:
        seconds = series.cast(pl.Int64).cast(pl.Float64).to_numpy() / 1e9
        return Column(Kind.CLOCK, values=seconds, empty=series.null_count())
    column = Column(Kind.WORDS)
    if series.dtype in (pl.String, pl.Categorical, pl.Enum):
        series = series.cast(pl.String)
        seen = [kind_of(text.strip(), ".") for text in series.drop_nulls().head(_LOOK)]
        column.kind = max(set(seen), key=seen.count, default=Kind.GAP)
        if column.kind in (Kind.CLOCK, Kind.DATE, Kind.DATE_TIME):
            add_times(column, series, 0)
        else:
            add_words(column, series, 0, ".")
        return column
    # lists and records are no samples
    column.values = np.full(len(series), np.nan)
    column.odd = len(series)
    return column


def _numbers(values: NDArray[np.float64], empty: int) -> Column:
    return Column(Kind.NUMBER, values=values, empty=empty)


def _moments(series: pl.Series) -> Column:
    """Take dates and date-times apart into days and seconds of the day; a zone's figures are its local ones."""
    zone = getattr(series.dtype, "time_zone", None)
    if zone:
        series = series.dt.replace_time_zone(None)
    kind = Kind.DATE if series.dtype == pl.Date else Kind.DATE_TIME
    micros = series.cast(pl.Datetime("us")).cast(pl.Int64)
    column = Column(
        kind,
        values=(micros % _DAY_US).cast(pl.Float64).to_numpy() / 1e6,
        days=(micros // _DAY_US).cast(pl.Float64).to_numpy(),
        empty=series.null_count(),
    )
    first = series.drop_nulls().head(1)
    column.first_text = f"{first[0].isoformat()}{'Z' if zone == 'UTC' else ''}" if len(first) else ""
    return column


def open_mdf(content: bytes, problems: Problems) -> Opened:
    """Read the channel groups of an ASAM MDF file, each on its own times; faults go to ``problems`` and are raised."""
    try:
        from asammdf import MDF as File  # noqa: N811 - the library's name says nothing here
    except ImportError:
        remedy = "Install what reads it with: pip install 'runlog[mdf]', or export the recording as CSV."
        problems.add("", "an ASAM MDF file, and nothing that reads it is installed", "CSV or Parquet", remedy)
        problems.raise_if_any()
        raise
    groups: list[_Group] = []
    started_at, failure = None, ""
    with _without_complaints_of_destructors():
        try:
            with File(io.BytesIO(content)) as file:
                started_at = _start(file)
                groups = list(_groups(file))
        except Exception as error:  # what a broken file makes the library raise is anything
            failure = f"{type(error).__name__}: {str(error)[:80]}"
    if failure:
        what = f"an ASAM MDF file that can't be read ({failure})"
        problems.add("", what, "a whole ASAM MDF file", "Export it again.")
    if not problems.found and not groups:
        problems.add("", "an ASAM MDF file without samples", "at least one channel group with times and numbers")
    problems.raise_if_any()
    return _with_groups(groups, started_at)


@contextlib.contextmanager
def _without_complaints_of_destructors() -> Iterator[None]:
    """A file that breaks while the library opens it leaves an object whose destructor fails, onto stderr."""
    hook = sys.unraisablehook
    sys.unraisablehook = lambda _: None
    try:
        yield
        gc.collect()
    finally:
        sys.unraisablehook = hook


@dataclass(frozen=True)
class _Group:
    """Channels on one time base: (name, unit, values), and the names of those that aren't numbers."""

    seconds: NDArray[np.float64]
    channels: tuple[tuple[str, str, NDArray[np.float64]], ...]


def _groups(file: Any) -> Iterator[_Group]:
    for index, group in enumerate(file.groups):
        seconds = np.asarray(file.get_master(index), dtype=np.float64)
        master = file.masters_db.get(index)
        channels = []
        for place in range(len(group.channels)):
            signal = file.get(group=index, index=place) if place != master else None
            if signal is not None and signal.samples.dtype.kind not in "biuf":
                signal = file.get(group=index, index=place, raw=True)  # a state with a text keeps its number
            if signal is None or signal.samples.dtype.kind not in "biuf" or signal.samples.ndim != 1:
                continue
            values = signal.samples.astype(np.float64)
            channels.append((str(signal.name), str(signal.unit or ""), values))
        if seconds.size and channels:
            yield _Group(seconds, tuple(channels))


def _start(file: Any) -> dt.datetime | None:
    """Return the local start; None where the file tells it in universal time alone."""
    start = file.header.start_time
    # ASAM MDF 4, header block: flag 1, the time is local; flag 2, the offsets to local time are given
    if not file.header.time_flags & 3:
        return None
    return start.replace(tzinfo=None) if isinstance(start, dt.datetime) else None


def _with_groups(groups: Sequence[_Group], started_at: dt.datetime | None) -> Opened:
    written: list[tuple[str, str]] = []
    columns: list[Column] = []
    timelines, owner, used = [], [], set()
    for number, group in enumerate(groups):
        place = len(columns)
        used.add(place)
        timelines.append(Timeline(place, "s", group.seconds))
        written.append(("time", "s"))
        columns.append(_numbers(group.seconds, 0))
        for name, unit, values in group.channels:
            written.append((name, unit))
            columns.append(_numbers(values, 0))
        owner += [number] * (len(columns) - place)
    timing = Timing(tuple(timelines), tuple(owner), frozenset(used), started_at, ())
    rows = max(group.seconds.size for group in groups)
    return _opened(_headings(written), columns, rows, timing)


def _headings(written: Sequence[tuple[str, str]]) -> list[Heading]:
    headings = [read_heading(name, unit) for name, unit in written]
    names = unique_names([heading.name for heading in headings])
    return [Heading(name, heading.unit, heading.cell) for name, heading in zip(names, headings, strict=True)]


def _opened(headings: Sequence[Heading], columns: Sequence[Column], rows: int, timing: Timing | None = None) -> Opened:
    layout = Layout(
        delimiter="",
        decimal="",
        header_line=0,
        first_data_line=0,
        data_start=0,
        names=tuple(heading.cell for heading in headings),
        unit_row=("",) * len(headings),
        kinds=tuple(column.kind for column in columns),
        preamble=(),
        score=1.0,
    )
    block = Block(tuple(columns), rows, ())
    return Opened("", table_of(b"", layout, headings, block), block, Preamble(), timing)
