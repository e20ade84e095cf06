"""Backups: whole or not at all, rotated, and what is restored is what was there."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import subprocess
import sys
from types import SimpleNamespace

import pytest

from runlog.errors import LogbookError
from runlog.records import Given
from runlog.store import facts
from runlog.store.connection import create_logbook, open_logbook, wal_of
from runlog.workflows.intake.ingest import add_typed, import_files
from runlog.workflows.keeping import backup as saving
from runlog.workflows.keeping.backup import backup, backups
from runlog.workflows.keeping.bundle import bundle

SLIP = b"car,date,run,t60_s\nteal,2031-04-12,%d,1.412\n"


def typed(book, number):
    add_typed(book, "slips", SLIP % number, f"typed {number}", Given())


def test_what_is_restored_is_what_was_there(book, files, tmp_path, answers):
    import_files(book, [files / name for name in ("teal.toml", "slips.csv", "air.csv")])
    before = answers(book)
    book.close()
    done = backup(book.path, tmp_path / "stick")
    assert done.entries == 3
    assert [path.name for path in done.path.parent.iterdir()] == [done.path.name]
    book.path.unlink()
    shutil.copyfile(done.path, book.path)
    with open_logbook(book.path) as restored:
        assert answers(restored) == before
        typed(restored, 9)  # and it can be worked on


@pytest.mark.slow
def test_copies_of_the_same_second_keep_their_order_while_old_ones_go(tmp_path, monkeypatch):
    """A name that rotation has made free must not be taken again: it would count as the oldest."""
    create_logbook(tmp_path / "shop.duckdb").close()
    at = dt.datetime(2031, 4, 12, 10, tzinfo=dt.UTC)
    clock = SimpleNamespace(UTC=dt.UTC, datetime=SimpleNamespace(now=lambda zone: at))
    monkeypatch.setattr(saving, "dt", clock)
    made = [backup(tmp_path / "shop.duckdb", keep=2).path for _ in range(4)]
    assert backups(tmp_path / "backups", "shop") == made[-2:]


def test_the_newest_stay_and_other_files_are_left_alone(tmp_path):
    create_logbook(tmp_path / "shop.duckdb").close()
    folder = tmp_path / "backups"
    folder.mkdir()
    for name in ("other-20310412T100000Z.duckdb", "shop-notes.duckdb", "shop-20310412T100000Z.txt"):
        (folder / name).write_text("kept")
    made = [backup(tmp_path / "shop.duckdb", keep=2).path for _ in range(4)]
    assert backups(folder, "shop") == made[-2:]
    assert len(list(folder.iterdir())) == 5
    assert len(backups(folder, "shop")) == 2
    assert backup(tmp_path / "shop.duckdb").removed == ()


@pytest.mark.slow
def test_what_a_killed_program_left_beside_the_file_is_in_the_copy(tmp_path):
    """A copy of the file alone would lack what was committed last."""
    path = tmp_path / "shop.duckdb"
    create_logbook(path).close()
    program = (
        "import os, signal, sys; from pathlib import Path; from runlog.store.connection import open_logbook\n"
        "from runlog.workflows.intake.ingest import add_typed; from runlog.records import Given\n"
        "book = open_logbook(Path(sys.argv[1]))\n"
        f"add_typed(book, 'slips', {SLIP % 1!r}, 'typed', Given())\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    assert subprocess.run([sys.executable, "-c", program, str(path)], timeout=60, check=False).returncode == -9
    assert wal_of(path).exists()
    done = backup(path)
    with open_logbook(done.path, read_only=True) as copy:
        assert len(facts.slips(copy)) == 1


def test_what_a_killed_backup_or_bundle_left_goes_and_links_are_not_written_through(tmp_path):
    path, stick, mine = tmp_path / "shop.duckdb", tmp_path / "stick", tmp_path / "mine.txt"
    with create_logbook(path) as book:
        typed(book, 1)
    stick.mkdir()
    mine.write_text("mine")
    for stem, work in (("shop", lambda: backup(path, stick)), ("day.duckdb", lambda: packed(path, stick))):
        old, young, own = (stick / f".{stem}.{number}.unfinished" for number in (-1, -2, os.getpid()))
        for left in (old, old.with_name(f"{old.name}.wal"), young):
            left.write_bytes(b"half")
            if left != young:
                os.utime(left, (0, 0))
        if hasattr(os, "symlink"):
            own.symlink_to(mine)
        work()
        assert [item.name for item in stick.iterdir() if item.name.startswith(f".{stem}")] == [young.name]
    assert mine.read_text() == "mine"


def packed(path, folder):
    with open_logbook(path) as book:
        bundle(book, "teal/2031-04-12", folder / "day.duckdb")


def test_a_damaged_logbook_is_not_taken_for_a_backup(book, tmp_path):
    typed(book, 1)
    book.rows("update book.main.original_part set data = 'x'::blob")
    book.close()
    with pytest.raises(LogbookError, match="is not whole, so no backup was made: the original of typed 1 is damaged"):
        backup(book.path, tmp_path / "stick", keep=1)
    assert list((tmp_path / "stick").iterdir()) == []


def test_no_older_copy_is_removed_when_the_new_one_fails(book, tmp_path, monkeypatch):
    typed(book, 1)
    book.close()
    first = backup(book.path, tmp_path / "stick", keep=1).path

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(saving, "_copy", full)
    with pytest.raises(LogbookError, match=r"no backup was made in .*stick: No space left on device"):
        backup(book.path, tmp_path / "stick", keep=1)
    assert [path.name for path in (tmp_path / "stick").iterdir()] == [first.name]


def test_a_folder_that_can_not_be_made(book, tmp_path):
    book.close()
    (tmp_path / "file").write_text("")
    with pytest.raises(LogbookError, match=r"no backup was made in .*file/x: Not a directory"):
        backup(book.path, tmp_path / "file" / "x")
