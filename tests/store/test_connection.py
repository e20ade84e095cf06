"""The logbook file: made, opened, upgraded, held by one process at a time, and nothing else than a logbook."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import duckdb
import pytest

from runlog.errors import LogbookError, NotFound
from runlog.store import connection, upgrading
from runlog.store.connection import Logbook, create_logbook, open_logbook

VIEWS = {
    "air", "car", "crew", "channel", "channel_map", "forecast", "increment", "plan", "run", "sample", "setup", "sheet",
    "slip", "split", "trace", "track",
}  # fmt: skip


def insert(book: Logbook, name: str) -> None:
    book.insert("track_fact", [(1, name, "{}")])


def names(book: Logbook) -> list[str]:
    return [name for (name,) in book.rows("select name from book.main.track_fact order by name")]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "it's a shop.duckdb"  # a quote and blanks in a name are normal


def test_what_was_written_is_there_again(path):
    with create_logbook(path) as book:
        insert(book, "a")
    with open_logbook(path) as book:
        assert names(book) == ["a"]
        insert(book, "b")
    with open_logbook(path, read_only=True) as book:
        assert names(book) == ["a", "b"]
    assert not path.with_name(f"{path.name}.wal").exists()


def test_opened_again_it_goes_on_as_before_and_is_closed_as_usual(path):
    with create_logbook(path) as book:
        insert(book, "a")
        book.reopen()
        insert(book, "b")
        assert names(book) == ["a", "b"]
    with open_logbook(path, read_only=True) as book:
        book.reopen()
        assert names(book) == ["a", "b"]
        with pytest.raises(duckdb.Error, match="read-only"):
            insert(book, "c")


def test_a_logbook_is_not_made_over_something(path):
    create_logbook(path).close()
    with pytest.raises(LogbookError, match="exists already: choose another name"):
        create_logbook(path)


def test_a_logbook_is_not_made_in_no_folder(tmp_path):
    with pytest.raises(LogbookError, match=r"the folder .*nowhere doesn't exist"):
        create_logbook(tmp_path / "nowhere" / "x.duckdb")


def test_no_logbook(path):
    with pytest.raises(NotFound, match=f"no logbook at .*: make one with 'runlog new .*{path.name}'"):
        open_logbook(path)
    assert not path.exists()


def test_reading_only_writes_nothing(path):
    create_logbook(path).close()
    before = path.read_bytes()
    with open_logbook(path, read_only=True) as book, pytest.raises(duckdb.Error, match="read-only"):
        insert(book, "a")
    assert path.read_bytes() == before


@pytest.mark.parametrize("content", [b"", b"not a database", b"\x00" * 20_000])
def test_files_that_are_no_database(path, content):
    path.write_bytes(content)
    with pytest.raises(LogbookError, match="can't be opened as a logbook"):
        open_logbook(path)
    assert path.read_bytes() == content


@pytest.mark.parametrize(
    "sql",
    [
        "create table notes (text varchar)",
        "create table migration (number integer)",
        "create table migration (number varchar, name varchar, applied_at timestamp)",
        "create table migration (number integer, name varchar, applied_at timestamp)",
    ],
)
def test_databases_that_are_no_logbook(path, sql):
    with duckdb.connect(str(path)) as other:
        other.execute(sql)
    with pytest.raises(LogbookError, match="is a DuckDB file but not a logbook"):
        open_logbook(path)
    with duckdb.connect(str(path)) as other:
        assert len(other.execute("select * from duckdb_tables()").fetchall()) == 1


def test_a_logbook_of_a_newer_program_is_left_alone(path):
    with create_logbook(path) as book:
        book.insert("migration", [(99, "0099_later.sql", None)])
    with pytest.raises(LogbookError, match=r"written by a newer runlog \(schema 99, this one knows \d+\): upgrade"):
        open_logbook(path)
    with pytest.raises(LogbookError, match="written by a newer runlog"):
        open_logbook(path, read_only=True)


# --- migrations


LATER = (2, "0002_colour.sql", "alter table book.main.track_fact add column colour varchar")


def columns(book: Logbook) -> list[str]:
    return [row[0] for row in book.rows("select name from pragma_table_info('book.main.track_fact')")]


def with_migrations(monkeypatch: pytest.MonkeyPatch, *more: tuple[int, str, str]) -> None:
    known = upgrading.migrations()[:1]
    monkeypatch.setattr(upgrading, "migrations", lambda: [*known, *more])


def test_migrations_are_applied_once_and_in_order(path, monkeypatch):
    with_migrations(monkeypatch)
    with create_logbook(path) as book:
        insert(book, "old")
    with_migrations(monkeypatch, LATER)
    for _ in range(2):
        with open_logbook(path) as book:
            assert columns(book)[-1] == "colour"
            assert names(book) == ["old"]
            assert [row[0] for row in book.rows("select number from book.main.migration order by number")] == [1, 2]


def test_opening_for_reading_upgrades_too(path, monkeypatch):
    with_migrations(monkeypatch)
    create_logbook(path).close()
    with_migrations(monkeypatch, LATER)
    with open_logbook(path, read_only=True) as book:
        assert columns(book)[-1] == "colour"
        # and holds it like any reader
        with pytest.raises(duckdb.Error, match="read-only"):
            book.rows("delete from book.main.track_fact")


def test_a_migration_that_fails_leaves_the_schema_as_it_was(path, monkeypatch):
    with_migrations(monkeypatch)
    with create_logbook(path) as book:
        insert(book, "old")
    broken = (
        2,
        "0002_broken.sql",
        f"{LATER[2]}; delete from book.main.track_fact; select * from book.main.nothing_here",
    )
    with_migrations(monkeypatch, broken)
    with pytest.raises(LogbookError, match=r"couldn't be brought to schema \d \(000\d_broken.sql\): .*nothing_here"):
        open_logbook(path)
    with_migrations(monkeypatch)
    with open_logbook(path) as book:
        assert columns(book) == ["entry", "name", "content"]
        assert names(book) == ["old"]
        assert book.row("select max(number) from book.main.migration") == (len(upgrading.migrations()),)


def test_migrations_that_succeeded_before_one_that_fails_are_kept(path, monkeypatch):
    with_migrations(monkeypatch)
    create_logbook(path).close()
    with_migrations(monkeypatch, LATER, (3, "0003_broken.sql", "select * from book.main.nothing_here"))
    with pytest.raises(LogbookError, match=r"couldn't be brought to schema \d \(000\d_broken.sql\): .*nothing_here"):
        open_logbook(path)
    with_migrations(monkeypatch, LATER)
    with open_logbook(path) as book:
        assert columns(book)[-1] == "colour"


def test_migration_files_are_numbered_without_gaps():
    assert [number for number, _, _ in upgrading.migrations()] == list(range(1, len(upgrading.migrations()) + 1))


def test_a_program_killed_while_making_a_logbook_leaves_one_that_opens(path, monkeypatch):
    monkeypatch.setattr(upgrading, "migrations", lambda: [])
    create_logbook(path).close()
    monkeypatch.undo()
    with open_logbook(path) as book:
        assert names(book) == []


# --- transactions


def interrupted(book: Logbook, by: BaseException) -> None:
    with book.transaction():
        insert(book, "lost")
        raise by


def test_a_transaction_is_kept_whole_or_not_at_all(path):
    with create_logbook(path) as book:
        with book.transaction():
            insert(book, "kept")
        with pytest.raises(RuntimeError, match="stop"):
            interrupted(book, RuntimeError("stop"))
        assert names(book) == ["kept"]
        insert(book, "after")
    with open_logbook(path) as book:
        assert names(book) == ["after", "kept"]


def test_ctrl_c_rolls_back_too(path):
    with create_logbook(path) as book:
        with pytest.raises(KeyboardInterrupt):
            interrupted(book, KeyboardInterrupt())
        assert names(book) == []


def test_a_killed_process_loses_only_what_was_not_finished(path):
    create_logbook(path).close()
    program = (
        "import os, signal, sys; from pathlib import Path; from runlog.store.connection import open_logbook\n"
        "book = open_logbook(Path(sys.argv[1]))\n"
        "with book.transaction(): book.insert('track_fact', [(1, 'kept', '{}')])\n"
        "with book.transaction():\n"
        "    book.insert('track_fact', [(2, 'lost', '{}')])\n"
        "    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    done = subprocess.run([sys.executable, "-c", program, str(path)], timeout=60, check=False)
    assert done.returncode == -9
    with open_logbook(path) as book:
        assert names(book) == ["kept"]


# --- two processes

HOLD = (
    "import sys, time; from pathlib import Path; from runlog.store.connection import open_logbook\n"
    "with open_logbook(Path(sys.argv[1]), read_only=sys.argv[3] == 'r'):\n"
    "    print('open', flush=True); time.sleep(float(sys.argv[2]))\n"
)


def holding(path: Path, seconds: float, mode: str = "w") -> subprocess.Popen[str]:
    other = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(path), str(seconds), mode], stdout=subprocess.PIPE, text=True
    )
    assert other.stdout is not None
    assert other.stdout.readline() == "open\n"
    return other


def test_the_second_waits_until_the_first_has_finished(path):
    create_logbook(path).close()
    with holding(path, 1.0) as other:
        began = time.monotonic()
        with open_logbook(path, wait_s=30.0) as book:
            waited = time.monotonic() - began
            insert(book, "second")
        assert other.wait(30) == 0
    assert waited > 0.3  # it did wait, however slowly this machine started it


def test_the_second_says_who_holds_it(path):
    create_logbook(path).close()
    with holding(path, 60.0) as other:
        with pytest.raises(LogbookError, match=rf"in use by another program \(process {other.pid}\); try again when"):
            open_logbook(path, wait_s=0.2)
        other.terminate()


@pytest.mark.parametrize(
    ("text", "system", "is_held"),
    [
        # as DuckDB 2.0 says it here
        ('IO Error: Could not set lock on file "a.duckdb": Conflicting lock is held in python (PID 7)', "posix", True),
        # on Windows, from memory: the system's words are in its language
        ('IO Error: Cannot open file "a.duckdb": Der Prozess kann nicht auf die Datei zugreifen', "nt", True),
        ('IO Error: Cannot open file "a.duckdb": x\nFile is already open in python.exe (PID 7)', "nt", True),
        ('IO Error: Cannot open file "a.duckdb": Permission denied', "posix", False),
        ('IO Error: Cannot open file "lock.duckdb": No such file or directory', "posix", False),
    ],
)
def test_what_says_that_another_process_holds_the_file(text, system, is_held):
    assert connection._is_held(text, system) == is_held


def test_two_may_read_at_once(path):
    create_logbook(path).close()
    with holding(path, 60.0, "r") as other:
        with open_logbook(path, read_only=True, wait_s=0.0) as book:
            assert names(book) == []
        other.terminate()


# --- files from elsewhere


@pytest.mark.parametrize(
    "sql",
    [
        "select * from read_text('{file}')",
        "copy book.main.track_fact to '{file}'",
        "attach '{file}' as other",
        "load httpfs",
        "install httpfs",
        "set enable_external_access = true",
    ],
)
def test_nothing_in_a_logbook_reaches_other_files_or_the_network(path, tmp_path, sql):
    secret = tmp_path / "secret.txt"
    secret.write_text("kept")
    with create_logbook(path) as book:
        with pytest.raises(duckdb.Error, match=r"disabled|cannot change configuration|Cannot change configuration"):
            book.rows(sql.format(file=secret))
        settings = dict(book.rows("select name, value from system.main.duckdb_settings()"))
    assert settings["autoinstall_known_extensions"] == "false"
    assert settings["allow_community_extensions"] == "false"
    assert settings["enable_external_access"] == "false"
    assert settings["lock_configuration"] == "true"
    assert secret.read_text() == "kept"


def test_a_view_that_reads_a_file_is_not_followed(path, tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("kept")
    create_logbook(path).close()
    with duckdb.connect(str(path)) as other:
        other.execute(f"create or replace view track as select content as track, content from read_text('{secret}')")
    with open_logbook(path) as book, pytest.raises(duckdb.Error, match="disabled"):
        book.rows("select * from book.main.track")


def test_a_macro_in_the_file_does_not_stand_in_for_a_function(path):
    create_logbook(path).close()
    with duckdb.connect(str(path)) as other:
        other.execute("create macro max(x) as 99")
        other.execute("create macro now() as timestamp '1999-01-01'")
    with open_logbook(path, read_only=True) as book:
        assert book.row("select max(number) from book.main.migration") == (len(upgrading.migrations()),)


@pytest.mark.parametrize(
    ("sql", "what"),
    [
        ("create macro row_number() as 1", "macro 'row_number'"),
        ("create macro rows_of() as table select 1", "macro 'rows_of'"),
        ("create view notes as select 1", "view 'notes'"),
        (
            "create trigger more after insert on slip_fact for each statement delete from car_fact",
            "trigger 'more'",
        ),
    ],
)
def test_a_file_with_what_no_logbook_has_is_not_written_to(path, sql, what):
    create_logbook(path).close()
    with duckdb.connect(str(path)) as other:
        other.execute(sql)
    before = path.read_bytes()
    with pytest.raises(LogbookError, match=f"holds the {re.escape(what)}, which no logbook has: it is not written to"):
        open_logbook(path)
    assert path.read_bytes() == before


def test_the_views_work_where_the_file_is_opened_by_plain_duckdb_under_another_name(path, tmp_path):
    with create_logbook(path) as book:
        insert(book, "lowfield")
    moved = tmp_path / "2031 season.duckdb"
    shutil.copy(path, moved)
    with duckdb.connect(str(moved), read_only=True) as plain:
        views = {
            name for (name,) in plain.execute("select view_name from duckdb_views() where not internal").fetchall()
        }
        assert views == VIEWS
        for view in views:
            plain.execute(f"select * from {view}").fetchall()
        assert plain.execute("select track from track").fetchall() == [("lowfield",)]
    with duckdb.connect() as plain:
        plain.execute(f"attach '{moved}' as season (read_only)")
        for view in VIEWS:
            plain.execute(f"select * from season.main.{view}").fetchall()
