"""Files that arrive in a folder: which of them are there whole, and which runs they make complete.

The folder is looked at again and again: that works on every system, and on network drives, where nothing tells of
changes.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final

from runlog.readers.detect import SUFFIXES
from runlog.store import facts, traces

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.records import RunKey
    from runlog.store.connection import Logbook

SIDECAR: Final = ".run"

State = tuple[int, int]
"""size [bytes] and time of the last change [ns]"""


def look(folder: Path) -> dict[Path, State]:
    """Return the files of a folder and of those in it that are worth reading; OSError where it can't be looked at.

    Hidden files are left out, and so are symbolic links: what is read lies in the folder itself.
    """
    found: dict[Path, State] = {}
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.name.startswith(".") or entry.is_symlink():
                continue
            try:
                if entry.is_dir(follow_symlinks=False):
                    found |= look(Path(entry.path))
                elif Path(entry.name).suffix.lower() in (*SUFFIXES, SIDECAR) and entry.is_file(follow_symlinks=False):
                    said = entry.stat(follow_symlinks=False)
                    found[Path(entry.path)] = (said.st_size, said.st_mtime_ns)
            except OSError:
                continue  # gone again, or not ours to look at: the next look may find it
    return found


@dataclass
class Arrivals:
    """Tells which files are whole: there with anything in them, and unchanged for ``settle_s`` seconds."""

    settle_s: float
    _since: dict[Path, tuple[State, float]] = field(default_factory=dict)
    _done: dict[Path, State] = field(default_factory=dict)

    def ready(self, seen: Mapping[Path, State], now: float) -> list[Path]:
        """Return what has become whole at this look, in order of name; ``now`` [s] on a clock that never goes back."""
        found = []
        for path, state in sorted(seen.items()):
            before = self._since.get(path)
            if before is None or before[0] != state:
                self._since[path] = (state, now)
            elif state[0] and now - before[1] >= self.settle_s and self._done.get(path) != state:
                found.append(path)
        for path in set(self._since) - set(seen):
            del self._since[path]
        return found

    def done(self, path: Path) -> None:
        """Note that a file, as it was when it became whole, needs no more reading."""
        if path in self._since:
            self._done[path] = self._since[path][0]

    def again(self, path: Path) -> None:
        """Let a file be ready at the next look: what it needs may be there by now."""
        self._done.pop(path, None)


def stages(book: Logbook) -> dict[RunKey, bool]:
    """Return each run that is complete, and whether it has a log.

    A run is complete with its slip and its log; a car that has never logged needs the slip alone.
    """
    logged = traces.runs_with_trace(book)
    logging = {key.car for key in logged}
    return {
        key: key in logged
        for key, slip in facts.slips(book).items()
        if slip.times and (key in logged or key.car not in logging)
    }
