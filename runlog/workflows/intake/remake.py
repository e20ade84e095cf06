"""All facts made again from the originals in the order of their entries, without those that are withdrawn.

Facts are a function of the entries: what was withdrawn, brought back, merged or chosen between changes which entries
count and in which order, and then everything follows from them as if it had come in so. Most files are small and are
simply read again. Logger files are not, where nothing that they were read with has changed: their samples stay.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from runlog.errors import LogbookError, RunlogError
from runlog.readers.keys import parse_run_key
from runlog.records import Choice, Given, Withdrawal
from runlog.store import crew, facts, history, originals, proposals, results, traces
from runlog.workflows.intake import parsing
from runlog.workflows.intake.parts import split
from runlog.workflows.intake.saving import MOVES_RESULTS, write
from runlog.workflows.intake.spoken import only, parse_thing, spoken, trace_spoken

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping, Sequence

    from runlog.records import RunKey
    from runlog.store.connection import Logbook
    from runlog.workflows.intake.parsing import Known, MapText, Parsed

_Maps = tuple[tuple[str, bytes, str], ...]


@dataclass(frozen=True)
class _KeptLog:
    """A log whose samples are in the logbook, with the channel maps that there were when it was read."""

    stored: traces.StoredTrace
    used: MapText | None
    maps: _Maps


@dataclass(frozen=True)
class Before:
    """What stood before entries changed: what held of each thing, and the logs by identity and run."""

    held: Mapping[str, str] = field(default_factory=dict)
    logs: Mapping[str, _KeptLog] = field(default_factory=dict)


def look(book: Logbook) -> Before:
    """Return what stands now; to be asked before entries are added, moved or withdrawn."""
    entries = originals.entries(book)
    out = history.withdrawals(book)
    standing = [entry for entry in entries if entry.identity not in out]
    light = originals.fetch_all(
        book, [entry.sha256 for entry in standing if entry.kind == "map"] + _named_maps(standing)
    )
    used = {
        number: parsing.MapText(name, content.encode(), fingerprint)
        for number, name, content, fingerprint in facts.maps_by_entry(book)
    }
    bodies = {trace.entry: trace for trace in traces.stored(book)}
    names = _map_names(entries, out)
    known, logs = parsing.Known(), {}
    for entry in standing:
        if entry.kind == "map":
            known.learn(parsing.parse("map", light[entry.sha256], entry.name, Given(), known), None)
        elif entry.kind == "logger" and entry.number in bodies:
            settled = used.get(entry.number)
            logs[entry.identity] = _KeptLog(bodies[entry.number], settled, _maps(_known_to(entry, known, light, names)))
            if settled is not None:
                known.maps.insert(0, settled)
    return Before(_held(book), logs)


def remake(book: Logbook, before: Before, progress: Callable[[str], None] | None = None) -> dict[int, RunlogError]:
    """Make all facts again; return the numbers of entries that can't be read with what stands before them, and why.

    To be called inside a transaction. What it changes is marked for its results to be computed anew.
    """
    entries = originals.entries(book)
    light = originals.fetch_all(
        book, [entry.sha256 for entry in entries if entry.kind != "logger"] + _named_maps(entries)
    )
    facts.drop_all(book)
    proposals.drop_all(book)
    crew.drop_all(book)
    work = _Work(book, before, light, progress)
    work.withdraw(entries)
    for entry in entries:
        work.take(entry)
    traces.restate(book, work.traces)
    history.restate(
        book,
        work.spoken,
        work.acts,
        [(number, str(error)) for number, error in sorted(work.refused.items())],
    )
    _mark_changed(book, before.held, _held(book))
    return work.refused


def index(book: Logbook) -> None:
    """Note what entries say in a logbook that was upgraded from before that was noted."""
    if not history.is_indexed(book):
        before = look(book)
        with book.transaction():
            remake(book, before)


class _Work:
    """One walk through the entries."""

    def __init__(
        self,
        book: Logbook,
        before: Before,
        light: Mapping[str, bytes],
        progress: Callable[[str], None] | None,
    ) -> None:
        self.book = book
        self.before = before
        self.light = light
        self.progress = progress
        self.known = parsing.Known()
        self.traces: list[traces.StoredTrace] = []
        self.spoken: list[tuple[int, str, str]] = []
        self.acts: list[tuple[int, str, bool]] = []
        self.refused: dict[int, RunlogError] = {}
        self._out: set[str] = set()
        self._map_names: dict[str, str] = {}
        self._told: dict[str, tuple[originals.Entry, Parsed | traces.StoredTrace]] = {}

    def withdraw(self, entries: Sequence[originals.Entry]) -> None:
        """Find out what is withdrawn: the last word about an entry holds."""
        last: dict[str, bool] = {}
        for entry in entries:
            if entry.kind != "undo":
                continue
            try:
                act = parsing.parse("undo", self.light[entry.sha256], entry.name, Given(), self.known)
            except RunlogError as error:
                self.refused[entry.number] = error
                continue
            if isinstance(act, Withdrawal):
                last[act.identity] = act.withdrawn
                self.acts.append((entry.number, act.identity, act.withdrawn))
        self._out = {identity for identity, withdrawn in last.items() if withdrawn}
        self._map_names = _map_names(entries, self._out)

    def take(self, entry: originals.Entry) -> None:
        """Write the facts of one entry, unless it is withdrawn; note what it speaks of in any case."""
        if entry.kind == "undo":
            return
        if self.progress:
            self.progress(entry.name)
        run = parse_run_key(entry.run) if entry.run else None
        out = entry.identity in self._out
        try:
            if entry.kind == "logger":
                if run is None:
                    raise LogbookError(f"{entry.name}: a logger file without its run")
                self.spoken.append((entry.number, *trace_spoken(entry, run)))
                if not out:
                    self._take_log(entry, run)
                return
            parsed = parsing.parse(entry.kind, self.light[entry.sha256], entry.name, given_of(entry), self.known)
            if isinstance(parsed, Choice):
                if not out:
                    self._choose(entry, parsed)
            else:
                self._tell(entry, parsed, out=out)
        except RunlogError as error:
            if not out:
                self.refused[entry.number] = error

    def _tell(self, entry: originals.Entry, parsed: Parsed, *, out: bool) -> None:
        self.spoken += [(entry.number, thing, says) for thing, says in spoken(parsed, entry)]
        if not out:
            self.known.learn(parsed, None)
            write(self.book, entry.number, parsed)
            self._told[entry.identity] = entry, parsed

    def _take_log(self, entry: originals.Entry, run: RunKey) -> None:
        kept = self.before.logs.get(entry.identity)
        known = _known_to(entry, self.known, self.light, self._map_names)
        if kept is not None and kept.stored.key == run and _alike(kept, _maps(known)):
            stored = dataclasses.replace(kept.stored, entry=entry.number)
            if kept.used is not None:
                write(self.book, entry.number, kept.used)
                self.known.maps.insert(0, kept.used)
            self.known.logged.add(run)
        else:
            content = originals.fetch(self.book, entry.sha256)
            parsed = parsing.parse("logger", content, entry.name, given_of(entry), known)
            if not isinstance(parsed, parsing.Log):
                raise LogbookError(f"{entry.name} is no logger file")
            if "part" in entry.given:
                parsed = part_of(parsed, entry)
            self.known.learn(parsed, run)
            made = write(self.book, entry.number, parsed, run)
            if made is None:
                raise TypeError("a logger file without a trace")
            stored = made
        self.traces.append(stored)
        self._told[entry.identity] = entry, stored

    def _choose(self, entry: originals.Entry, choice: Choice) -> None:
        """Say again what the chosen entry says of these things."""
        found = self._told.get(choice.identity)
        if found is None:
            raise LogbookError(f"{entry.name}: what it chooses isn't there, or is withdrawn")
        chosen, said = found
        if isinstance(said, traces.StoredTrace):
            self._told[entry.identity] = chosen, said
            self.traces.append(dataclasses.replace(said, entry=entry.number))
            self.spoken.append((entry.number, *trace_spoken(chosen, said.key)))
            return
        part = only(said, set(choice.things))
        if part is not None:
            self._told[entry.identity] = chosen, part
            self.known.learn(part, None)
            write(self.book, entry.number, part)
            self.spoken += [(entry.number, thing, says) for thing, says in spoken(part, chosen)]


def given_of(entry: originals.Entry) -> Given:
    """Return what the user said of an entry's file."""
    said = {name: value for name, value in entry.given.items() if name not in ("map", originals.AGAIN)}
    run: Any = said.get("run")
    return Given(**{**said, "run": parse_run_key(run) if run else None})


