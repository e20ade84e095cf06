"""Reading a logbook that came from elsewhere: its entries and originals, checked, and nothing else of it.

The file is attached read-only in a connection of its own, without access to other files. Only plain tables with just
the columns that a logbook's have are read, column by column; every value is checked, every original against its
SHA-256 and its stated size. What the facts and results of the file say isn't looked at: our own readers make them anew.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import re
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from runlog.errors import LogbookError
from runlog.store import originals
from runlog.store.connection import open_stranger
from runlog.store.upgrading import schema_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from pathlib import Path

MOST_ENTRIES: Final = 1_000_000
LARGEST: Final = 2 << 30
"""[bytes] of one original, unpacked"""
LARGEST_SUM: Final = 256 << 30
_LONGEST: Final = 1000
"""characters of a name"""
_AHEAD: Final = dt.timedelta(days=400)
"""how far the other laptop's clock may be ahead: what it stored would hold against anything said here until then"""
_HISTORY: Final = 6
"""the schema that brought identities and what entries replace"""

_ENTRY: Final = (
    ("entry", "BIGINT"), ("kind", "VARCHAR"), ("sha256", "VARCHAR"), ("name", "VARCHAR"), ("given", "VARCHAR"),
    ("run", "VARCHAR"), ("stored_at", "TIMESTAMP"), ("identity", "VARCHAR"), ("told_by", "VARCHAR"),
)  # fmt: skip
_TABLES: Final = {
    "entry": _ENTRY,
    "replaces": (("entry", "BIGINT"), ("identity", "VARCHAR")),
    "original": (("sha256", "VARCHAR"), ("bytes", "BIGINT")),
    "original_part": (("sha256", "VARCHAR"), ("part", "INTEGER"), ("data", "BLOB")),
}
_HEX: Final = re.compile("[0-9a-f]{64}")


@dataclass(frozen=True)
class ForeignEntry:
    """An entry of the other logbook, and the identities of those that it replaced knowingly."""

    entry: originals.Entry
    replaces: frozenset[str]


class Foreign:
    """Another logbook, open for reading; to be used as a context manager."""

    def __init__(self, path: Path, is_given: Callable[[str, Mapping[str, Any], str | None], str]) -> None:
        """Open and check it; ``is_given`` says what is wrong with (kind, given, run) of an entry, empty if nothing.

        Raises ``NotFound`` and ``LogbookError``.
        """
        self._book = open_stranger(path)
        try:
            schema = schema_of(self._book)
            if schema < _HISTORY:
                raise LogbookError(
                    f"{path} is of schema {schema}, from before logbooks could be merged: bring it up to date first, "
                    f"with 'runlog runs --logbook {path}'"
                )
            self._check_tables()
            self._sizes = self._read_sizes()
            self.entries = list(self._read(is_given))
        except BaseException:
            self._book.close()
            raise

    def __enter__(self) -> Foreign:
        return self

    def __exit__(self, *_: object) -> None:
        self._book.close()

    @property
    def path(self) -> Path:
        """The file."""
        return self._book.path

    def content(self, sha256: str) -> bytes:
        """Return the bytes of an original; ``LogbookError`` when they aren't those that it is named for."""
        rows = self._book.rows(
            "select part, data from book.main.original_part where sha256 = ? order by part", [sha256]
        )
        size = self._sizes[sha256]
        if [part for part, _ in rows] == list(range(len(rows))):
            unpacker = zlib.decompressobj()
            try:
                content = unpacker.decompress(b"".join(data for _, data in rows), size + 1)
            except (zlib.error, TypeError):
                content = b""
            if len(content) == size and unpacker.eof and originals.digest(content) == sha256:
                return content
        raise LogbookError(f"{self.path}: the original {sha256[:12]}… is damaged: nothing is taken from this file")

    def _check_tables(self) -> None:
        for table, columns in _TABLES.items():
            found = self._book.rows(
                "select column_name, data_type from system.main.duckdb_columns() where database_name = 'book' "
                "and schema_name = 'main' and table_name = ? order by column_index",
                [table],
            )
            made = self._book.row(
                "select sql from system.main.duckdb_tables() where database_name = 'book' and schema_name = 'main' "
                "and table_name = ?",
                [table],
            )
            if made is None or tuple(found) != columns or "GENERATED" in str(made[0]).upper():
                raise LogbookError(f"{self.path}: {table} is not the plain table of a logbook: nothing is taken")

    def _read_sizes(self) -> dict[str, int]:
        rows = self._book.rows("select sha256, bytes from book.main.original")
        sizes = dict(rows)
        if (
            len(sizes) < len(rows)
            or len(rows) > MOST_ENTRIES
            or not all(isinstance(key, str) and _HEX.fullmatch(key) for key in sizes)
            or not all(isinstance(size, int) and 0 <= size <= LARGEST for size in sizes.values())
            or sum(sizes.values()) > LARGEST_SUM
        ):
            raise LogbookError(f"{self.path}: its list of originals can't be right: nothing is taken from this file")
        return sizes

    def _read(self, is_given: Callable[[str, Mapping[str, Any], str | None], str]) -> Iterator[ForeignEntry]:
        names = [name for name, _ in _ENTRY if name != "identity"]
        count = self._book.row("select system.main.count(*) from book.main.entry")
        if count is None or count[0] > MOST_ENTRIES:
            raise LogbookError(f"{self.path} holds more entries than a logbook could: nothing is taken from this file")
        known: dict[int, set[str]] = {}
        for number, identity in self._book.rows("select entry, identity from book.main.replaces"):
            if isinstance(identity, str) and _HEX.fullmatch(identity):
                known.setdefault(number, set()).add(identity)
        latest = dt.datetime.now(dt.UTC).replace(tzinfo=None) + _AHEAD
        for row in self._book.rows(f"select {', '.join(names)} from book.main.entry order by entry"):
            entry, wrong = self._entry(row, latest, is_given)
            if wrong or entry is None:
                raise LogbookError(f"{self.path}, entry {row[0]}: {wrong}: nothing is taken from this file")
            yield ForeignEntry(entry, frozenset(known.get(entry.number, ())))

    def _entry(
        self,
        row: tuple[Any, ...],
        latest: dt.datetime,
        is_given: Callable[[str, Mapping[str, Any], str | None], str],
    ) -> tuple[originals.Entry | None, str]:
        number, kind, sha256, name, given_text, run, stored_at, told_by = row
        if sha256 not in self._sizes:
            return None, "its original is missing"
        if not isinstance(name, str) or len(name) > _LONGEST or len(told_by or "") > _LONGEST:
            return None, "its name can't be right"
        if not isinstance(stored_at, dt.datetime) or not dt.datetime(1990, 1, 1) <= stored_at:
            return None, "when it was stored can't be right"
        if stored_at > latest:
            return None, f"it was stored on {stored_at:%Y-%m-%d}, so its laptop's clock is far ahead"
        try:
            given = json.loads(given_text)
        except (ValueError, RecursionError):
            given = None
        if not isinstance(given, dict):
            return None, "what was said of it can't be read"
        missing = [value for key, value in given.items() if key == "map" and value not in self._sizes]
        wrong = "the channel map named for it is missing" if missing else is_given(kind, given, run)
        return originals.Entry(int(number), kind, sha256, name, given, run, stored_at, told_by or ""), wrong


def plain_number(value: object, low: float = -math.inf) -> bool:
    """Tell whether a value is a finite number, at least ``low``."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value) and value >= low
