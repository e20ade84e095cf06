"""Killed at any instant, a program leaves a logbook that opens with everything in it from before, and nothing half.

A child does the work and says how far it has got; it is killed (SIGKILL: it can't tidy up) when it has said so much.
``workflows/keeping/test_interrupted.py`` cuts the same work short after each of its transactions, which takes no child.
Oracle: what the logbook answered before, and what it answers where nobody was killed.
"""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import killing
import pytest

from runlog.records import Given
from runlog.store import originals, upgrading
from runlog.store.connection import create_logbook, open_logbook, wal_of
from runlog.workflows.intake.ingest import add_typed, import_files
from runlog.workflows.keeping.backup import backups
from runlog.workflows.keeping.verify import verify
from runlog.workflows.opening import open_current

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="a process can't be killed outright here"),
]

DEMO = Path(__file__).resolve().parents[2] / "demo_runs"
PITS = DEMO / "pits" / "2031-04-12"
INSTANTS = (0.2, 0.7)
"""shares of what a child says of its work after which it is killed, while it goes on"""


@dataclass
class Bench:
    """A logbook to begin with, and what the work is given."""

    start: Path
    given: Path
    folder: Path

    def fresh(self, name: str) -> Path:
        """Return a copy of the logbook to begin with, in a folder of its own."""
        path = self.folder / name / "shop.duckdb"
        path.parent.mkdir()
        shutil.copyfile(self.start, path)
        return path


def do(work: str, book: Path, given: Path) -> int:
    """Do the work here; return how often it said how far it has got."""
    told: list[str] = []
    with killing.telling(told.append):
        killing.WORK[work](book, given, told.append)
    return len(told)


def kill(work: str, book: Path, given: Path, after: int) -> None:
    """Have a child do the work, and kill it when it has said so often how far it has got."""
    with subprocess.Popen(
        [sys.executable, killing.__file__, work, str(book), str(given)],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    ) as started:  # fmt: skip
        assert started.stdout is not None
        told = [started.stdout.readline() for _ in range(after)]
        started.kill()
        assert "" not in told
        assert "done\n" not in told


def answers(path: Path) -> dict[str, Any]:
    """Return what a logbook answers once whatever was left undone is done."""
    with open_current(path) as book:
        found: dict[str, Any] = {}
        for name in ("slip", "air", "sheet", "car", "track", "run", "setup"):
            hidden = {"slip": " exclude (entry)", "air": " exclude (entry)", "sheet": " exclude (entry)"}.get(name, "")
            found[name] = sorted(map(repr, book.rows(f"select *{hidden} from book.main.{name}")))
        found["samples"] = book.rows(
            "select car, date, number, name, count(*), sum(value) from book.main.sample group by all order by all"
        )
        return found


def identities(path: Path) -> set[str]:
    with open_logbook(path, read_only=True) as book:
        return {entry.identity for entry in originals.entries(book)}


def is_whole(path: Path) -> None:
    with open_current(path) as book:
        assert verify(book, quick=True).faults == ()


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """A logbook of a day, and a folder with one more day and a log."""
    folder = tmp_path_factory.mktemp("killed")
    start = folder / "start.duckdb"
    small = [item for item in sorted(PITS.iterdir()) if not item.name.startswith("heron_")]
    with create_logbook(start) as book:
        import_files(book, [DEMO / "tracks", DEMO / "cars" / "heron.toml", DEMO / "sheets" / "heron_baseline.csv"])
        import_files(book, [*small, PITS / "heron_2031-04-12_3.csv"])
    given = folder / "pits"
    given.mkdir()
    shutil.copytree(DEMO / "pits" / "2031-04-26", given / "2031-04-26")
    shutil.copyfile(PITS / "heron_2031-04-12_7.csv", given / "heron_2031-04-12_7.csv")
    return Bench(start, given, folder)


def prepared(bench: Bench, work: str, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """Return what a kind of work begins with."""
    folder = bench.folder / work
    folder.mkdir()
    if work == "merge":
        other = folder / "other.duckdb"
        with create_logbook(other) as book:
            import_files(book, [DEMO / "tracks", DEMO / "cars" / "heron.toml", DEMO / "sheets", bench.given])
            add_typed(book, "slips", b"car,date,run,t60_s\nheron,2031-04-12,1,1.500\n", "typed", Given())
        return Bench(bench.start, other, folder)
    if work == "upgrade":
        # a logbook of the schema before entries had identities, by way of the columns that there were
        import duckdb

        known = upgrading.migrations()
        start = folder / "old.duckdb"
        monkeypatch.setattr(upgrading, "migrations", lambda: known[:5])
        create_logbook(start).close()
        monkeypatch.undo()
        with duckdb.connect(str(start)) as raw:
            raw.execute(f"attach '{bench.start}' as today (read_only)")
            raw.execute("insert into entry select * exclude (identity, told_by) from today.main.entry")
            for table in ("original", "original_part", "car_fact", "track_fact", "slip_fact", "sheet_fact", "air_fact"):
                raw.execute(f"insert into {table} from today.main.{table}")
            raw.execute("insert into stale values (null, null, null, false)")
        return Bench(start, bench.given, folder)
    return Bench(bench.start, folder / "stick" if work == "backup" else bench.given, folder)


@pytest.mark.parametrize("work", killing.WORK)
def test_killed_at_any_instant(bench, work, monkeypatch):
    own = prepared(bench, work, monkeypatch)
    undisturbed = own.fresh("undisturbed")
    said = do(work, undisturbed, own.given)
    wanted = answers(undisturbed)
    kept = identities(bench.start)
    for share in INSTANTS:
        path = own.fresh(f"killed {share}")
        kill(work, path, own.given, 1 + int((said - 1) * share))
        if work == "backup":
            # a copy is there whole or not at all, and a killed one is in nobody's way
            for copy in backups(own.given, "shop") if own.given.is_dir() else []:
                is_whole(copy)
                assert not wal_of(copy).exists()
        is_whole(path)
        assert kept <= identities(path)  # every earlier entry is there with its facts
        do(work, path, own.given)  # a repeat completes it
        assert answers(path) == wanted
        is_whole(path)
