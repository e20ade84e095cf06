"""The schema of a logbook: ordered migrations, which the file has seen, and what in it is none of ours."""

from __future__ import annotations

import functools
import re
from importlib import resources
from typing import TYPE_CHECKING, Final

import duckdb

from runlog.errors import LogbookError

if TYPE_CHECKING:
    from runlog.store.connection import Logbook


@functools.cache
def migrations() -> tuple[tuple[int, str, str], ...]:
    """Return (number, file name, SQL) of every migration, in order."""
    folder = resources.files("runlog.store") / "migrations"
    files = sorted((item for item in folder.iterdir() if item.name.endswith(".sql")), key=lambda item: item.name)
    return tuple((int(item.name[:4]), item.name, item.read_text("utf-8")) for item in files)


def _version(book: Logbook) -> int:
    tables = {
        name
        for (name,) in book.rows(
            "select table_name from system.main.duckdb_tables() where database_name = 'book' and schema_name = 'main'"
        )
    }
    if not tables:
        return 0
    columns = book.rows(
        "select column_name from system.main.duckdb_columns() "
        "where database_name = 'book' and schema_name = 'main' and table_name = 'migration' order by column_index"
    )
    found = None
    if tuple(name for (name,) in columns) == ("number", "name", "applied_at"):
        found = book.row("select system.main.max(number) from book.main.migration")
    if found is None or not isinstance(found[0], int) or found[0] < 1:
        raise LogbookError(f"{book.path} is a DuckDB file but not a logbook")
    return int(found[0])


def schema_of(book: Logbook) -> int:
    """Return the number of the newest migration in the file; ``LogbookError`` when that is none of ours."""
    version = _version(book)
    known = len(migrations())
    if version > known:
        raise LogbookError(
            f"{book.path} was written by a newer runlog (schema {version}, this one knows {known}): upgrade runlog"
        )
    return version


def is_behind(book: Logbook) -> bool:
    """Tell whether there are migrations that the file hasn't seen."""
    return _version(book) < len(migrations())


def migrate(book: Logbook, version: int) -> None:
    """Apply what is missing since a version, each migration and its record in one transaction."""
    known = migrations()
    for number, name, sql in known[version:]:
        try:
            with book.transaction():
                if number == 1:
                    book.rows("create table book.main.migration (number integer, name varchar, applied_at timestamp)")
                book.rows(sql)
                book.rows("insert into book.main.migration values (?, ?, now() at time zone 'UTC')", [number, name])
        except duckdb.Error as error:
            raise LogbookError(
                f"{book.path} couldn't be brought to schema {number} ({name}): {str(error).splitlines()[0]}. "
                f"It is at schema {number - 1}, with everything in it."
            ) from None


_IN_BOOK: Final = "select {} from system.main.{} database_name = 'book' order by 1"


def strangers(book: Logbook) -> list[tuple[str, str]]:
    """Return (kind, name) of the macros, triggers and views in a file that are none of a logbook's.

    A macro can stand in for a function that a view uses, a trigger acts when rows are added, a view can say what was
    never stored.
    """
    own = {name for _, _, sql in migrations() for name in re.findall(r"\bview book\.main\.(\w+)", sql)}
    # DuckDB lists every function of its own for this, so the rest is asked meanwhile
    macros = book.meanwhile(_IN_BOOK.format("function_name", "duckdb_functions() where not internal and"))
    triggers = book.rows(_IN_BOOK.format("trigger_name", "duckdb_triggers() where"))
    views = book.rows(_IN_BOOK.format("view_name", "duckdb_views() where not internal and"))
    found = (("macro", macros()), ("trigger", triggers), ("view", [row for row in views if row[0] not in own]))
    return [(kind, name) for kind, rows in found for (name,) in rows]


def refuse_strangers(book: Logbook) -> None:
    """Refuse to write to a file with macros, triggers or views of others: they could act in place of ours."""
    found = strangers(book)
    if found:
        kind, name = found[0]
        more = f" and {len(found) - 1} more" if len(found) > 1 else ""
        raise LogbookError(
            f"{book.path} holds the {kind} {name!r}{more}, which no logbook has: it is not written to. Drop it with "
            "the program that made it, or go on with a backup"
        )
