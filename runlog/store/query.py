"""Asking a logbook, or a lake, in SQL."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import duckdb

from runlog.errors import RunlogError

if TYPE_CHECKING:
    from runlog.store.connection import Logbook


@dataclass(frozen=True)
class Answer:
    """The columns and rows of a query."""

    columns: tuple[str, ...]
    rows: list[tuple[Any, ...]]


def ask(book: Logbook, sql: str) -> Answer:
    """Run one query, in which the logbook's tables and views go by their plain names.

    ``RunlogError`` with what the database says of a query that it can't answer.
    """
    found = book.rows(
        "select view_name from system.main.duckdb_views() where database_name = 'book' and not internal "
        "union all select table_name from system.main.duckdb_tables() where database_name = 'book'"
    )
    # plain names without making the file the current database: a macro in it must not stand in for one of ours
    for (name,) in found:
        quoted = '"' + name.replace('"', '""') + '"'
        book.rows(f"create or replace view memory.main.{quoted} as from book.main.{quoted}")
    try:
        return Answer(*book.table(sql))
    except duckdb.Error as error:
        raise RunlogError(f"the query can't be answered: {str(error).strip()}") from None
