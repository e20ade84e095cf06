"""The original bytes of everything that was accepted, kept by their SHA-256."""

from __future__ import annotations

import getpass
import hashlib
import json
import os
import zlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from runlog.errors import LogbookError

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterator, Mapping

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
    What the program noted by itself beside what was said isn't compared: the part that an entry holds, and how often
    the same was said again.
    """
    wanted = json.loads(_text(given))
    rows = book.rows("select entry, given from book.main.entry where sha256 = ? order by entry desc", [sha256])
    for entry, text in rows:
        before = json.loads(text)
        before.pop(AGAIN, None)
        if "part" not in wanted:
            before.pop("part", None)
        if not given or before == wanted:
            return int(entry)
    return None


AGAIN: Final = "again"
"""noted beside what was said of an entry that says once more what an earlier one said, so that both are told apart"""


def identity_of(kind: str, sha256: str, given: Mapping[str, object], run: str | None) -> str:
    """Return the identity of an entry: the same for the same content on every laptop, whatever its file was called."""
    return digest(f"{kind}\n{sha256}\n{_text(given)}\n{run or ''}".encode())


@dataclass(frozen=True)
class Entry:
    """One accepted file or typed entry: its number in the order of arrival, and how it was read.

    ``stored_at`` (UTC) and ``told_by`` are of the laptop that stored it first; known once it is kept.
    """

    number: int
    kind: str
    sha256: str
    name: str
    given: Mapping[str, Any]
    run: str | None
    stored_at: dt.datetime | None = None
    told_by: str = ""

    @property
    def identity(self) -> str:
        """Its identity by content."""
        return identity_of(self.kind, self.sha256, self.given, self.run)


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
    """Keep the bytes (once) and note the entry; return it with its number. To be called inside a transaction.

    It is stored later than every entry before it, whatever the laptop's clock says: their order is their meaning.
    """
    keep_bytes(book, entry.sha256, content)
    said, entry = dict(entry.given), replace(entry, told_by=entry.told_by or _teller())
    while book.row("select 1 from book.main.entry where identity = ?", [entry.identity]) is not None:
        entry = replace(entry, given={**said, AGAIN: entry.given.get(AGAIN, 0) + 1})
    found = book.row(
        "select coalesce(system.main.max(entry), 0) + 1, greatest(system.main.now() at time zone 'UTC', "
        "system.main.max(stored_at) + to_microseconds(1)) from book.main.entry"
    )
    number, stored_at = found or (1, None)
    entry = replace(entry, number=int(number), stored_at=stored_at)
    insert(book, [entry])
    return entry


def insert(book: Logbook, kept: Collection[Entry]) -> None:
    """Note entries as they stand; their bytes are kept apart."""
    rows = [
        (e.number, e.kind, e.sha256, e.name, _text(e.given), e.run, e.stored_at, e.identity, e.told_by) for e in kept
    ]
    for start in range(0, len(rows), _BATCH):
        book.insert("entry", rows[start : start + _BATCH])


def restate(book: Logbook, kept: Collection[Entry]) -> None:
    """Let these be all the entries, numbered as they are. To be called inside the transaction that makes facts anew."""
    book.rows("delete from book.main.entry")
    insert(book, kept)


def has(book: Logbook, sha256: str) -> bool:
    """Tell whether bytes are kept."""
    return book.row("select 1 from book.main.original where sha256 = ?", [sha256]) is not None


def keep_bytes(book: Logbook, sha256: str, content: bytes | Packed) -> None:
    """Keep bytes, once. To be called inside a transaction."""
    if has(book, sha256):
        return
    packed = content if isinstance(content, Packed) else pack(content)
    book.insert("original", [(sha256, packed.size)])
    for start in range(0, len(packed.parts), _BATCH):
        batch = packed.parts[start : start + _BATCH]
        book.insert("original_part", [(sha256, n, part) for n, part in enumerate(batch, start)])


def _teller() -> str:
    """Return who is typing: the name in RUNLOG_NAME, else that of the account; empty where there is none."""
    try:
        return (os.environ.get("RUNLOG_NAME") or getpass.getuser())[:80]
    except (OSError, KeyError, ImportError):  # no such account, or no such database
        return ""


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
    return fetch_all(book, [sha256])[sha256]


def fetch_all(book: Logbook, wanted: Collection[str]) -> dict[str, bytes]:
    """Return the original bytes of several by SHA-256, read at once; ``LogbookError`` when one is damaged."""
    rows = book.rows(
        "select sha256, data from book.main.original_part where sha256 in (select unnest(?::varchar[])) "
        "order by sha256, part",
        [sorted(set(wanted))],
    )
    parts: dict[str, list[bytes]] = {sha256: [] for sha256 in wanted}
    for sha256, data in rows:
        parts[sha256].append(data)
    return {sha256: _unpacked(book, sha256, b"".join(data)) for sha256, data in parts.items()}


def _unpacked(book: Logbook, sha256: str, packed: bytes) -> bytes:
    try:
        content = zlib.decompress(packed)
    except zlib.error:
        content = b""
    if digest(content) != sha256:
        raise LogbookError(f"{book.path}: the original {sha256[:12]}… is damaged")
    return content


def entries(book: Logbook) -> list[Entry]:
    """Return everything kept, in the order it came."""
    rows = book.rows(
        "select entry, kind, sha256, name, given, run, stored_at, told_by from book.main.entry order by entry"
    )
    return [
        Entry(number, kind, sha256, name, json.loads(given), run, stored_at, told_by)
        for number, kind, sha256, name, given, run, stored_at, told_by in rows
    ]


def _text(given: Mapping[str, object]) -> str:
    return json.dumps(given, sort_keys=True, ensure_ascii=False, default=str)
