"""Channel maps: written from a logger file, listed, shown, forgotten."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runlog.errors import NotFound, UsageError
from runlog.readers import detect
from runlog.readers.channel_map import KEEP, folded, read_channel_map
from runlog.readers.explain import explain
from runlog.readers.logger import read_recordings
from runlog.readers.packed import unpack
from runlog.records import Given
from runlog.store import facts, originals, traces
from runlog.workflows.intake import parsing
from runlog.workflows.intake.ingest import add_typed
from runlog.workflows.intake.reread import reread
from runlog.workflows.intake.saving import store
from runlog.workflows.results import derive

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from runlog.readers.explain import ChannelChoice
    from runlog.records import LoggerFile, RunKey
    from runlog.store.connection import Logbook


@dataclass(frozen=True)
class KnownMap:
    """A channel map of the logbook: the header it is remembered for (empty: the next file that has its columns)."""

    fingerprint: str
    name: str
    content: str
    columns: int
    """that it settles"""
    logs: int
    """stored with this header"""


def known_maps(book: Logbook) -> list[KnownMap]:
    """Return the maps in force, newest first: one for each header, and those not yet used for any."""
    counts = traces.logs_by_fingerprint(book)
    found: dict[tuple[str, str], KnownMap | None] = {}
    for name, content, fingerprint in facts.channel_maps(book):
        if (fingerprint or name, fingerprint) in found:
            continue
        channel_map = read_channel_map(content.encode(), name)
        entry = KnownMap(fingerprint, name, content, len(channel_map.rules), counts.get(fingerprint, 0))
        # an empty map is what forgetting leaves
        found[fingerprint or name, fingerprint] = None if channel_map.is_empty else entry
    used = {entry.content for entry in found.values() if entry is not None and entry.fingerprint}
    return [entry for entry in found.values() if entry is not None and (entry.fingerprint or entry.content not in used)]


def find_map(book: Logbook, text: str) -> KnownMap:
    """Return the map that the beginning of a fingerprint, or a name, means."""
    maps = known_maps(book)
    fitting = [item for item in maps if item.fingerprint.startswith(text.lower())] or [
        item for item in maps if item.name == text
    ]
    if not text or not fitting:
        there = ", ".join(item.fingerprint[:12] or item.name for item in maps) or "none"
        raise NotFound(f"no channel map {text!r} in the logbook; there are: {there}")
    if len(fitting) > 1:
        names = ", ".join(item.fingerprint for item in fitting)
        raise UsageError(f"{text!r} fits several channel maps: {names}; give more of one")
    return fitting[0]


def forget_map(book: Logbook, text: str) -> KnownMap:
    """Put an empty map in the place of one; what was stored with it stays as it is. Returns the map forgotten."""
    found = find_map(book, text)
    if not found.fingerprint:
        raise UsageError(f"{found.name!r} isn't remembered for any header yet, so there is nothing to forget")
    content = f'# The map for this header was forgotten.\nfingerprint = "{found.fingerprint}"\n'
    add_typed(book, "map", content.encode(), f"forget {found.fingerprint[:12]}", Given())
    return found


def settle_columns(book: Logbook, header: str, columns: Mapping[str, str], name: str) -> list[RunKey]:
    """Say in the channel map for a header what columns are, and read the logs with it again; return their runs.

    ``columns``: canonical channels, or ``keep``, by the names of columns. What the map said beside that stays.
    """
    known = parsing.gather(book)
    before = next((text for text in known.maps if text.fingerprint == header), None)
    content = _with_columns(before.content if before else b"", header, columns).encode()
    parsed = parsing.parse("map", content, name, Given(), known)
    if not isinstance(parsed, parsing.MapText):
        raise TypeError("a channel map was read as something else")
    known.learn(parsed, None)
    with book.transaction():
        store(book, content, originals.Entry(0, "map", originals.digest(content), parsed.name, {}, None), parsed)
        runs = reread(book, parsed, known)
    derive.refresh(book)
    return runs


def _with_columns(before: bytes, header: str, columns: Mapping[str, str]) -> str:
    """Return a channel map with further rules; no channel is left to a column that it isn't any more."""
    table = tomllib.loads(before.decode("utf-8-sig"))
    given = set(columns.values()) - {KEEP}
    rules = {
        column: {"channel": rule} if isinstance(rule, str) else dict(rule)
        for column, rule in table.get("channels", {}).items()
    }
    for rule in rules.values():
        if rule.get("channel") in given:
            del rule["channel"]
    for column, channel in columns.items():
        own = next((old for old in rules if folded(old) == folded(column)), column)
        rules[own] = {**rules.get(own, {}), "channel": channel}
    lines = ["# Written by answers about which column is which.", f'fingerprint = "{header}"', ""]
    if table.get("time"):
        lines += ["[time]", *(f"{word} = {_value(value)}" for word, value in table["time"].items()), ""]
    lines.append("[channels]")
    for column, rule in rules.items():
        if rule:
            inside = ", ".join(f"{word} = {_value(value)}" for word, value in rule.items())
            lines.append(f"{_text(column)} = {{ {inside} }}")
    return "\n".join(lines) + "\n"


