"""What an import did, on the terminal."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from runlog.reports.console import WIDTH, add_row, bullets, clean, console, line, table

if TYPE_CHECKING:
    from types import TracebackType

    from rich.console import Console
    from rich.status import Status


_RUNS_SHOWN = 6


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
            from rich.console import Console as Screen

            self._status = Screen(stderr=True).status("")
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
    for item in report["files"]:
        if item["explanation"]:
            _print_explanation(out, item)
    done = "would be stored" if dry_run else "stored"
    count = sum(item["error"] is None and not item["unchanged"] for item in report["files"])
    out.print(line((f"{count} {done}, {report['unchanged']} unchanged, {report['refused']} refused", "bold")))
    if not dry_run and report["stored"]:
        out.print(line(("Next: runlog show", "dim")))


def print_maps(maps: list[dict[str, Any]]) -> None:
    """Print a line for each channel map."""
    out = console()
    if not maps:
        out.print(line("No channel maps. To begin one: runlog map write LOG.csv"))
        return
    made = table("header", "map", "columns", "logs", left=2)
    for item in maps:
        header = item["fingerprint"] or "not used yet"
        add_row(made, [header[:12], item["name"], str(item["columns"]), str(item["logs"])])
    out.print(made)


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
    elif item["parts"]:
        parts.append(", ".join(part["run"] for part in item["parts"] if part["run"]))
    if item["rows"] is not None:
        parts.append(f"{item['rows']} rows")
    if item["time"]:
        named = sum(channel["canonical"] is not None for channel in item["channels"])
        parts.append(f"{item['time']['rate_hz']:g} Hz, {len(item['channels'])} channels, {named} recognised")
    if item["reread"]:
        shown = ", ".join(item["reread"][:_RUNS_SHOWN])
        more = f" and {len(item['reread']) - _RUNS_SHOWN} more" if len(item["reread"]) > _RUNS_SHOWN else ""
        parts.append(f"logs read again with it: {shown}{more}")
    return ", ".join(parts)


_MARKS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", ".": "point", " ": "blank", "'": "apostrophe"}


def _print_explanation(out: Console, item: dict[str, Any]) -> None:
    """Print how a logger file was understood: what was weighed, what was decided, what each channel was taken for."""
    found = item["explanation"]
    out.print(line(("", "")))
    out.print(line((f"How {Path(item['path']).name} was understood", "bold")))
    if found["interpretations"]:
        made = table("encoding", "delimiter", "decimal", "header", "time", "columns", "score", left=3)
        for read in found["interpretations"]:
            marks = [_MARKS.get(read[name], read[name]) for name in ("delimiter", "decimal")]
            marks[0] += ", single quotes" if read["quote"] == "'" else ""
            marks[1] += f", {_MARKS.get(read['thousands'], '')} between thousands" if read["thousands"] else ""
            chosen = " ✓" if read["chosen"] else ""
            header = f"line {read['header_line']}" if read["header_line"] else "none"
            time = read["time"] if len(read["time"]) <= 12 else read["time"][:11] + "…"
            cells = [
                read["encoding"],
                *marks,
                header,
                time or "–",
                str(read["columns"]),
                f"{read['score']:.3f}{chosen}",
            ]
            add_row(made, cells)
        out.print(made)
    bullets(out, [f"{choice['what']}: {choice['chosen']} ({choice['why']})" for choice in found["choices"]], "·")
    bullets(out, [_channel(channel) for channel in found["channels"]], "→")


def _channel(channel: dict[str, Any]) -> str:
    unit = f" [{channel['unit']}{', assumed' if channel['unit_assumed'] else ''}]" if channel["unit"] else ""
    taken = f"{channel['canonical']} {channel['confidence']:.2f}" if channel["canonical"] else "keeps its name"
    after = f"; next: {channel['next_best']} {channel['next_confidence']:.2f}" if channel["next_best"] else ""
    return f"{channel['name']}{unit}: {taken}{after} ({channel['why']})"
