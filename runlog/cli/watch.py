"""``runlog watch``."""

from __future__ import annotations

import contextlib
import signal
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from runlog.cli.common import JsonOption, LogbookOption, existing, logbook_path, new_command, note, print_json
from runlog.errors import NotFound

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runlog.workflows.intake.watching import News


_MOST_LINES = 3
"""of what is wrong with a file"""


@new_command(
    "Read what arrives in a folder into the logbook, and show a run's page when it is complete: with its slip and, for "
    "a car that logs, its log. A file is read once it has stopped growing. The logbook is held only while something is "
    "written. Ctrl-C ends it.",
    "runlog watch pits/ --settle 5",
)
def app(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder to watch, and those in it.")],
    every: Annotated[float, typer.Option("--every", metavar="S", help="Between two looks.", min=0.05)] = 1.0,
    settle: Annotated[
        float, typer.Option("--settle", metavar="S", help="A file unchanged for so long is whole.", min=0.0)
    ] = 2.0,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Read what arrives in a folder."""
    from runlog.workflows.intake.watching import Watch

    [folder] = existing([folder])
    if not folder.is_dir():
        raise NotFound(f"{folder} is no folder")
    watch = Watch(folder, logbook_path(book), settle)
    with _until_stopped() as stopped:
        watch.begin()
        note(f"Watching {folder} for {watch.logbook}. Ctrl-C ends it.")
        while not stopped.is_set():
            for news in watch.step():
                _tell(news, as_json=as_json)
            stopped.wait(every)
    note(f"Stopped. {watch.stored} file{'' if watch.stored == 1 else 's'} stored.")


@contextlib.contextmanager
def _until_stopped() -> Iterator[threading.Event]:
    """Give an event that Ctrl-C or a request to end sets: what is being written is finished first."""
    stopped = threading.Event()
    kinds = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGBREAK") if hasattr(signal, name)]
    before = {kind: signal.signal(kind, lambda *_: stopped.set()) for kind in kinds}
    try:
        yield stopped
    finally:
        for kind, handler in before.items():
            signal.signal(kind, handler)


def _tell(news: News, *, as_json: bool) -> None:
    if as_json:
        print_json(_content(news), indent=None)
    elif news.page is not None:
        from runlog.reports.run_page import print_run_page

        print_run_page(news.page)
    elif news.file is not None:
        file = news.file
        of_run = f" of {file.run}" if file.run else ""
        lines = [] if file.error is None else file.error.splitlines()
        if not lines:
            note(f"✓ {file.path}: {file.kind}{of_run} stored")
        for line in lines[:_MOST_LINES]:
            note(f"✗ {line}")
        if len(lines) > _MOST_LINES:
            note(f"  and {len(lines) - _MOST_LINES} more: runlog import {file.path} --dry-run")
        for warning in file.warnings:
            note(f"  ? {warning}")
    else:
        note(f"? {news.trouble}")


def _content(news: News) -> dict[str, Any]:
    file = news.file
    return {
        "file": None
        if file is None
        else {
            "path": file.path,
            "kind": file.kind,
            "stored": file.stored,
            "run": file.run,
            "error": file.error,
            "warnings": file.warnings,
        },
        "page": news.page,
        "trouble": news.trouble or None,
    }
