"""What an import did, on the terminal."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from runlog.reports.console import WIDTH, add_row, bullets, clean, console, line, table

if TYPE_CHECKING:
    from types import TracebackType

    from rich.status import Status


class Progress:
    """Shows on stderr what is being worked on, once a task takes longer than a second and a person is watching."""

    def __init__(self) -> None:
        self._started = time.monotonic()
        self._status: Status | None = None

    def step(self, text: str) -> None:
        """Say what is being done now."""
        if self._status is None:
            if not sys.stderr.isatty() or time.monotonic() - self._started < 1.0:
                return
            from rich.console import Console

            self._status = Console(stderr=True).status("")
            self._status.start()
        from rich.text import Text

        self._status.update(Text(clean(text)[: WIDTH - 10]))

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._status is not None:
            self._status.stop()


def print_import(report: dict[str, Any], *, dry_run: bool) -> None:
    """Print a line for each file, then its warnings and errors in full."""
    out = console()
    made = table("file", "kind", "", "understood as", left=4)
    for item in report["files"]:
        add_row(
            made, [Path(item["path"]).name, item["kind"] or "?", _outcome(item, dry_run=dry_run), _understood(item)]
        )
    if made.row_count:
        out.print(made)
    for item in report["files"]:
        if item["error"]:
            bullets(out, item["error"].splitlines(), "✗")
        elif item["warnings"]:
            bullets(out, [f"{Path(item['path']).name}: {text}" for text in item["warnings"]], "?")
    done = "would be stored" if dry_run else "stored"
    count = sum(item["error"] is None and not item["unchanged"] for item in report["files"])
    out.print(line((f"{count} {done}, {report['unchanged']} unchanged, {report['refused']} refused", "bold")))
    if not dry_run and report["stored"]:
        out.print(line(("Next: runlog show", "dim")))


def _outcome(item: dict[str, Any], *, dry_run: bool) -> str:
    if item["error"]:
        return "refused"
    if item["unchanged"]:
        return "unchanged"
    return "would be stored" if dry_run else "stored"


def _understood(item: dict[str, Any]) -> str:
    parts = []
    if item["run"]:
        parts.append(item["run"])
    if item["rows"] is not None:
        parts.append(f"{item['rows']} rows")
    if item["time"]:
        named = sum(channel["canonical"] is not None for channel in item["channels"])
        parts.append(f"{item['time']['rate_hz']:g} Hz, {len(item['channels'])} channels, {named} recognised")
    return ", ".join(parts)
