"""Reading a file of any kind into records, with what the logbook knows already."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass, field
from pathlib import PurePath
from typing import TYPE_CHECKING

from runlog.problems import FileFaults, Problem
from runlog.readers import detect
from runlog.readers.keys import parse_run_key
from runlog.readers.packed import unpack
from runlog.records import AirReading, Car, Choice, CrewFact, Given, LoggerFile, Sheet, Slip, Track, Withdrawal
from runlog.store import facts, traces

if TYPE_CHECKING:
    import datetime as dt

    from runlog.readers.channel_map import ChannelMap
    from runlog.readers.explain import Explanation
    from runlog.records import RunKey
    from runlog.store.connection import Logbook


@dataclass(frozen=True)
class MapText:
    """A channel map as the user wrote it; ``fingerprint`` of the header it was used for, empty before that."""

    name: str
    content: bytes
    fingerprint: str = ""


@dataclass(frozen=True)
class Log:
    """A recording, and the channel map that settled it, if one did."""

    file: LoggerFile
    channel_map: MapText | None
    recordings: tuple[LoggerFile, ...] = ()
    """all recordings of the file as its reader tells them apart; ``file`` is the first of them, or a part of one"""
    name: str = ""
    """of the file, or of what is packed in it"""


@dataclass(frozen=True)
class AirTable:
    """Air readings, each with the track that it was stated for."""

    readings: tuple[tuple[str | None, AirReading], ...]


@dataclass(frozen=True)
class Slips:
    """Timing slips."""

    slips: tuple[Slip, ...]


@dataclass(frozen=True)
class Sheets:
    """Setup sheets."""

    sheets: tuple[Sheet, ...]


@dataclass(frozen=True)
class Proposed:
    """A forecast or an accepted plan: ``kind``, the run that it is for or begins with, and its text."""

    kind: str
    key: RunKey
    text: str


@dataclass(frozen=True)
class Said:
    """What the crew said."""

    facts: tuple[CrewFact, ...]


Parsed = Said | Track | Car | Slips | Sheets | AirTable | Log | MapText | Proposed | Withdrawal | Choice


@dataclass
class Known:
    """What a file may need of the logbook and of files read before it; a dry run keeps it only here."""

    cars: dict[str, Car] = field(default_factory=dict)
    tracks: dict[str, Track] = field(default_factory=dict)
    times: dict[RunKey, dt.time | None] = field(default_factory=dict)
    logged: set[RunKey] = field(default_factory=set)
    maps: list[MapText] = field(default_factory=list)

    def learn(self, parsed: Parsed, run: RunKey | None) -> None:
        """Add what a file told."""
        match parsed:
            case Car():
                self.cars[parsed.name] = parsed
            case Track():
                self.tracks[parsed.name] = parsed
            case Slips():
                self.times |= {slip.key: slip.time for slip in parsed.slips}
            case MapText():
                self.maps.insert(0, parsed)
            case Log():
                if run is not None:
                    self.logged.add(run)
                    self.times.setdefault(run, None)
                if parsed.channel_map is not None:
                    self.maps.insert(0, parsed.channel_map)
            case _:
                pass


def gather(book: Logbook) -> Known:
    """Return what the logbook knows."""
    return Known(
        facts.cars(book),
        facts.tracks(book),
        facts.slip_times(book),
        traces.runs_with_trace(book),
        [MapText(name, content.encode(), fingerprint) for name, content, fingerprint in facts.channel_maps(book)],
    )


def parse(kind: str, content: bytes, name: str, given: Given, known: Known) -> Parsed:
    """Read a file, compressed or not; ``FileFaults`` with every fault when it is refused.

    Readers are imported as they are needed.
    """
    opened = unpack(content, name)
    content, name = opened.content, opened.name
    match kind:
        case "car":
            from runlog.readers.car import read_car

            return read_car(content, name)
        case "track":
            from runlog.readers.track import read_track

            return read_track(content, name)
        case "sheet":
            from runlog.readers.sheet import read_sheets

            return Sheets(read_sheets(content, name, known.cars, given))
        case "slips":
            from runlog.readers.slip import read_slips

            return Slips(read_slips(content, name, given))
        case "air":
            return _air(content, name, given, known)
        case "map":
            from runlog.readers.channel_map import read_channel_map

            # where the file lay is no part of what it says
            return MapText(PurePath(name).name, content, read_channel_map(content, name).fingerprint)
        case "crew":
            from runlog.readers.crew import read_crew

            return Said(read_crew(content, name))
        case "undo":
            from runlog.readers.acts import read_withdrawal

            return read_withdrawal(content, name)
        case "settle":
            from runlog.readers.acts import read_choice

            return read_choice(content, name)
        case "forecast" | "plan":
            return _proposed(kind, content, name)
        case "logger":
            return _logger(content, name, given, known)
        case _:
            raise FileFaults([Problem(name, "", f"the kind {kind[:40]!r}", f"one of {', '.join(detect.KINDS)}")])


def _proposed(kind: str, content: bytes, name: str) -> Proposed:
    """Read back what this program wrote: JSON that names its run. From another laptop it may be anything."""
    try:
        text = content.decode("utf-8")
        found = json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError):
        text, found = "", None
    key = parse_run_key(str(found.get("run"))) if isinstance(found, dict) else None
    if key is None:
        raise FileFaults([Problem(name, "run", "no JSON object with a run key", f"a {kind} as runlog wrote it")])
    return Proposed(kind, key, text)


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number of JSON")


def _air(content: bytes, name: str, given: Given, known: Known) -> AirTable:
    from runlog.readers.air import read_air

    track = known.tracks.get(given.track) if given.track else None
    if given.elevation is None and track is not None:
        given = dataclasses.replace(given, elevation=track.elevation)
    return AirTable(read_air(content, name, given))


def _logger(content: bytes, name: str, given: Given, known: Known) -> Log:
    """Read a logger file with the map remembered for its header, else one that names any of its columns."""
    from runlog.readers.channel_map import read_channel_map
    from runlog.readers.logger import read_recordings

    maps = [(text, read_channel_map(text.content, text.name)) for text in known.maps]
    try:
        found = read_recordings(content, name, None, given.rate_hz, given.day_first, given.missing_words)
    except FileFaults:
        # perhaps only a map tells the time base: try each before giving up
        for text, channel_map in maps:
            try:
                found = read_recordings(content, name, channel_map, given.rate_hz, given.day_first, given.missing_words)
            except FileFaults:
                continue
            return _settled(found, text, name)
        raise
    chosen = next((item for item in maps if _fits(*item, found[0])), None)
    if chosen is None or chosen[1].is_empty:
        return Log(found[0], None, found, name)
    text, channel_map = chosen
    return _settled(
        read_recordings(content, name, channel_map, given.rate_hz, given.day_first, given.missing_words), text, name
    )


def explain(content: bytes, name: str, given: Given, known: Known) -> Explanation:
    """Return how a logger file is understood, with the map that settles it if one does."""
    from runlog.readers import explain as explaining
    from runlog.readers.channel_map import read_channel_map

    channel_map = None
    try:
        parsed = parse("logger", content, name, given, known)
    except FileFaults:
        pass
    else:
        if isinstance(parsed, Log) and parsed.channel_map is not None:
            channel_map = read_channel_map(parsed.channel_map.content, parsed.channel_map.name)
    return explaining.explain(content, name, channel_map, given.rate_hz, given.day_first, given.missing_words)


def _settled(found: tuple[LoggerFile, ...], text: MapText, name: str) -> Log:
    return Log(found[0], dataclasses.replace(text, fingerprint=found[0].fingerprint), found, name)


def _fits(text: MapText, channel_map: ChannelMap, log: LoggerFile) -> bool:
    """Tell whether a map is remembered for this header, or is still free and names one of its columns."""
    if text.fingerprint:
        return text.fingerprint == log.fingerprint
    return any(channel_map.rule_for(channel.name) is not None for channel in log.channels)
