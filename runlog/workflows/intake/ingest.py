"""Importing files: each is read whole and stored in one transaction, or refused and nothing of it stored."""

from __future__ import annotations

import dataclasses
import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from runlog.errors import NotFound, RunlogError, UsageError
from runlog.problems import FileFaults, Problem
from runlog.readers import detect
from runlog.records import Given
from runlog.store import history, originals
from runlog.workflows.intake import parsing
from runlog.workflows.intake.parts import assign, split
from runlog.workflows.intake.reread import reread
from runlog.workflows.intake.saving import store
from runlog.workflows.questions.of_words import doubts
from runlog.workflows.results import derive

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from concurrent.futures import Executor
    from pathlib import Path

    from runlog.readers.explain import Explanation
    from runlog.records import Car, LoggerFile, RunKey, Sheet
    from runlog.store.connection import Logbook
    from runlog.workflows.intake.parsing import Known, Parsed
    from runlog.workflows.intake.parts import Part

_LOGBOOK: Final = b"DUCK"
"""how the ninth to twelfth bytes of a DuckDB file read, by its storage format"""


_REOPENED_AFTER: Final = 25
"""files stored, after which the logbook is opened again so that memory stays flat"""
_PACKED_BESIDE: Final = 1 << 24
"""[bytes] of a file that is compressed while it is read; a larger one only afterwards, since reading needs the room"""


@dataclass(frozen=True)
class ChannelReport:
    """What a channel was taken for; its samples aren't kept, so that a report of many files stays small."""

    name: str
    canonical: str | None
    unit: str
    samples: int
    confidence: float


@dataclass
class FileReport:
    """What became of one file."""

    path: str
    kind: str | None
    stored: bool = False
    unchanged: bool = False
    run: str | None = None
    error: str | None = None
    log: LoggerFile | None = None
    """what a logger file was understood to be, without its channels"""
    channels: tuple[ChannelReport, ...] = ()
    rows: int | None = None
    parts: tuple[tuple[Part, RunKey | None], ...] = ()
    """of a logger file with several recordings: each with the run it was taken for, None where it was left out"""
    explanation: Explanation | None = None
    reread: tuple[str, ...] = ()
    """runs whose logs a channel map had read again"""
    warnings: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class ImportReport:
    """What became of every file of an import."""

    files: tuple[FileReport, ...]
    stored: int
    unchanged: int
    refused: int


def import_files(  # noqa: PLR0913 - what the command was asked for, each by name
    book: Logbook,
    paths: Sequence[Path],
    given: Given | None = None,
    *,
    map_path: Path | None = None,
    dry_run: bool = False,
    explain: bool = False,
    progress: Callable[[str], None] | None = None,
    executor: Executor | None = None,
) -> ImportReport:
    """Import files and folders in the order that their kinds need, then compute what they change.

    A file that is refused doesn't keep others from being stored. ``map_path`` is a channel map for the logger files of
    this import; it is remembered for their headers. With ``explain`` each logger file's report says how it was
    understood and why, also of a file that was there already or is refused. Traces are analysed in the workers of an
    executor, where one is given.
    """
    given = given or Given()
    known = parsing.gather(book)
    said = stated(given)
    if map_path is not None:
        said["map"] = _use_map(book, map_path, known, dry_run=dry_run)
    found = [(_kind(path, given), path) for path in _expand(paths)]
    _refuse_one_run_for_many(given, [path for kind, path in found if kind == "logger"])
    reports: list[FileReport] = []
    stored = 0
    for kind, path in sorted(found, key=lambda item: _rank(item[0])):
        if progress:
            progress(path.name)
        report = FileReport(str(path), kind)
        reports.append(report)
        try:
            _import_one(book, path, report, _Import(given, said, known, dry_run, explain))
        except RunlogError as error:
            report.error = str(error)
        except OSError as error:
            report.error = f"{path}: {error.strerror or error}"
        stored += report.stored
        if report.stored and stored % _REOPENED_AFTER == 0:
            book.reopen()
    if not dry_run:
        derive.refresh(book, progress, executor)
    counts = (
        sum(report.stored for report in reports),
        sum(report.unchanged for report in reports),
        sum(report.error is not None for report in reports),
    )
    return ImportReport(tuple(reports), *counts)


