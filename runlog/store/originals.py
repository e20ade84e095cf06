"""The original bytes of everything that was accepted, kept by their SHA-256."""

from __future__ import annotations

import hashlib
import json
import zlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from runlog.errors import LogbookError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from runlog.store.connection import Logbook

_PART = 4000
"""[bytes] A checkpoint rewrites long values but not short ones; parts this size keep an import's cost the same
however many originals are kept already."""
_PIECE = 1 << 20
_BATCH = 1000
"""parts written by one statement"""


def digest(content: bytes) -> str:
    """Return the SHA-256 of the bytes, in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def known(book: Logbook, sha256: str, given: Mapping[str, object]) -> int | None:
    """Return the entry under which these bytes stand already, or None.

    The same bytes are new when the user now says something about them (such as another run) that wasn't said before.
    The part that an entry holds is noted with what was said, also where the program found it by itself.
    """
    wanted = json.loads(_text(given))
    rows = book.rows("select entry, given from book.main.entry where sha256 = ? order by entry desc", [sha256])
    for entry, text in rows:
        before = json.loads(text)
        if "part" not in wanted:
            before.pop("part", None)
        if not given or before == wanted:
            return int(entry)
    return None


@dataclass(frozen=True)
class Entry:
    """One accepted file or typed entry: its number in the order of arrival, and how it was read."""

    number: int
    kind: str
    sha256: str
    name: str
    given: Mapping[str, Any]
    run: str | None


@dataclass(frozen=True)
class Packed:
    """Bytes compressed for keeping, so that those of a large file can be let go of; ``size`` is theirs."""

    size: int
    parts: tuple[bytes, ...]


KEPT: Final = Packed(0, ())
"""stands for bytes that are in the logbook already, in the same transaction"""


def pack(content: bytes) -> Packed:
    """Compress the bytes as they are kept."""
    return Packed(len(content), tuple(_packed(content)))


def keep(book: Logbook, content: bytes | Packed, entry: Entry) -> Entry:
    """Keep the bytes (once) and note the entry; return it with its number. To be called inside a transaction."""
    sha256 = entry.sha256
    if book.row("select 1 from book.main.original where sha256 = ?", [sha256]) is None:
        packed = content if isinstance(content, Packed) else pack(content)
        book.insert("original", [(sha256, packed.size)])
        for start in range(0, len(packed.parts), _BATCH):
            batch = packed.parts[start : start + _BATCH]
            book.insert("original_part", [(sha256, n, part) for n, part in enumerate(batch, start)])
    found = book.row("select system.main.max(entry) from book.main.entry")
    number = int(found[0] or 0) + 1 if found else 1
    book.rows(
        "insert into book.main.entry values (?, ?, ?, ?, ?, ?, system.main.now() at time zone 'UTC')",
        [number, entry.kind, sha256, entry.name, _text(entry.given), entry.run],
    )
    return replace(entry, number=number)


def _packed(content: bytes) -> Iterator[bytes]:
    """Compress piece by piece, so that a large file isn't held twice."""
    packer = zlib.compressobj(1)
    view, held = memoryview(content), bytearray()
    for start in range(0, len(content) + 1, _PIECE):
        held += packer.compress(view[start : start + _PIECE])
        whole = len(held) - len(held) % _PART
        yield from (bytes(held[place : place + _PART]) for place in range(0, whole, _PART))
        del held[:whole]
    held += packer.flush()
    yield from (bytes(held[place : place + _PART]) for place in range(0, len(held), _PART))


def fetch(book: Logbook, sha256: str) -> bytes:
    """Return the original bytes; ``LogbookError`` when they no longer have their SHA-256."""
    parts = book.rows("select data from book.main.original_part where sha256 = ? order by part", [sha256])
    try:
        content = zlib.decompress(b"".join(part for (part,) in parts))
    except zlib.error:
        content = b""
    if digest(content) != sha256:
        raise LogbookError(f"{book.path}: the original {sha256[:12]}… is damaged")
    return content


def entries(book: Logbook) -> list[Entry]:
    """Return everything kept, in the order it came."""
    rows = book.rows("select entry, kind, sha256, name, given, run from book.main.entry order by entry")
    return [
        Entry(number, kind, sha256, name, json.loads(given), run) for number, kind, sha256, name, given, run in rows
    ]


def _text(given: Mapping[str, object]) -> str:
    return json.dumps(given, sort_keys=True, ensure_ascii=False, default=str)
