"""What an entry speaks of: things by name, and what it says of each in a form that is alike where the same is said.

    car NAME · track NAME · map HEADER · slip KEY · sheet CAR[/DATE/RUN] ITEM · full sheet CAR[/DATE/RUN]
    air TIME[ TRACK] · trace KEY · plan CAR/DATE · forecast KEY … · crew WHAT CAR/DATE[/RUN] …

Where two entries say different things of the same thing, the later one holds; of what the crew says and of forecasts
each stands for itself.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from typing import TYPE_CHECKING, Any

from runlog.readers.keys import parse_date, parse_run_key
from runlog.records import Car, RunKey, Track
from runlog.workflows.intake.parsing import AirTable, Log, MapText, Proposed, Said, Sheets, Slips

if TYPE_CHECKING:
    from runlog.records import AirReading, Sheet, SheetEntry
    from runlog.store.originals import Entry
    from runlog.workflows.intake.parsing import Parsed


def spoken(parsed: Parsed, entry: Entry, run: RunKey | None = None) -> list[tuple[str, str]]:
    """Return (thing, what is said of it) for everything that an entry told."""
    match parsed:
        case Track() | Car():
            kind = "track" if isinstance(parsed, Track) else "car"
            return [(f"{kind} {parsed.name}", _json(dataclasses.asdict(parsed)))]
        case Slips():
            return [(f"slip {slip.key}", _json(_plain(slip))) for slip in parsed.slips]
        case Sheets():
            return [pair for sheet in parsed.sheets for pair in _sheet(sheet)]
        case AirTable():
            return [(_air(track, reading), _json(_plain(reading))) for track, reading in parsed.readings]
        case MapText():
            content = parsed.content.decode("utf-8-sig")
            return [(f"map {parsed.fingerprint}", _json({"content": content}))] if parsed.fingerprint else []
        case Log():
            return [trace_spoken(entry, run)] if run else []
        case Said():
            return [(_crew(fact), _json(dict(fact.content))) for fact in parsed.facts]
        case Proposed() if parsed.kind == "plan":
            return [(f"plan {parsed.key.car}/{parsed.key.date}", _json({"sha256": entry.sha256}))]
        case Proposed():
            return [(f"forecast {parsed.key} {entry.identity[:12]}", _json({"sha256": entry.sha256}))]
        case _:
            return []


def trace_spoken(entry: Entry, run: RunKey) -> tuple[str, str]:
    """Return what a logger file's entry speaks of; the file needn't be read for that."""
    return f"trace {run}", _json({"sha256": entry.sha256, "part": entry.given.get("part")})


def only(parsed: Parsed, things: set[str]) -> Parsed | None:
    """Return of what an entry told only what is said of these things; None where that is nothing.

    Of cars, tracks, traces and the like an entry tells one, and is returned as it is.
    """
    match parsed:
        case Slips():
            kept = tuple(slip for slip in parsed.slips if f"slip {slip.key}" in things)
            return Slips(kept) if kept else None
        case Sheets():
            sheets = tuple(part for sheet in parsed.sheets if (part := _only_lines(sheet, things)) is not None)
            return Sheets(sheets) if sheets else None
        case AirTable():
            readings = tuple((track, air) for track, air in parsed.readings if _air(track, air) in things)
            return AirTable(readings) if readings else None
        case _:
            return parsed


def parse_thing(thing: str) -> tuple[str, str, dt.date | None, RunKey | None]:
    """Return (kind, car, date, run) that a thing is about; the car empty, date and run None where it isn't of any."""
    kind, _, rest = thing.removeprefix("full ").partition(" ")
    if kind in ("track", "map"):
        return kind, "", None, None
    if kind == "air":
        return kind, "", parse_date(rest[:10]), None
    if kind == "crew":
        rest = rest.partition(" ")[2]
    where = rest.partition(" ")[0]
    run = parse_run_key(where)
    car, _, day = where.partition("/")
    return kind, car, run.date if run else parse_date(day), run


def _only_lines(sheet: Sheet, things: set[str]) -> Sheet | None:
    if sheet.full:
        return sheet if _place(sheet) in things else None
    lines = tuple(line for line in sheet.entries if f"{_place(sheet)} {line.item}" in things)
    return dataclasses.replace(sheet, entries=lines) if lines else None


def _sheet(sheet: Sheet) -> list[tuple[str, str]]:
    if sheet.full:
        return [(_place(sheet), _json({line.item: _line(line) for line in sheet.entries}))]
    return [(f"{_place(sheet)} {line.item}", _json({line.item: _line(line)})) for line in sheet.entries]


def _place(sheet: Sheet) -> str:
    where = sheet.car if sheet.date is None else str(RunKey(sheet.car, sheet.date, sheet.number))
    return f"{'full sheet' if sheet.full else 'sheet'} {where}"


def _line(line: SheetEntry) -> str:
    return f"{line.text} {line.unit}".strip()


def _air(track: str | None, reading: AirReading) -> str:
    return f"air {reading.time.isoformat()}{f' {track}' if track else ''}"


def _crew(fact: Any) -> str:
    number = "" if fact.number is None else f"/{fact.number}"
    return f"crew {fact.what} {fact.car}/{fact.date}{number} {fact.id}"


def _plain(record: Any) -> dict[str, Any]:
    # what a file was called isn't what it says
    kept = {name: value for name, value in dataclasses.asdict(record).items() if name not in ("key", "source")}
    return {name: value for name, value in kept.items() if value not in (None, {})}


def _json(content: dict[str, Any]) -> str:
    return json.dumps(content, ensure_ascii=False, sort_keys=True, default=str)
