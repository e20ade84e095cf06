"""A channel map that comes after logs: those whose header it is for are read again with it.

Each becomes a further entry with the same original, of which it is said that the map was named for it. So the facts
stay a function of the entries in their order, a rebuild or a merge comes to the same, and each can be undone by itself.
When the map is withdrawn all are read as before it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runlog.readers.channel_map import read_channel_map
from runlog.store import originals, traces
from runlog.workflows.intake import parsing
from runlog.workflows.intake.remake import given_of, known_to, part_of
from runlog.workflows.intake.saving import store

if TYPE_CHECKING:
    from collections.abc import Iterable

    from runlog.records import RunKey
    from runlog.store.connection import Logbook
    from runlog.store.originals import Entry
    from runlog.workflows.intake.parsing import Known, MapText


def reread(book: Logbook, text: MapText, known: Known) -> list[RunKey]:
    """Read the logs again that a map just stored is for; return their runs. To be called inside a transaction.

    A map that names its header is for all logs with it. One that names none is for the header of the newest log that
    has one of its columns, as it would have been for the next such file. What a map was named for stays with the newest
    word: this one.
    """
    header = text.fingerprint or _newest_header(book, text)
    sha256 = originals.digest(text.content)
    entries = {entry.number: entry for entry in originals.entries(book)}
    done = []
    for trace in traces.in_force(book):
        entry = entries[trace.entry]
        if trace.fingerprint != header or entry.kind != "logger" or entry.given.get("map") == sha256:
            continue
        said = {**_but_map(entry), "map": sha256}
        content = originals.fetch(book, entry.sha256)
        with_map = known_to(text, known)
        parsed = parsing.parse("logger", content, entry.name, given_of(entry), with_map)
        if not isinstance(parsed, parsing.Log) or parsed.channel_map is None:
            continue
        if "part" in entry.given:
            parsed = part_of(parsed, entry)
        again = originals.Entry(0, "logger", entry.sha256, entry.name, said, entry.run)
        store(book, originals.KEPT, again, parsed, trace.key)
        known.learn(parsed, trace.key)
        done.append(trace.key)
    return done


def is_reread(entry: Entry, entries: Iterable[Entry]) -> bool:
    """Tell whether an entry is a log read again with a map: there is another entry of it, made without that map."""
    if entry.kind != "logger" or "map" not in entry.given:
        return False
    return any(
        other.number < entry.number and other.sha256 == entry.sha256 and other.run == entry.run
        and _but_map(other) == _but_map(entry)
        for other in entries
    )  # fmt: skip


def _but_map(entry: Entry) -> dict[str, object]:
    return {name: value for name, value in entry.given.items() if name not in ("map", originals.AGAIN)}


def _newest_header(book: Logbook, text: MapText) -> str:
    """Return the header of the newest log that has a column which a map without a header names, or nothing."""
    channel_map = read_channel_map(text.content, text.name)
    for trace in sorted(traces.in_force(book), key=lambda trace: -trace.entry):
        if any(channel_map.rule_for(name) is not None for name in traces.channel_names(book, trace)):
            return trace.fingerprint
    return ""