def _known_to(entry: originals.Entry, known: Known, light: Mapping[str, bytes], names: Mapping[str, str]) -> Known:
    """Return what a logger file is read with: a map that was named for it goes before those that came later.

    ``names`` are those of the maps that stand: one that was withdrawn settles nothing any more.
    """
    named = str(entry.given.get("map"))
    if named not in names:
        return known
    first = parsing.parse("map", light[named], names[named], Given(), known)
    return known_to(first, known) if isinstance(first, parsing.MapText) else known


def known_to(text: MapText, known: Known) -> Known:
    """Return what a logger file is read with for which a map was named."""
    return dataclasses.replace(known, maps=[text, *known.maps])


def _map_names(entries: Sequence[originals.Entry], out: Collection[str]) -> dict[str, str]:
    return {entry.sha256: entry.name for entry in entries if entry.kind == "map" and entry.identity not in out}


def _named_maps(entries: Sequence[originals.Entry]) -> list[str]:
    return [entry.given["map"] for entry in entries if "map" in entry.given]


def _maps(known: Known) -> _Maps:
    """Return the maps a log may be read with, the newest first, each once."""
    return tuple(dict.fromkeys((text.name, text.content, text.fingerprint) for text in known.maps))


def _alike(kept: _KeptLog, maps: _Maps) -> bool:
    """Tell whether a log would be read with these maps as it was with those of before.

    One that no map settled was understood without, so only those that could now fit it matter.
    """
    if kept.used is not None:
        return maps == kept.maps
    fitting = ("", kept.stored.fingerprint)
    return [item for item in maps if item[2] in fitting] == [item for item in kept.maps if item[2] in fitting]


