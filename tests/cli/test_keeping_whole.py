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


def test_backup_names_the_copy(runlog):
    runlog("new", "a.duckdb")
    first = valid("backup", runlog("backup", "stick", "--keep", "1", "--json").json())
    second = valid("backup", runlog("backup", "stick", "--keep", "1", "--json").json())
    assert second["removed"] == [first["file"]]
    assert (runlog.folder / second["file"]).is_file()
    assert "0 entries, verified" in runlog("backup").out
    assert "no logbook at" in runlog("backup", "-l", "b.duckdb").err