@dataclass(frozen=True)
class _Import:
    """What holds for all files of one import."""

    given: Given
    said: dict[str, object]
    known: Known
    dry_run: bool
    explain: bool


def stated(given: Given) -> dict[str, object]:
    """Return what the user said of the files, as plain values; what wasn't said is left out."""
    said = {**dataclasses.asdict(given), "run": str(given.run) if given.run else None}
    return {name: value for name, value in said.items() if value is not None}


def _bytes(path: Path) -> bytes:
    if not path.is_file():
        raise NotFound(f"{path}: no such file")
    return path.read_bytes()


def _use_map(book: Logbook, path: Path, known: Known, *, dry_run: bool) -> str:
    """Read a channel map for the files of this import and keep it; return its SHA-256."""
    content = _bytes(path)
    sha256 = originals.digest(content)
    parsed = parsing.parse("map", content, str(path), Given(), known)
    known.learn(parsed, None)
    if not dry_run and originals.known(book, sha256, {}) is None:
        with book.transaction():
            store(book, content, originals.Entry(0, "map", sha256, path.name, {}, None), parsed)
    return sha256


def _refuse_one_run_for_many(given: Given, logs: Sequence[Path]) -> None:
    """Refuse ``--run`` with several logger files: each would take the place of the one before."""
    if given.run is not None and len(logs) > 1:
        names = ", ".join(path.name for path in logs[:4]) + (", …" if len(logs) > 4 else "")
        raise UsageError(
            f"--run {given.run} names one run, and there are {len(logs)} logger files ({names}): give one file with "
            "it, or let each tell its own by its name, its start or a file NAME.run beside it"
        )


def _rank(kind: str | None) -> int:
    return detect.KINDS.index(kind) if kind in detect.KINDS else len(detect.KINDS)


def _expand(paths: Iterable[Path]) -> list[Path]:
    """Return the files named, and those in the folders named, that are worth a look."""
    files: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(item for item in path.rglob("*") if item.is_file() and not item.is_symlink())
            files += [
                item
                for item in inside
                if item.suffix.lower() in detect.SUFFIXES
                and not any(part.startswith(".") for part in item.relative_to(path).parts)
            ]
        elif path.exists():
            files.append(path)
        else:
            raise NotFound(f"{path}: no such file or folder")
    return list(dict.fromkeys(files))


def _kind(path: Path, given: Given) -> str | None:
    if given.kind is not None:
        return given.kind
    try:
        return detect.kind_of(path.read_bytes(), path.name)
    except OSError:
        return None


def _import_one(book: Logbook, path: Path, report: FileReport, job: _Import) -> None:
    content = path.read_bytes()
    if content[8:12] == _LOGBOOK:
        raise UsageError(f"{path} is a logbook: take it in with 'runlog merge {path}'")
    if report.kind is None:
        accepted = f"one of {', '.join(detect.KINDS)}"
        raise FileFaults([Problem(str(path), "", "nothing that runlog reads", accepted, "Say which with --as KIND.")])
    if job.explain and report.kind == "logger":
        report.explanation = parsing.explain(content, str(path), job.given, job.known)
    sha256 = originals.digest(content)
    number = originals.known(book, sha256, job.said)
    if number is not None:
        report.unchanged = True
        report.warnings += _withdrawn(book, number)
        return
    with ThreadPoolExecutor(1) as beside:
        packing = None if job.dry_run or len(content) > _PACKED_BESIDE else beside.submit(originals.pack, content)
        parsed = parsing.parse(report.kind, content, str(path), job.given, job.known)
    _describe(parsed, report, job)
    found = _parts(parsed, path, report, job) if isinstance(parsed, parsing.Log) else [(parsed, None, job.said)]
    for part, run, _ in found:
        job.known.learn(part, run)
    if job.dry_run:
        return
    packed = originals.pack(content) if packing is None else packing.result()
    del content, parsed  # storing a large file needs the room
    with book.transaction():
        while found:
            part, run, said = found.pop(0)
            entry = originals.Entry(0, report.kind, sha256, path.name, said, str(run) if run else None)
            store(book, packed, entry, part, run)
            packed = originals.KEPT
            if isinstance(part, parsing.MapText):
                report.reread = tuple(map(str, reread(book, part, job.known)))
            del part
    report.stored = True


