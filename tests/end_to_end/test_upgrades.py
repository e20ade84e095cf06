"""A logbook of every schema there was: upgraded when it is opened, with everything in it and the same answers.

The older logbooks are made by applying the first migrations and copying into them, column by column, what a logbook
made today holds. Oracle: the answers of that logbook.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import duckdb
import pytest

from runlog.errors import LogbookError
from runlog.records import Given
from runlog.store import facts, history, originals, upgrading
from runlog.store.connection import Logbook, create_logbook, open_logbook
from runlog.workflows.intake.ingest import add_typed, import_files
from runlog.workflows.keeping.undo import undo
from runlog.workflows.keeping.verify import verify
from runlog.workflows.opening import open_current

VERSIONS = range(1, len(upgrading.migrations()))
DEMO = Path(__file__).resolve().parents[2] / "demo_runs"
PITS = DEMO / "pits" / "2031-04-12"
NEVER_COPIED = {"migration", "stale"}


@pytest.fixture(scope="module")
def today(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A logbook of today's schema: a day of the demo season, and a correction."""
    path = tmp_path_factory.mktemp("today") / "today.duckdb"
    with create_logbook(path) as book:
        logs = sorted(PITS.glob("*_3.csv"))
        files = [DEMO / "tracks", DEMO / "cars" / "heron.toml", DEMO / "sheets" / "heron_baseline.csv"]
        small = [item for item in sorted(PITS.iterdir()) if not item.name.startswith("heron_")]
        import_files(book, [*files, *small, *logs[:1]])
        add_typed(book, "slips", b"car,date,run,t60_s\nheron,2031-04-12,1,1.600\n", "typed", Given())
    return path


def older(today: Path, path: Path, version: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Make a logbook of an older schema that holds what today's does, as far as there was room for it."""
    known = upgrading.migrations()
    monkeypatch.setattr(upgrading, "migrations", lambda: known[:version])
    create_logbook(path).close()
    monkeypatch.undo()
    with duckdb.connect(str(path)) as raw:
        raw.execute(f"attach '{today}' as today (read_only)")
        tables = raw.execute("select table_name from duckdb_tables() where database_name = 'today'").fetchall()
        for (table,) in tables:
            columns = names(raw, path.stem, table)
            if table in NEVER_COPIED or not columns:
                continue
            source = names(raw, "today", table)
            taken = [
                # bodies went by the number of their entry
                (name, f"s.{name}" if name in source else "t.entry")
                for name in columns
                if name in source or name == "entry"
            ]
            raw.execute(
                f"insert into main.{table} ({', '.join(name for name, _ in taken)}) "
                f"select {', '.join(name for _, name in taken)} from today.main.{table} as s"
                + ("" if "entry" in source or "body" not in source else " join today.main.trace_fact as t using (body)")
            )


def names(raw: duckdb.DuckDBPyConnection, database: str, table: str) -> list[str]:
    rows = raw.execute(
        "select column_name from duckdb_columns() where database_name = ? and table_name = ? order by column_index",
        [database, table],
    ).fetchall()
    return [name for (name,) in rows]


def answers(book: Logbook) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name in ("slip", "air", "sheet", "run", "car", "track"):
        found[name] = sorted(map(repr, book.rows(f"select * from book.main.{name}")))
    found["samples"] = book.rows("select name, count(*), sum(value) from book.main.sample group by all order by all")
    return found


@pytest.mark.slow
@pytest.mark.parametrize("version", VERSIONS)
def test_a_logbook_of_an_older_schema_is_upgraded_with_everything_in_it(today, tmp_path, version, monkeypatch):
    path = tmp_path / "old.duckdb"
    older(today, path, version, monkeypatch)
    with open_logbook(today, read_only=True) as book:
        wanted = answers(book)
        correction = originals.entries(book)[-1]
    with open_current(path, write=True) as book:
        assert answers(book) == wanted
        assert verify(book).faults == ()
        # what an older program stored is known to have been corrected, not told differently by two
        typed = originals.entries(book)[-1]
        assert (typed.identity, typed.name) == (correction.identity, "typed")
        assert history.replaced(book)[typed.number]
        undo(book)
        assert all(slip.times.get(60) != 1.6 for slip in facts.slips(book).values())
        assert verify(book, quick=True).faults == ()


@pytest.mark.parametrize("version", VERSIONS)
def test_an_empty_logbook_of_an_older_schema_becomes_one_of_today(tmp_path, version, monkeypatch):
    known = upgrading.migrations()
    path = tmp_path / "old.duckdb"
    monkeypatch.setattr(upgrading, "migrations", lambda: known[:version])
    create_logbook(path).close()
    monkeypatch.undo()
    with open_current(path, write=True) as book:
        assert verify(book, quick=True).faults == ()


@pytest.mark.parametrize("version", VERSIONS)
def test_an_older_program_leaves_a_newer_logbook_alone(tmp_path, version, monkeypatch):
    path = tmp_path / "new.duckdb"
    create_logbook(path).close()
    before = path.read_bytes()
    known = upgrading.migrations()
    monkeypatch.setattr(upgrading, "migrations", lambda: known[:version])
    for read_only in (True, False):
        with pytest.raises(LogbookError, match=rf"newer runlog \(schema {len(known)}, this one knows {version}\)"):
            open_logbook(path, read_only=read_only)
    shutil.copy(path, tmp_path / "kept.duckdb")
    assert path.read_bytes() == before
