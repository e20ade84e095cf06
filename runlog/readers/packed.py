"""Compressed files: gzip, Zstandard, and a zip with one file in it; a workbook is a zip of its own kind."""

from __future__ import annotations

import gzip
import io
import sys
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING, Final

from runlog.problems import Problems
from runlog.readers.workbook import is_workbook, workbook_csv

if TYPE_CHECKING:
    from typing import Protocol

    class _Stream(Protocol):
        def read(self, size: int, /) -> bytes: ...


LARGEST: Final = 2 << 30
"""[bytes] most that a file may unpack to"""
_ALWAYS: Final = 64 << 20
_RATIO: Final = 200
"""Recordings shrink to a tenth or a thirtieth; what unpacks to 200 times its size and to more than 64 MB is no
recording. Common practice, no source."""
_PIECE: Final = 1 << 22
_ENDINGS: Final = {"gzip": (".gz", ".gzip"), "zstd": (".zst", ".zstd"), "zip": (".zip",)}
_MARKS: Final = (
    (b"\x1f\x8b\x08", "gzip"),
    (b"\x28\xb5\x2f\xfd", "zstd"),
    (b"PK\x03\x04", "zip"),
    (b"PK\x05\x06", "zip"),
)


@dataclass(frozen=True)
class Unpacked:
    """What was in a file: its bytes, its name, and how it was packed (empty: not; else see ``_MARKS``, or ``xlsx``)."""

    content: bytes
    name: str
    form: str


def form_of(content: bytes) -> str:
    """Return how a file is packed by its first bytes; empty when it isn't."""
    return next((form for mark, form in _MARKS if content.startswith(mark)), "")


def unpack(content: bytes, name: str, head: int | None = None) -> Unpacked:
    """Return what is in a file; one that isn't packed is returned as it is, a workbook as the CSV of its sheet.

    With ``head`` only so many bytes [bytes] at the beginning. ``FileFaults`` when the file is broken, a zip holds
    another number of files than one, or it unpacks to more than a recording could.
    """
    form = form_of(content)
    if not form:
        return Unpacked(content, name, "")
    problems = Problems(name)
    inner = _inner_name(name, form)
    limit = min(LARGEST, max(_ALWAYS, _RATIO * len(content)))
    unpacked = b""
    try:
        if form == "zip":
            with zipfile.ZipFile(io.BytesIO(content)) as archive:
                if is_workbook(archive):
                    return Unpacked(workbook_csv(content, name), name, "xlsx")
                member = _only_member(archive, problems)
                problems.raise_if_any()
                inner = str(PurePath(name).parent / PurePath(member.filename).name)
                with archive.open(member) as stream:
                    unpacked = _read(stream, limit, head)
        elif form == "gzip":
            with gzip.GzipFile(fileobj=io.BytesIO(content)) as stream:
                unpacked = _read(stream, limit, head)
        else:
            unpacked = _read_zstd(content, limit, head)
    except (OSError, EOFError, zlib.error, zipfile.BadZipFile, NotImplementedError, RuntimeError) as error:
        problems.add("", f"a {form} file that can't be unpacked ({error})", f"a whole {form} file", "Export it again.")
    if head is None and len(unpacked) > limit:
        problems.add(
            "",
            f"{len(content):,} bytes that unpack to more than {limit >> 20:,} MB",
            f"at most {_RATIO} times the packed size and {LARGEST >> 30} GB",
            "If it is a recording all the same, unpack it and import that.",
        )
    problems.raise_if_any()
    return Unpacked(unpacked, inner, form)


def _inner_name(name: str, form: str) -> str:
    ending = next((ending for ending in _ENDINGS[form] if name.lower().endswith(ending)), "")
    return name[: len(name) - len(ending)]


def _only_member(archive: zipfile.ZipFile, problems: Problems) -> zipfile.ZipInfo:
    members = [
        member
        for member in archive.infolist()
        # an operating system puts a shadow of each file beside it
        if not member.is_dir() and not member.filename.startswith("__MACOSX/")
    ]
    accepted, remedy = "a zip with exactly one file", "Unpack it and import what is in it."
    if not members:
        problems.add("", "a zip with nothing in it", accepted)
    elif len(members) > 1:
        names = ", ".join(member.filename for member in members[:3]) + (", …" if len(members) > 3 else "")
        problems.add("", f"a zip with {len(members)} files in it ({names})", accepted, remedy)
    elif members[0].flag_bits & 1:
        problems.add("", "a zip with a password", "a zip without one", remedy)
    problems.raise_if_any()
    return members[0]


def _read_zstd(content: bytes, limit: int, head: int | None) -> bytes:
    if sys.version_info >= (3, 14):
        from compression import zstd
    else:
        from backports import zstd

    try:
        with zstd.ZstdFile(io.BytesIO(content)) as stream:
            return _read(stream, limit, head)
    except zstd.ZstdError as error:
        raise OSError(str(error)) from None


def _read(stream: _Stream, limit: int, head: int | None) -> bytes:
    """Read to the end, or until there is more than is wanted or allowed."""
    wanted = limit + 1 if head is None else head
    # its value is handed over without a copy, so a large file is held once
    whole = io.BytesIO()
    while whole.tell() < wanted and (piece := stream.read(min(_PIECE, wanted - whole.tell()))):
        whole.write(piece)
    return whole.getvalue()