def _withdrawn(book: Logbook, number: int) -> list[str]:
    """Say that a file that is there already was withdrawn: bringing it back is for a person to decide."""
    by = history.withdrawn_by(book, number)
    return [] if by is None else [f"was withdrawn by entry {by}: 'runlog undo {by}' brings it back"]


def _parts(
    log: parsing.Log, path: Path, report: FileReport, job: _Import
) -> list[tuple[parsing.Log, RunKey, dict[str, object]]]:
    """Return each part of a logger file that is to be stored with its run, and what is noted as said of it."""
    parts = split(log.recordings)
    assigned = assign(path, parts, job.given, job.known, log.name)
    if len(parts) > 1:
        runs = {part.number: run for part, run in assigned}
        report.parts = tuple((dataclasses.replace(part, log=_bare(part.log)), runs.get(part.number)) for part in parts)
        report.warnings += [f"{part}: left out" for part in parts if part.number not in runs]
    report.run = str(assigned[0][1]) if len(assigned) == 1 else None
    cars = sorted({run.car for _, run in assigned} - set(job.known.cars))
    report.warnings += [f"no car file for {car} yet: its trace isn't analysed" for car in cars]
    return [
        (
            dataclasses.replace(log, file=part.log),
            run,
            {**job.said, "part": part.number} if len(parts) > 1 else job.said,
        )
        for part, run in assigned
    ]


def _bare(log: LoggerFile) -> LoggerFile:
    return dataclasses.replace(log, channels=())


def _describe(parsed: Parsed, report: FileReport, job: _Import) -> None:
    """Fill in what the file was understood to be."""
    known = job.known
    match parsed:
        case parsing.Log(file=log):
            report.log, report.rows = _bare(log), sum(recording.rows for recording in parsed.recordings)
            report.channels = tuple(
                ChannelReport(channel.name, channel.canonical, channel.unit, channel.values.size, channel.confidence)
                for channel in log.channels
            )
            report.warnings += log.warnings
            if "map" in job.said and parsed.channel_map is None:
                report.warnings.append("the channel map named for it settles nothing of its header and was not used")
        case parsing.Slips(slips=slips):
            report.rows = len(slips)
            report.warnings += [
                f"no car file for {car} yet: its runs aren't corrected and nothing is learned from them"
                for car in sorted({slip.key.car for slip in slips} - set(known.cars))
            ]
            tracks = {slip.track for slip in slips if slip.track} - set(known.tracks)
            report.warnings += [f"no track file for {track} yet" for track in sorted(tracks)]
            if len(slips) == 1:
                report.run = str(slips[0].key)
        case parsing.Sheets(sheets=sheets):
            report.rows = sum(len(sheet.entries) for sheet in sheets)
            report.warnings += [text for sheet in sheets for text in _beyond_limits(sheet, known.cars[sheet.car])]
            report.warnings += [
                found.text for sheet in sheets for _, found in doubts(known.cars[sheet.car], sheet.entries)
            ]
        case parsing.Said(facts=said):
            report.rows = len(said)
            report.warnings += [
                f"no car file for {car} yet" for car in sorted({fact.car for fact in said} - set(known.cars))
            ]
        case parsing.AirTable(readings=readings):
            report.rows = len(readings)
        case _:
            pass


def _beyond_limits(sheet: Sheet, car: Car) -> list[str]:
    """Return the settings outside the car file's limits: they may have been run, or be a slip of the pen."""
    found = []
    for entry in sheet.entries:
        item = car.adjustable(entry.item)
        if item is None or entry.value is None:
            continue
        low = -math.inf if item.low is None else item.low
        high = math.inf if item.high is None else item.high
        if not low <= entry.value <= high:
            limits = f"{low:g} to {high:g} {item.unit}".replace("-inf to", "up to").replace("to inf", "and more")
            found.append(f"{item.name} {entry.text} {entry.unit} is outside the limits of the car file, {limits}")
    return found


def add_typed(book: Logbook, kind: str, content: bytes, name: str, given: Given) -> None:
    """Store an entry typed by hand just like a file: its text is the original."""
    known = parsing.gather(book)
    parsed = parsing.parse(kind, content, name, given, known)
    entry = originals.Entry(0, kind, originals.digest(content), name, stated(given), None)
    with book.transaction():
        store(book, content, entry, parsed)
    derive.refresh(book)