def _value(value: object) -> str:
    """Return a plain value as TOML; JSON writes text, numbers and truth as TOML does."""
    return _text(value) if isinstance(value, str) else json.dumps(value)


def written_map(path: Path, rate_hz: float | None = None) -> str:
    """Return a channel map (TOML) filled in with what is understood of a logger file, with comments.

    ``FileFaults`` when the file can't be read.
    """
    if not path.is_file():
        raise NotFound(f"{path}: no such file")
    content = path.read_bytes()
    kind = detect.kind_of(content, path.name)
    if kind != "logger":
        raise UsageError(f"{path} is not a logger file but {kind or 'nothing that runlog reads'}")
    opened = unpack(content, str(path))
    log = read_recordings(opened.content, opened.name, None, rate_hz)[0]
    columns = explain(opened.content, opened.name, None, rate_hz).channels
    return "\n".join([*_head(path.name, log), *(line for column in columns for line in _column(column))]) + "\n"


def _head(name: str, log: LoggerFile) -> list[str]:
    lines = [
        f"# Channel map for {_plain(name)}, filled in with what was understood. Correct what is wrong, then",
        "#   runlog import LOG --map THIS-FILE",
        "# It is remembered for every file with the same header.",
        "",
        "# The header it is for; without this line it serves the next file that has one of its columns.",
        f'fingerprint = "{log.fingerprint}"',
        "",
    ]
    lines += [f"# Mind: {_plain(warning)}" for warning in log.warnings]
    base = log.times[0]
    shown = f"column = {_text(base.column)}" if base.column else f"rate_hz = {base.rate_hz:g}"
    return [
        *lines,
        "# The time was found by itself. To settle it: column, its unit, or rate_hz where there is none.",
        "# [time]",
        f"# {shown}",
        "",
        '# channel: one of the program\'s names, "keep" (its own name) or "ignore" (left out); unit: what the numbers',
        "# are in; scale: a factor on them; invert = true: the sensor shows the other way round.",
        "[channels]",
    ]


def _column(column: ChannelChoice) -> list[str]:
    name = _text(column.name)
    if column.canonical is None:
        near = f"; nearest: {column.next_best} {column.next_confidence:.2f}" if column.next_best else ""
        return [f"# keeps its own name{near}", f'# {name} = "ignore"']
    rule = [f'channel = "{column.canonical}"']
    if column.unit:
        rule.append(f"unit = {_text(column.unit)}")
    if column.inverted:
        rule.append("invert = true")
    unit = ", no unit is written" if column.unit_assumed else ""
    return [f"# {column.confidence:.2f} sure{unit}: {_plain(column.why)}", f"{name} = {{ {', '.join(rule)} }}"]


def _text(text: str) -> str:
    """Return a text as a TOML string: JSON's escapes are TOML's. What isn't printable is escaped, too."""
    return "".join(char if char.isprintable() else _escaped(char) for char in json.dumps(text, ensure_ascii=False))


def _escaped(char: str) -> str:
    return f"\\u{ord(char):04x}" if ord(char) < 1 << 16 else f"\\U{ord(char):08x}"


def _plain(text: str) -> str:
    return "".join(char if char.isprintable() else repr(char)[1:-1] for char in text)
