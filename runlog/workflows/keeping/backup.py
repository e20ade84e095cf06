"""A verified copy of the logbook, made whole or not at all; older copies rotate out."""

from __future__ import annotations

import contextlib
import datetime as dt
import glob
import os
import re
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runlog.errors import LogbookError
from runlog.store.connection import open_logbook, wal_of
from runlog.workflows.keeping.verify import verify

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

_PIECE = 1 << 22
_TRIES = 5
_LEFT_S = 3600.0


@dataclass(frozen=True)
class Saved:
    """The copy, how many entries it holds, and the older ones that were removed."""

    path: Path
    entries: int
    removed: tuple[Path, ...]


def backup(
    path: Path, folder: Path | None = None, keep: int | None = None, progress: Callable[[str], None] | None = None
) -> Saved:
    """Copy a logbook to a folder (``backups`` beside it by default) under its name and the time (UTC), and verify it.

    Everything committed is in the one file. With ``keep`` only the newest so many copies of this logbook stay; nothing
    is removed before the new one is whole. ``LogbookError`` where the copy can't be written or isn't right.
    """
    folder = path.parent / "backups" if folder is None else folder
    unfinished = folder / f".{path.stem}.{os.getpid()}.unfinished"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        clear_unfinished(folder, path.stem)
        _copy(path, unfinished, progress)
        with open_logbook(unfinished, read_only=True) as made:
            checked = verify(made, quick=True, progress=progress)
        if checked.faults:
            listed = "; ".join(text for _, text in checked.faults[:3])
            raise LogbookError(f"{path} is not whole, so no backup was made: {listed}")
        target = _target(folder, path.stem)
        unfinished.replace(target)
        _flush(folder)
    except OSError as error:
        raise LogbookError(f"no backup was made in {folder}: {error.strerror or error}") from None
    finally:
        for left in (unfinished, wal_of(unfinished)):
            with contextlib.suppress(OSError):
                left.unlink(missing_ok=True)
    removed = backups(folder, path.stem)[:-keep] if keep else []
    for old in removed:
        old.unlink(missing_ok=True)
    return Saved(target, checked.entries, tuple(removed))


def backups(folder: Path, stem: str) -> list[Path]:
    """Return the copies of a logbook in a folder, the oldest first."""
    return [item for _, _, item in _made(folder, stem)]


def _made(folder: Path, stem: str) -> list[tuple[str, int, Path]]:
    """Return the second, the number within it and the path of every copy, the oldest first."""
    pattern = re.compile(rf"{re.escape(stem)}-(\d{{8}}T\d{{6}}Z)(?:-(\d+))?\.duckdb")
    return sorted(
        (match[1], int(match[2] or 1), item) for item in folder.iterdir() if (match := pattern.fullmatch(item.name))
    )


def clear_unfinished(folder: Path, stem: str) -> None:
    """Remove what a killed program left while it made a file beside its place, and all that stands at this one's.

    One that another program is still writing is younger than an hour.
    """
    for left in folder.glob(f".{glob.escape(stem)}.*.unfinished*"):
        own = left.name.startswith(f".{stem}.{os.getpid()}.")
        if own or time.time() - left.lstat().st_mtime > _LEFT_S:
            left.unlink(missing_ok=True)


def _copy(path: Path, target: Path, progress: Callable[[str], None] | None) -> None:
    """Copy the file while nobody can write to it, with everything committed in it."""
    for _ in range(_TRIES):
        if not path.exists() or wal_of(path).exists():
            # opening it for writing takes in what a killed program left beside it
            with open_logbook(path) as book:
                book.checkpoint()
        with open_logbook(path, read_only=True):
            if wal_of(path).exists():
                continue  # somebody wrote and was killed in between
            if progress:
                progress(f"copying {path.name}")
            # made anew: a link that somebody put there must not be written through
            with path.open("rb") as source, target.open("xb") as made:
                while piece := source.read(_PIECE):
                    made.write(piece)
                made.flush()
                os.fsync(made.fileno())
            return
    raise LogbookError(f"{path} is being written to all the time; try again when that has finished")


def _target(folder: Path, stem: str) -> Path:
    now = dt.datetime.now(dt.UTC).strftime("%Y%m%dT%H%M%SZ")
    # after the last of this second, also where rotation has made an earlier name free: the order tells the age
    number = 1 + max((number for second, number, _ in _made(folder, stem) if second == now), default=0)
    return folder / (f"{stem}-{now}.duckdb" if number == 1 else f"{stem}-{now}-{number}.duckdb")


def _flush(folder: Path) -> None:
    """Have the folder's new name written to disk, on systems that know how."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
