"""Keeping what the crew types or ticks: its text is the original, read back like any file."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from runlog.readers.crew import read_crew, write_crew
from runlog.records import Given
from runlog.workflows.intake.ingest import add_typed

if TYPE_CHECKING:
    from runlog.records import CrewFact
    from runlog.store.connection import Logbook


def say(book: Logbook, name: str, *said: dict[str, Any]) -> tuple[CrewFact, ...]:
    """Keep what was said, all of it or nothing, and compute what it changes.

    ``said`` have the keys of their model in ``readers.crew``; ``at`` is the present where it isn't told. ``name`` is
    what the entry is called in the history. ``FileFaults`` with every fault.
    """
    now = dt.datetime.now().isoformat(timespec="milliseconds")
    content = write_crew(*({"at": now, **item} for item in said))
    add_typed(book, "crew", content, name, Given())
    return read_crew(content, name)
