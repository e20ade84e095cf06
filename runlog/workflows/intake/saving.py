"""Writing what a file told, and noting which results it makes out of date."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from runlog.records import Car, Track
from runlog.store import crew, facts, proposals, results, traces
from runlog.workflows.intake.parsing import AirTable, Log, MapText, Proposed, Said, Sheets, Slips

if TYPE_CHECKING:
    from runlog.records import RunKey
    from runlog.store.connection import Logbook
    from runlog.workflows.intake.parsing import Parsed

MOVES_RESULTS: Final = frozenset({"combination"})
"""what the crew says that changes computed figures; the rest is only read by pages"""


def save(book: Logbook, entry: int, parsed: Parsed, run: RunKey | None = None) -> None:
    """Write the facts of one entry. To be called inside the transaction that keeps its original."""
    match parsed:
        case Track():
            facts.save_track(book, entry, parsed)
            results.forget_findings(book)
            results.mark_stale(book)
        case Car():
            facts.save_car(book, entry, parsed)
            results.forget_findings(book, parsed.name)
            results.mark_stale(book, parsed.name)
        case Slips():
            facts.save_slips(book, entry, parsed.slips)
            results.forget_findings(book, keys=[slip.key for slip in parsed.slips])
            for car in {slip.key.car for slip in parsed.slips}:
                results.mark_stale(book, car)
        case Sheets():
            facts.save_sheets(book, entry, parsed.sheets)
            for car in {sheet.car for sheet in parsed.sheets}:
                results.mark_stale(book, car)
        case AirTable():
            facts.save_air(book, entry, parsed.readings)
            for car in facts.cars_on(book, {reading.time.date() for _, reading in parsed.readings}):
                results.mark_stale(book, car)
        case MapText():
            facts.save_channel_map(book, entry, parsed.name, parsed.content.decode("utf-8-sig"), parsed.fingerprint)
        case Log():
            if run is None:
                raise ValueError("a logger file needs its run")
            traces.save_trace(book, entry, run, parsed.file)
            if parsed.channel_map is not None:
                text = parsed.channel_map
                facts.save_channel_map(book, entry, text.name, text.content.decode("utf-8-sig"), text.fingerprint)
            results.mark_stale(book, run.car, run.date, run.number, trace_only=True)
        case Said():
            crew.save(book, entry, parsed.facts)
            for car in {fact.car for fact in parsed.facts if fact.what in MOVES_RESULTS}:
                results.mark_stale(book, car)
        case Proposed():
            proposals.save(book, parsed.kind, entry, parsed.key, parsed.text)