def part_of(log: parsing.Log, entry: originals.Entry) -> parsing.Log:
    """Return the part of a logger file that the entry holds."""
    part = next((part for part in split(log.recordings) if part.number == entry.given["part"]), None)
    if part is None:
        raise LogbookError(f"{entry.name}: part {entry.given['part']} is no longer found in it")
    return dataclasses.replace(log, file=part.log)


def _held(book: Logbook) -> dict[str, str]:
    """Return what holds of each thing: what was said of it last; of a trace the body, which a map can change."""
    said = {thing: says for _, thing, says in history.standing(book)}
    return said | {f"trace {trace.key}": str(trace.body) for trace in traces.in_force(book)}


def _mark_changed(book: Logbook, before: Mapping[str, str], after: Mapping[str, str]) -> None:
    """Note which results are out of date: those of whatever is now said otherwise, or no longer, or newly."""
    changed = {thing for thing in before.keys() | after.keys() if before.get(thing) != after.get(thing)}
    cars, own, days, slips = set(), set(), set(), []
    for thing in changed:
        kind, car, date, run = parse_thing(thing)
        if kind == "track":
            results.forget_findings(book)
            results.mark_stale(book)
        elif kind == "car":
            own.add(car)
        elif kind == "air" and date is not None:
            days.add(date)
        elif kind in ("slip", "sheet", "trace") or (kind == "crew" and thing.split(" ")[1] in MOVES_RESULTS):
            cars.add(car)
        if kind == "slip" and run is not None:
            slips.append(run)
    for car in own:
        results.forget_findings(book, car)
    if slips:
        results.forget_findings(book, keys=slips)
    for car in cars | own | (facts.cars_near(book, days) if days else set()):
        results.mark_stale(book, car)
