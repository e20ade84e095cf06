"""Logger exports of any format: delimited text, Parquet, ASAM MDF 4."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runlog.problems import Problems
from runlog.readers import binary
from runlog.readers.channel_map import ChannelMap
from runlog.readers.logger_csv import open_text
from runlog.readers.recording import Opened, recordings
from runlog.readers.timing import with_rate

if TYPE_CHECKING:
    from runlog.records import LoggerFile


def read_recordings(
    content: bytes,
    file: str,
    channel_map: ChannelMap | None = None,
    rate_hz: float | None = None,
    day_first: bool | None = None,
    missing: frozenset[str] = frozenset(),
) -> tuple[LoggerFile, ...]:
    """Read a logger export; more than one recording where its clock begins anew.

    ``rate_hz`` [Hz] gives the time where the file doesn't, ``day_first`` the order of dates that don't tell it, and
    ``missing`` words, in lower case, that stand for a missing sample. ``FileFaults`` with every fault when it can't be
    accepted.
    """
    problems = Problems(file)
    wish = with_rate(channel_map or ChannelMap(), rate_hz)
    return recordings(open_logger(content, problems, day_first, missing), wish, problems)


def open_logger(
    content: bytes, problems: Problems, day_first: bool | None = None, missing: frozenset[str] = frozenset()
) -> Opened:
    """Read the columns of a logger export; faults go to ``problems`` and are raised."""
    match binary.form_of(content):
        case "parquet":
            return binary.open_parquet(content, problems)
        case "mdf":
            return binary.open_mdf(content, problems)
    return open_text(content, problems, day_first, missing)
