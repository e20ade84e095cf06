"""``runlog import``."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from runlog.cli.common import (
    CarOption,
    JobsOption,
    JsonOption,
    LogbookOption,
    existing,
    logbook,
    new_command,
    note,
    print_json,
    quantity,
    run_key,
)
from runlog.errors import UsageError

if TYPE_CHECKING:
    from runlog.readers.explain import Explanation
    from runlog.workflows.intake.ingest import FileReport, ImportReport

_HELP = (
    "Read car and track files, setup sheets, slips, air readings, logger exports and channel maps into the logbook. "
    "What each file is, is detected; each goes in whole or not at all, and the same file twice changes nothing."
)


@new_command(_HELP, "runlog import cars/heron.toml sheets/ pits/2031-04-12/")
def app(
    paths: Annotated[list[Path], typer.Argument(metavar="PATH", help="Files and folders.")],
    kind: Annotated[
        str | None,
        typer.Option("--as", metavar="KIND", help="What the files are, if not detected.", show_default=False),
    ] = None,
    car: CarOption = None,
    run: Annotated[
        str | None, typer.Option("--run", metavar="KEY", help="The run, as car/date/number.", show_default=False)
    ] = None,
    part: Annotated[
        int | None,
        typer.Option("--part", metavar="N", help="Which of a log's several recordings.", show_default=False, min=1),
    ] = None,
    track: Annotated[
        str | None, typer.Option("--track", metavar="TRACK", help="The track of slips or air.", show_default=False)
    ] = None,
    full: Annotated[bool, typer.Option("--full", help="The sheet is full, not only changes.")] = False,
    elevation: Annotated[
        str | None,
        typer.Option("--elevation", metavar="LENGTH", help="Where an altimeter setting was read.", show_default=False),
    ] = None,
    rate: Annotated[
        float | None,
        typer.Option("--rate", metavar="HZ", help="Sample rate of a log without time.", show_default=False, min=0.001),
    ] = None,
    dates: Annotated[
        str | None,
        typer.Option(
            "--dates", metavar="ORDER", help="day-first or month-first, where either fits.", show_default=False
        ),
    ] = None,
    missing: Annotated[
        str | None,
        typer.Option(
            "--missing", metavar="WORD,…", help="Words that mean no sample in these logs.", show_default=False
        ),
    ] = None,
    channel_map: Annotated[
        Path | None, typer.Option("--map", metavar="FILE", help="Channel map for these logs.", show_default=False)
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would be stored, store nothing.")] = False,
    explain: Annotated[bool, typer.Option("--explain", help="Say how each log was understood, and why.")] = False,
    jobs: JobsOption = 1,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Read files into the logbook."""
    from runlog.readers.detect import KINDS
    from runlog.records.run import DATE_ORDERS, Given
    from runlog.reports.imports import Progress, print_import
    from runlog.workflows.intake.ingest import import_files
    from runlog.workflows.questions.answering import open_questions
    from runlog.workflows.workers import workers

    if kind is not None and kind not in KINDS:
        raise UsageError(f"--as: {kind!r} is not a kind of file; accepted: {', '.join(KINDS)}")
    if dates is not None and dates not in DATE_ORDERS:
        raise UsageError(f"--dates: {dates!r} is no order of dates; accepted: {', '.join(DATE_ORDERS)}")
    given = Given(
        kind=kind,
        car=car.lower() if car else None,
        run=run_key(run),
        track=track,
        full=True if full else None,
        elevation=quantity(elevation, "length", "--elevation"),
        rate_hz=rate,
        part=part,
        dates=dates,
        missing=missing,
    )
    existing(paths)
    with logbook(book, write=True) as opened:
        known = {(run, question.id) for run, question in open_questions(opened)}
        with workers(jobs) as executor, Progress() as progress:
            report = import_files(
                opened,
                paths,
                given,
                map_path=channel_map,
                dry_run=dry_run,
                explain=explain,
                progress=progress.step,
                executor=executor,
            )
        if as_json:
            print_json(content(report))
        else:
            print_import(content(report), dry_run=dry_run)
        asked = [(run, question) for run, question in open_questions(opened) if (run, question.id) not in known]
        if asked and not as_json:
            # not put here, so that an import never waits for a hand
            some = "1 question waits" if len(asked) == 1 else f"{len(asked)} questions wait"
            note(f"{some} for an answer: runlog answer")
    if report.refused:
        raise typer.Exit(1)


def content(report: ImportReport) -> dict[str, Any]:
    """Return an import in the shape of ``import --json``."""
    return {
        "files": [_file(item) for item in report.files],
        "stored": report.stored,
        "unchanged": report.unchanged,
        "refused": report.refused,
    }


def _file(report: FileReport) -> dict[str, Any]:
    log = report.log
    times = [
        {"column": base.column, "unit": base.unit, "start_s": base.start, "end_s": base.end, "rate_hz": base.rate_hz}
        for base in (log.times if log else ())
    ]
    return {
        "path": report.path,
        "kind": report.kind,
        "stored": report.stored,
        "unchanged": report.unchanged,
        "run": report.run,
        "error": report.error,
        **{
            name: (getattr(log, name) or None) if log else None
            for name in ("encoding", "delimiter", "decimal", "header_line", "first_data_line")
        },
        "rows": report.rows,
        "times": times,
        "time": times[0] if times else None,
        "channels": [
            {
                "name": channel.name,
                "canonical": channel.canonical,
                "unit": channel.unit,
                "samples": channel.samples,
                "confidence": round(channel.confidence, 3),
            }
            for channel in report.channels
        ],
        "parts": [
            {
                "part": part.number,
                "run": str(run) if run else None,
                "start_s": part.span[0],
                "end_s": part.span[1],
                "started_at": part.log.started_at.isoformat() if part.log.started_at else None,
                "launches_s": list(part.launches),
            }
            for part, run in report.parts
        ],
        "explanation": _explanation(report.explanation) if report.explanation else None,
        "reread": list(report.reread),
        "warnings": report.warnings,
    }


def _explanation(found: Explanation) -> dict[str, Any]:
    content = dataclasses.asdict(found)
    for item in content["interpretations"]:
        item["weights"] = dict(item["weights"])
    return content
