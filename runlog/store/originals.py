"""The original bytes of everything that was accepted, kept by their SHA-256."""

from __future__ import annotations

import hashlib
import json
import zlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from runlog.errors import LogbookError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.store.connection import Logbook

_PART = 4000
"""[bytes] A checkpoint rewrites long values but not short ones; parts this size keep an import's cost the same
however many originals are kept already."""


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


def keep(book: Logbook, content: bytes, entry: Entry) -> Entry:
    """Keep the bytes (once) and note the entry; return it with its number. To be called inside a transaction."""
    sha256 = entry.sha256
    if book.row("select 1 from book.main.original where sha256 = ?", [sha256]) is None:
        packed = zlib.compress(content, 1)
        parts = [(sha256, n, packed[start : start + _PART]) for n, start in enumerate(range(0, len(packed), _PART))]
        book.insert("original", [(sha256, len(content))])
        book.insert("original_part", parts)
    found = book.row("select system.main.max(entry) from book.main.entry")
    number = int(found[0] or 0) + 1 if found else 1
    book.rows(
        "insert into book.main.entry values (?, ?, ?, ?, ?, ?, system.main.now() at time zone 'UTC')",
        [number, entry.kind, sha256, entry.name, _text(entry.given), entry.run],
    )
    return replace(entry, number=number)


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
