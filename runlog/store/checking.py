"""Whether a logbook is whole: its schema, its originals, and that everything refers to something that is there."""

from __future__ import annotations

import functools
import json
import math
import re
from typing import TYPE_CHECKING, Any, Final

from runlog.errors import LogbookError
from runlog.store import history, originals
from runlog.store.connection import open_empty
from runlog.store.upgrading import migrations, strangers

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from runlog.store.connection import Logbook

_DEFINED: Final = (
    "select 'table', table_name, sql from system.main.duckdb_tables() where database_name = 'book' "
    "union all select 'view', view_name, sql from system.main.duckdb_views() "
    "where database_name = 'book' and not internal"
)
_BODIES: Final = ("channel_fact", "tick_fact", "sample_fact", "close_call", "trace_result")
_RELATIVE: Final = 1e-6
"""how far a computed figure may be from that of a rebuild: the order in which floats were summed shows in the last
digits"""
_ABSOLUTE: Final = 1e-9


def schema_faults(book: Logbook) -> Iterator[str]:
    """Yield what is defined otherwise than in a logbook that was made just now."""
    wanted = _wanted(tuple(migrations()))
    found = _defined(book)
    for kind, name in sorted(wanted.keys() | found.keys()):
        if (kind, name) not in found:
            yield f"the {kind} {name} is missing"
        elif (kind, name) not in wanted:
            yield f"the {kind} {name} is none of a logbook's"
        elif wanted[kind, name] != found[kind, name]:
            yield f"the {kind} {name} is defined otherwise than a logbook's"
    for kind, name in strangers(book):
        if kind != "view":
            yield f"the {kind} {name} is none of a logbook's"


@functools.cache
def _wanted(_: tuple[tuple[int, str, str], ...]) -> dict[tuple[str, str], str]:
    """Return what a logbook that was made just now with these migrations defines."""
    with open_empty() as fresh:
        return _defined(fresh)


def _defined(book: Logbook) -> dict[tuple[str, str], str]:
    # DuckDB writes the names of an exclude in any order
    return {
        (kind, name): re.sub(r"EXCLUDE \(([^)]*)\)", lambda found: " ".join(sorted(found[1].split(", "))), sql)
        for kind, name, sql in book.rows(_DEFINED)
    }


def original_faults(book: Logbook, progress: Callable[[str], None] | None = None) -> Iterator[str]:
    """Yield the originals whose bytes aren't those that they are named for, are of another size, or of no entry."""
    sizes = book.rows("select sha256, bytes from book.main.original order by sha256")
    named = {entry.sha256: entry.name for entry in originals.entries(book)}
    for sha256, size in sizes:
        name = named.get(sha256)
        if name is None:
            yield f"the original {sha256[:12]}… belongs to no entry"
            continue
        if progress:
            progress(name)
        try:
            content = originals.fetch(book, sha256)
        except LogbookError:
            yield f"the original of {name} is damaged"
            continue
        if len(content) != size:
            yield f"the original of {name} has {len(content)} bytes where {size} are noted"
    for sha256 in sorted(named.keys() - {sha256 for sha256, _ in sizes}):
        yield f"the original of {named[sha256]} is missing"


def link_faults(book: Logbook) -> Iterator[str]:
    """Yield what refers to something that isn't there, or stands where it can't."""
    entries = originals.entries(book)
    if [entry.number for entry in entries] != list(range(1, len(entries) + 1)):
        yield "entries aren't numbered without gaps"
    order = [(entry.stored_at, entry.identity) for entry in entries if entry.stored_at is not None]
    if len(order) < len(entries) or order != sorted(order):
        yield "entries aren't in the order in which they were stored"
    noted = dict(book.rows("select entry, identity from book.main.entry"))
    for entry in entries:
        if noted.get(entry.number) != entry.identity:
            yield f"entry {entry.number} ({entry.name}) isn't what its identity says"
    out = history.withdrawals(book)
    numbers = {entry.number for entry in entries}
    gone = {entry.number for entry in entries if entry.identity in out}
    for table in _tables_with(book, "entry"):
        if table == "entry":
            continue
        used = {number for (number,) in book.rows(f"select distinct entry from book.main.{table}")}
        if used - numbers:
            yield f"{table} has rows of entries that aren't there: {_some(used - numbers)}"
        if table.endswith("_fact") and used & gone:
            yield f"{table} has rows of withdrawn entries: {_some(used & gone)}"
    bodies = [body for (body,) in book.rows("select body from book.main.trace_fact")]
    for table in _BODIES:
        used = {body for (body,) in book.rows(f"select distinct body from book.main.{table}")}
        if used - set(bodies):
            yield f"{table} has rows of traces that aren't there: {_some(used - set(bodies))}"
    empty = book.rows(
        "select trace_fact.entry from book.main.trace_fact "
        "where body not in (select body from book.main.channel_fact) order by 1"
    )
    if empty:
        yield f"traces without channels, of entries {_some({number for (number,) in empty})}"
    strange = book.rows(
        "select car || '/' || date || '/' || number from book.main.run_result where (car, date, number) not in "
        "(select car, date, number from book.main.slip_fact union select car, date, number from book.main.trace_fact)"
    )
    if strange:
        yield f"results of runs that nothing tells of: {_some({key for (key,) in strange})}"
    twice = book.rows(
        "select car || '/' || date || '/' || number from book.main.run_result group by all having count(*) > 1"
    )
    if twice:
        yield f"runs with several results: {_some({key for (key,) in twice})}"


