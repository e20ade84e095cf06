"""Verify and backup as commands."""

from __future__ import annotations

from pathlib import Path

import duckdb
from published import valid


def test_verify_says_what_was_looked_at_and_exits_by_it(runlog):
    runlog("new", "a.duckdb")
    runlog("add", "run", "--car", "teal", "--date", "2031-04-12", "--60", "1.4")
    assert runlog("verify").out.endswith(
        "a.duckdb is whole: 1 entries with their originals, and a rebuild says the same\n"
    )
    page = valid("verify", runlog("verify", "--quick", "--json").json())
    assert Path(page.pop("file")).name == "a.duckdb"
    assert page == {"entries": 1, "rebuilt": False, "faults": []}
    with duckdb.connect(str(runlog.folder / "a.duckdb")) as raw:
        raw.execute("update original_part set data = 'x'::blob")
    done = runlog("verify")
    assert (done.code, done.out) == (1, "✗ originals: the original of typed teal/2031-04-12/1 is damaged\n")


def test_what_nobody_foresaw_is_said_in_a_line(runlog):
    """A result that someone wrote into the file, with what would clear a terminal."""
    runlog("new", "a.duckdb")
    runlog("add", "run", "--car", "teal", "--date", "2031-04-12", "--60", "1.4")
    with duckdb.connect(str(runlog.folder / "a.duckdb")) as raw:
        raw.execute("update run_result set lane = '\x1b[2J', setup = '[{\"\x1b[2J\": 1}]'")
    done = runlog.process("runs")
    assert done.code == 1
    assert "runlog: this should not have happened (" in done.err
    assert "'runlog verify' tells whether the logbook is whole" in done.err
    assert "Traceback" not in done.err
    assert "\x1b" not in done.out + done.err
    assert "Traceback" in runlog.process("runs", RUNLOG_TRACEBACK="1").err


def test_backup_names_the_copy(runlog):
    runlog("new", "a.duckdb")
    first = valid("backup", runlog("backup", "stick", "--keep", "1", "--json").json())
    second = valid("backup", runlog("backup", "stick", "--keep", "1", "--json").json())
    assert second["removed"] == [first["file"]]
    assert (runlog.folder / second["file"]).is_file()
    assert "0 entries, verified" in runlog("backup").out
    assert "no logbook at" in runlog("backup", "-l", "b.duckdb").err
