"""Opening the logbook: one DuckDB file, one writer at a time, upgraded by ordered migrations.

Every name is qualified with ``book.main``: the file may come from elsewhere, and a macro or view in it must not be able
to stand in for one of ours.
"""

from __future__ import annotations

import contextlib
import glob
import os
import re
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from runlog.errors import LogbookError, NotFound
from runlog.store.upgrading import is_behind, migrate, refuse_strangers, schema_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    import numpy as np
    import polars as pl

_UNWRITTEN = (duckdb.IOException, duckdb.FatalException, duckdb.OutOfMemoryException, duckdb.TransactionException)
_EXPLAIN = re.compile(r"\s*explain\b\s*(?:analyze\b|\([^()]*\))?(.*)", re.IGNORECASE | re.DOTALL)
WAIT_S = 10.0
"""How long to wait for another process to let go of the logbook."""


class Logbook:
    """An open logbook. Use ``open_logbook`` to get one; close it, or use it as a context manager."""

    def __init__(
        self, path: Path, connection: duckdb.DuckDBPyConnection, *, read_only: bool, files: bool = False
    ) -> None:
        self.path = path
        self.read_only = read_only
        self.files = files
        """whether queries may read and write other files"""
        self._connection = connection

    def rows(self, sql: str, parameters: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Run one statement and return its rows."""
        return self._run(sql, parameters).fetchall()

    def row(self, sql: str, parameters: Sequence[Any] = ()) -> tuple[Any, ...] | None:
        """Run one statement and return its first row, or None."""
        found = self.rows(sql, parameters)
        return found[0] if found else None

    def meanwhile(self, sql: str) -> Callable[[], list[tuple[Any, ...]]]:
        """Begin a query that only reads, beside what this thread goes on to do; return what waits for its rows."""
        cursor, rows, errors = self._connection.cursor(), [], []

        def run() -> None:
            try:
                rows.extend(cursor.execute(sql).fetchall())
            except duckdb.Error as error:
                errors.append(error)

        def ended() -> list[tuple[Any, ...]]:
            thread.join()
            cursor.close()
            for error in errors:
                raise error
            return rows

        thread = threading.Thread(target=run)
        thread.start()
        return ended

    def arrays(self, sql: str, parameters: Sequence[Any] = ()) -> dict[str, Any]:
        """Run one statement and return its columns as numpy arrays."""
        return self._run(sql, parameters).fetchnumpy()

    def table(self, sql: str) -> tuple[tuple[str, ...], list[tuple[Any, ...]]]:
        """Run one query and return the names of its columns, and its rows; ``duckdb.Error`` for anything else.

        Where other files are out of reach it must be a query that reads: a lake's folder could be written to otherwise.
        """
        allowed = {duckdb.StatementType.SELECT}
        if self.files:
            allowed.add(duckdb.StatementType.COPY)
        # what is explained may be carried out for it: it must be allowed by itself
        explained = _EXPLAIN.fullmatch(sql)
        kinds = [
            statement.type
            for text in (sql, explained[1] if explained else sql)
            for statement in self._connection.extract_statements(text)
        ]
        if len(kinds) != 2 or kinds[1] not in allowed or kinds[0] not in {*allowed, duckdb.StatementType.EXPLAIN}:
            raise duckdb.InvalidInputException("one query that reads, such as: select * from run")
        done = self._connection.execute(sql)
        return tuple(column[0] for column in done.description or ()), done.fetchall()

    def frame(self, sql: str, parameters: Sequence[Any] = ()) -> pl.DataFrame:
        """Run one statement and return its rows as a frame."""
        import polars as pl

        return pl.DataFrame(self._connection.sql(sql, params=list(parameters)))

    def insert(self, table: str, rows: Sequence[Sequence[Any]]) -> None:
        """Add rows to a table, values in the order of its columns."""
        if rows:
            marks = ", ".join("?" * len(rows[0]))
            lines = ", ".join([f"({marks})"] * len(rows))
            values = [value for row in rows for value in row]
            self._run(f"insert into book.main.{table} values {lines}", values)

    def insert_columns(
        self, table: str, columns: Mapping[str, np.ndarray[Any, Any]], fillings: Iterable[int] | None = None
    ) -> None:
        """Add whole columns to a table, in the order of its columns.

        With ``fillings`` the columns are room that each step of it fills anew, telling how many rows: DuckDB holds on
        to every array that it was handed until the transaction ends.
        """
        self._connection.register("incoming", columns)
        room = next(iter(columns.values())).size
        for rows in (room,) if fillings is None else fillings:
            some = "" if rows == room else f" limit {rows}"
            self._run(f"insert into book.main.{table} select * from incoming{some}")
        self._connection.unregister("incoming")

    @contextlib.contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing: what is written inside is kept whole or not at all."""
        self._run("begin")
        try:
            yield
            self._run("commit")
        except BaseException:
            # what could not be written may have ended the transaction already
            with contextlib.suppress(duckdb.Error):
                self._connection.execute("rollback")
            raise

    def checkpoint(self) -> None:
        """Write everything committed into the one file, so that no other file belongs to it."""
        self._run("checkpoint book")

    def _run(self, sql: str, parameters: Sequence[Any] = ()) -> duckdb.DuckDBPyConnection:
        try:
            return self._connection.execute(sql, parameters)
        except _UNWRITTEN as error:
            raise LogbookError(_unwritten(self.path, error)) from None

    def reopen(self) -> None:
        """Close the file and open it again, which gives back the memory that DuckDB keeps its pages in.

        Not inside a transaction. Others that wait for the file may write to it in between.
        """
        self.close()
        self._connection = _open(self.path, read_only=self.read_only, wait_s=WAIT_S)._connection

    def close(self) -> None:
        """Close the file; what was committed is in it."""
        self._connection.close()

    def __enter__(self) -> Logbook:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def create_logbook(path: Path) -> Logbook:
    """Make a new, empty logbook; ``LogbookError`` when something is there already."""
    if path.exists():
        raise LogbookError(f"{path} exists already: choose another name, or use it as it is")
    if not path.parent.is_dir():
        raise LogbookError(f"{path}: the folder {path.parent} doesn't exist")
    return _open(path, read_only=False, wait_s=0.0)


def open_logbook(path: Path, *, read_only: bool = False, wait_s: float = WAIT_S, files: bool = False) -> Logbook:
    """Open a logbook and bring its schema up to date; with ``files`` its queries may read and write other files.

    Raises ``NotFound`` when there is none, ``LogbookError`` when it is held by another process for longer than
    ``wait_s`` seconds, isn't a logbook, or was written by a newer program.
    """
    if not path.exists():
        raise NotFound(f"no logbook at {path}: make one with 'runlog new {path}'")
    return _open(path, read_only=read_only, wait_s=wait_s, files=files)


def open_lake(folder: Path, places: Mapping[str, str]) -> Logbook:
    """Open the Parquet files of a lake under the names of a logbook's tables and views, for reading.

    ``places``: for each name the pattern of its files, relative to the folder; nothing outside of it can be reached.
    """
    connection = _connect()
    try:
        connection.execute("attach ':memory:' as book")
        book = Logbook(folder, connection, read_only=True)
        migrate(book, 0)
        # the folder's own brackets and stars are no pattern; both writings of it are looked for among what is allowed
        inside = folder.resolve()
        place = Path(glob.escape(str(inside)))
        for name, pattern in places.items():
            if next(folder.glob(pattern), None) is not None:
                is_table = book.row(
                    "select 1 from system.main.duckdb_tables() where database_name = 'book' and table_name = ?", [name]
                )
                book.rows(f"drop {'table' if is_table else 'view'} book.main.{name}")
                book.rows(
                    f"create view book.main.{name} as from "
                    f"read_parquet({_quoted(str(place / pattern))}, hive_partitioning = false)"
                )
        connection.execute(f"set allowed_directories = [{_quoted(str(inside))}, {_quoted(str(place))}]")
        connection.execute("set enable_external_access = false")
        connection.execute("set lock_configuration = true")
    except BaseException:
        connection.close()
        raise
    return book


def open_stranger(path: Path, *, wait_s: float = WAIT_S) -> Logbook:
    """Open for reading a file that may hold anything, as it is; ``runlog.store.foreign`` says what of it to believe."""
    if not path.is_file():
        raise NotFound(f"no logbook at {path}")
    return _open(path, read_only=True, wait_s=wait_s, ours=False)


def open_empty() -> Logbook:
    """Return an empty logbook in memory: what one looks like that was made just now."""
    connection = _connect()
    connection.execute("attach ':memory:' as book")
    book = Logbook(Path(":memory:"), connection, read_only=False)
    migrate(book, 0)
    return book


def wal_of(path: Path) -> Path:
    """Return the file beside a logbook that holds what was committed last, until the logbook is closed cleanly."""
    return path.with_name(f"{path.name}.wal")


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _connect() -> duckdb.DuckDBPyConnection:
    return duckdb.connect(
        ":memory:",
        config={"autoinstall_known_extensions": "false", "allow_community_extensions": "false"},
    )


def _open(path: Path, *, read_only: bool, wait_s: float, files: bool = False, ours: bool = True) -> Logbook:
    connection = _connect()
    try:
        _attach(connection, path, read_only=read_only, wait_s=wait_s)
        book = Logbook(path, connection, read_only=read_only, files=files)
        upgraded = ours and read_only and is_behind(book)
        if upgraded:
            connection.execute("detach book")
            _attach(connection, path, read_only=False, wait_s=wait_s)
        version = schema_of(book) if ours or not read_only else 0
        if upgraded or not read_only:
            refuse_strangers(book)
        if ours:
            migrate(book, version)
        if upgraded:
            # others may read it again, and on Windows it can be copied
            connection.execute("detach book")
            _attach(connection, path, read_only=True, wait_s=wait_s)
        # last, since it also forbids attaching: nothing in the file, which may come from elsewhere, can make us read or
        # write another file or load an extension
        if not files:
            connection.execute("set enable_external_access = false")
        connection.execute("set lock_configuration = true")
    except BaseException:
        connection.close()
        raise
    return book


def _attach(connection: duckdb.DuckDBPyConnection, path: Path, *, read_only: bool, wait_s: float) -> None:
    options = "type duckdb, read_only" if read_only else "type duckdb"
    deadline = time.monotonic() + wait_s
    while True:
        try:
            connection.execute(f"attach {_quoted(str(path))} as book ({options})")
        except duckdb.IOException as error:
            text = str(error)
            if not _is_held(text):
                raise LogbookError(f"{path} can't be opened as a logbook: {_first_line(text)}") from None
            if time.monotonic() >= deadline:
                raise LogbookError(f"{path} is in use{_holder(text)}; try again when it has finished") from None
            time.sleep(0.05)
        except duckdb.Error as error:
            raise LogbookError(f"{path} can't be opened as a logbook: {_first_line(str(error))}") from None
        else:
            return


def _is_held(text: str, system: str = os.name) -> bool:
    """Tell from DuckDB's words whether another process holds a file: they differ by system, Windows' also by language.

    On Windows the words of the system stand after DuckDB's own (from memory of its sources, where it looks for the
    holder as well).
    """
    words = text.lower()
    return "lock on file" in words or "already open" in words or (system == "nt" and "cannot open file" in words)


def _holder(text: str) -> str:
    found = re.search(r"\(PID (\d+)\)", text)
    return f" by another program (process {found[1]})" if found else " by another program"


def _unwritten(path: Path, error: Exception) -> str:
    """Say that the disk or the memory failed: the transaction is rolled back, so nothing of it is stored."""
    why = _first_line(str(error)).removeprefix("IO Error: ").removeprefix("TransactionContext Error: ")
    return (
        f"{path} couldn't be read or written ({why}): what was being stored isn't, all else is as it was. "
        "Is the disk full or write-protected?"
    )


def _first_line(text: str) -> str:
    return text.splitlines()[0]
