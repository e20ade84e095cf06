"""``runlog rebuild``."""

from __future__ import annotations

from runlog.cli.common import JobsOption, LogbookOption, logbook, new_command, note


@new_command(
    "Read all originals in the logbook again and compute everything anew. Nothing is lost: the originals stay.",
    "runlog rebuild --logbook marsh.duckdb",
)
def app(jobs: JobsOption = 1, book: LogbookOption = None) -> None:
    """Compute everything anew."""
    from runlog.reports.imports import Progress
    from runlog.workflows.intake.rebuild import rebuild
    from runlog.workflows.workers import workers

    with logbook(book, write=True) as opened, workers(jobs) as executor, Progress() as progress:
        count = rebuild(opened, progress.step, executor)
    note(f"{count} originals read again, all results computed anew")
