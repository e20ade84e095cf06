"""Reading every original again and computing everything anew."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

from runlog.errors import LogbookError
from runlog.readers.keys import parse_run_key
from runlog.records import Given
from runlog.store import crew, facts, originals, proposals, results
from runlog.workflows.intake import parsing
from runlog.workflows.intake.parts import split
from runlog.workflows.intake.saving import save
from runlog.workflows.results import derive

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Executor

    from runlog.store.connection import Logbook


def rebuild(book: Logbook, progress: Callable[[str], None] | None = None, executor: Executor | None = None) -> int:
    """Read all originals again in the order they came and compute all results; return the number of entries.

    Facts are replaced in one transaction: when an original can't be read, the logbook stays as it was.
    """
    entries = originals.entries(book)
    known = parsing.Known()
    with book.transaction():
        facts.drop_all(book)
        proposals.drop_all(book)
        crew.drop_all(book)
        results.drop_all(book)
        for entry in entries:
            if progress:
                progress(entry.name)
            if "map" in entry.given:
                # it was named for this file, so it goes before maps that came later
                content = originals.fetch(book, entry.given["map"])
                known.learn(parsing.parse("map", content, "map", Given(), known), None)
            run = parse_run_key(entry.run) if entry.run else None
            parsed = parsing.parse(entry.kind, originals.fetch(book, entry.sha256), entry.name, _given(entry), known)
            if isinstance(parsed, parsing.Log) and "part" in entry.given:
                parsed = _part(parsed, entry)
            known.learn(parsed, run)
            save(book, entry.number, parsed, run)
    derive.refresh(book, progress, executor)
    return len(entries)


def _part(log: parsing.Log, entry: originals.Entry) -> parsing.Log:
    """Return the part of a logger file that the entry holds."""
    part = next((part for part in split(log.recordings) if part.number == entry.given["part"]), None)
    if part is None:
        raise LogbookError(f"{entry.name}: part {entry.given['part']} is no longer found in it")
    return dataclasses.replace(log, file=part.log)


def _given(entry: originals.Entry) -> Given:
    said = {name: value for name, value in entry.given.items() if name != "map"}
    run: Any = said.get("run")
    return Given(**{**said, "run": parse_run_key(run) if run else None})