def differences(book: Logbook, again: Logbook) -> Iterator[str]:
    """Yield what a rebuilt copy says otherwise: facts exactly, computed figures to the last digits."""
    tables = {name for (name,) in book.rows(_TABLES)} | {name for (name,) in again.rows(_TABLES)}
    for table in sorted(tables):
        query = _query(table, {name for (name,) in book.rows(_COLUMNS, [table])})
        here, there = (sorted(map(tuple, side.rows(query)), key=_key) for side in (book, again))
        if len(here) != len(there):
            yield f"{table} has {len(here)} rows where a rebuild makes {len(there)}"
            continue
        exact = table.endswith("_fact")
        for one, other in zip(here, there, strict=True):
            if one != other and (exact or not _alike(one, other)):
                yield f"{table}: {_name(one)} is said otherwise by a rebuild"
                break


_TABLES: Final = (
    "select table_name from system.main.duckdb_tables() where database_name = 'book' and "
    "(table_name like '%_fact' or table_name like '%_result' or table_name in ('about', 'unread'))"
)
_COLUMNS: Final = (
    "select column_name from system.main.duckdb_columns() where database_name = 'book' and table_name = ? "
)


def _query(table: str, columns: set[str]) -> str:
    """Return what reads a table without the numbers of bodies, which a rebuild gives anew; samples as digests."""
    if table in ("sample_fact", "tick_fact"):
        value, place = ("value", "channel") if table == "sample_fact" else ("time", "time_base")
        return (
            f"select trace_fact.entry, {place}, system.main.count(*), "
            f"system.main.bit_xor(system.main.hash(n, {value})) "
            f"from book.main.{table} join book.main.trace_fact using (body) group by all"
        )
    if table == "trace_fact":
        return "select * exclude (body) from book.main.trace_fact"
    if "body" in columns:
        return (
            f"select trace_fact.entry, {table}.* exclude (body) from book.main.{table} "
            "join book.main.trace_fact using (body)"
        )
    return f"select * from book.main.{table}"


def _key(row: tuple[Any, ...]) -> str:
    # what identifies a row stands first, figures that may differ in their last digits after it
    return repr([item for item in row[:4] if not isinstance(item, float)]) + repr(row[:1])


def _alike(one: Any, other: Any) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        both_nan = math.isnan(one) and math.isnan(other)
        return both_nan or math.isclose(one, other, rel_tol=_RELATIVE, abs_tol=_ABSOLUTE)
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) == len(other) and all(map(_alike, one, other))
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_alike(one[name], other[name]) for name in one)
    if isinstance(one, str) and isinstance(other, str) and one != other:
        try:
            parsed = json.loads(one), json.loads(other)
        except ValueError:
            return False
        return not isinstance(parsed[0], str) and _alike(*parsed)
    if isinstance(one, int | float) and isinstance(other, int | float) and not isinstance(one, bool):
        return math.isclose(one, other, rel_tol=_RELATIVE, abs_tol=_ABSOLUTE)
    return bool(one == other)


def _tables_with(book: Logbook, column: str) -> list[str]:
    rows = book.rows(
        "select distinct table_name from system.main.duckdb_columns() where database_name = 'book' "
        "and column_name = ? and table_name in (select table_name from system.main.duckdb_tables() "
        "where database_name = 'book') order by 1",
        [column],
    )
    return [name for (name,) in rows]


def _name(row: tuple[Any, ...]) -> str:
    return "/".join(str(item) for item in row[:3])[:60]


def _some(items: set[Any]) -> str:
    shown = sorted(items, key=str)
    return ", ".join(map(str, shown[:5])) + (f" and {len(shown) - 5} more" if len(shown) > 5 else "")
