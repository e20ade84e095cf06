"""Writing what an entry told, and noting what it speaks of and which results it makes out of date."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from runlog.records import Car, RunKey, Track
from runlog.store import crew, facts, history, originals, proposals, results, traces
from runlog.workflows.intake.parsing import AirTable, Log, MapText, Proposed, Said, Sheets, Slips
from runlog.workflows.intake.spoken import spoken
from runlog.workflows.questions.of_slip import LEAST_SAME, in_common

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import Slip
    from runlog.store.connection import Logbook
    from runlog.workflows.intake.parsing import Parsed

MOVES_RESULTS: Final = frozenset({"answer", "combination", "start_record"})
"""what the crew says that changes computed figures; the rest is only read by pages"""


def store(
    book: Logbook,
    content: bytes | originals.Packed,
    entry: originals.Entry,
    parsed: Parsed,
    run: RunKey | None = None,
) -> originals.Entry:
    """Keep an original as a new entry and write its facts; return the entry. To be called inside a transaction."""
    kept = originals.keep(book, content, entry)
    write(book, kept.number, parsed, run)
    mark(book, parsed, run)
    history.note(book, [(kept.number, thing, says) for thing, says in spoken(parsed, kept, run)])
    history.note_replaced(book, kept.number)
    return kept


def write(book: Logbook, entry: int, parsed: Parsed, run: RunKey | None = None) -> traces.StoredTrace | None:
    """Write the facts of one entry; return where its trace stands if it has one."""
    match parsed:
        case Track():
            facts.save_track(book, entry, parsed)
        case Car():
            facts.save_car(book, entry, parsed)
        case Slips():
            facts.save_slips(book, entry, parsed.slips)
        case Sheets():
            facts.save_sheets(book, entry, parsed.sheets)
        case AirTable():
            facts.save_air(book, entry, parsed.readings)
        case MapText():
            facts.save_channel_map(book, entry, parsed.name, parsed.content.decode("utf-8-sig"), parsed.fingerprint)
        case Log():
            if run is None:
                raise ValueError("a logger file needs its run")
            stored = traces.save_trace(book, entry, run, parsed.file)
            if parsed.channel_map is not None:
                write(book, entry, parsed.channel_map)
            return stored
        case Said():
            crew.save(book, entry, parsed.facts)
        case Proposed():
            proposals.save(book, parsed.kind, entry, parsed.key, parsed.text)
        case _:
            raise TypeError(f"{type(parsed).__name__} is about entries: only all facts together can follow it")
    return None


def mark(book: Logbook, parsed: Parsed, run: RunKey | None = None) -> None:
    """Note which results a new entry makes out of date."""
    match parsed:
        case Track():
            results.forget_findings(book)
            results.mark_stale(book)
        case Car():
            results.forget_findings(book, parsed.name)
            results.mark_stale(book, parsed.name)
        case Slips():
            results.forget_findings(book, keys=[slip.key for slip in parsed.slips])
            for car in {slip.key.car for slip in parsed.slips} | _of_the_same_figures(book, parsed.slips):
                results.mark_stale(book, car)
        case Sheets():
            for car in {sheet.car for sheet in parsed.sheets}:
                results.mark_stale(book, car)
        case AirTable():
            for car in facts.cars_near(book, {reading.time.date() for _, reading in parsed.readings}):
                results.mark_stale(book, car)
        case Log():
            if run is not None:
                results.mark_stale(book, run.car, run.date, run.number, trace_only=True)
        case Said():
            moving = [fact for fact in parsed.facts if fact.what in MOVES_RESULTS]
            # an answer may say in which unit a channel was logged, or whose slip calibrated a trace
            results.forget_findings(
                book,
                keys=[RunKey(f.car, f.date, f.number) for f in moving if f.what == "answer" and f.number is not None],
            )
            days = {fact.date for fact in moving if fact.what == "answer" and fact.number is None}
            for car in {fact.car for fact in moving} | facts.cars_near(book, days):
                results.mark_stale(book, car)
        case _:
            pass


def _of_the_same_figures(book: Logbook, slips: Sequence[Slip]) -> set[str]:
    """Return the other cars whose slips of these days have figures of the new ones, or had: they are asked about it."""
    dates = {slip.key.date for slip in slips}
    alike = {
        other.key.car
        for other in facts.slips_on(book, dates)
        for slip in slips
        if other.key.car != slip.key.car and other.key.date == slip.key.date and in_common(slip, other)[0] >= LEAST_SAME
    }
    return alike | results.cars_asked(book, dates, "lane-")
