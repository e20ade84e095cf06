"""A full disk and a medium that can't be written to give one clear error and leave the logbook as it was.

The disk is made full by a limit on file sizes (RLIMIT_FSIZE), so that any write beyond it fails as on a full disk.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from runlog.store.connection import create_logbook, open_logbook, wal_of
from runlog.workflows.intake.ingest import import_files
from runlog.workflows.keeping.verify import verify
from runlog.workflows.opening import open_current

resource = pytest.importorskip("resource")
DEMO = Path(__file__).resolve().parents[2] / "demo_runs"
PITS = DEMO / "pits" / "2031-04-12"
LOG = PITS / "heron_2031-04-12_3.csv"


@pytest.fixture(scope="module")
def start(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("disk") / "start.duckdb"
    with create_logbook(path) as book:
        import_files(book, [DEMO / "tracks", DEMO / "cars" / "heron.toml", PITS / "slips.csv"])
    return path


def limited(size: int, folder: Path, *words: str | Path) -> subprocess.CompletedProcess[str]:
    """Run the command with a limit on the size of every file that it writes."""

    def limit() -> None:
        import signal

        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))

    return subprocess.run(
        [Path(sys.executable).with_name("runlog"), *map(str, words)],
        cwd=folder, preexec_fn=limit, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


def held(path: Path) -> tuple[Any, ...]:
    with open_current(path) as book:
        assert verify(book, quick=True).faults == ()
        entries = book.rows("select identity from book.main.entry order by entry")
        return entries, sorted(map(repr, book.rows("select * from book.main.run")))


def one_error(done: subprocess.CompletedProcess[str], *texts: str) -> None:
    """Assert one error that says what failed, wherever it is wrapped, and no traceback."""
    said = " ".join((done.stderr + done.stdout).split())
    assert sum(said.count(text) for text in texts) == 1, done.stderr + done.stdout
    assert "Traceback" not in done.stderr
    assert done.returncode == 1


@pytest.mark.slow
@pytest.mark.parametrize("room", [0, 1 << 15, 1 << 18])
def test_no_room_for_an_import(start, tmp_path, room):
    path = tmp_path / "shop.duckdb"
    shutil.copyfile(start, path)
    before = held(path)
    size = path.stat().st_size
    # with no room at all no file gets longer than a page; the logbook has free blocks of its own that take a little
    done = limited(size + room if room else 4096, tmp_path, "import", LOG)
    if done.returncode == 0:
        assert room  # without any room it can't have gone in
        assert len(held(path)[0]) == len(before[0]) + 1
        return
    one_error(done, "Is the disk full or write-protected?", "can't be opened")
    assert held(path) == before
    again = limited(1 << 30, tmp_path, "import", LOG)  # and with room it goes in
    assert again.returncode == 0, again.stderr
    assert len(held(path)[0]) == len(before[0]) + 1


@pytest.mark.slow
@pytest.mark.parametrize("words", [("undo",), ("rebuild",), ("merge", "other.duckdb")])
def test_no_room_for_a_change(start, tmp_path, words):
    path = tmp_path / "shop.duckdb"
    shutil.copyfile(start, path)
    with create_logbook(tmp_path / "other.duckdb") as other:
        import_files(other, [DEMO / "cars" / "heron.toml", LOG])
    before = held(path)
    done = limited(4096, tmp_path, *words, "-l", path)
    one_error(done, "Is the disk full or write-protected?", "can't be opened")
    assert held(path) == before
    assert limited(1 << 30, tmp_path, *words, "-l", path).returncode == 0


@pytest.mark.slow
def test_no_room_for_a_backup_or_a_bundle(start, tmp_path):
    path = tmp_path / "shop.duckdb"
    shutil.copyfile(start, path)
    done = limited(path.stat().st_size // 2, tmp_path, "backup", "stick", "-l", path)
    one_error(done, "no backup was made in stick: File too large")
    assert list((tmp_path / "stick").iterdir()) == []
    done = limited(1 << 16, tmp_path, "bundle", "heron/2031-04-12", "day.duckdb", "-l", path)
    one_error(done, "Is the disk full or write-protected?")
    assert sorted(item.name for item in tmp_path.iterdir()) == ["shop.duckdb", "stick"]


def run_read_only(folder: Path, *commands: str) -> subprocess.CompletedProcess[str]:
    """Run commands on a read-only medium: a small file system of its own, seen by these commands only."""
    program = Path(sys.executable).with_name("runlog")
    script = (
        f"mount -t tmpfs -o size=30m tmpfs {folder}/medium && cp {folder}/shop.duckdb {folder}/medium/ && "
        f"mount -o remount,ro {folder}/medium && cd {folder}/medium && "
        + "; ".join(f"echo '== {words}'; {program} {words} 2>&1; echo exit $?" for words in commands)
    )
    (folder / "medium").mkdir()
    return subprocess.run(
        ["unshare", "--mount", "sh", "-c", script], capture_output=True, text=True, timeout=180, check=False
    )


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("unshare") is None or os.geteuid() != 0, reason="needs a mount of its own")
def test_a_medium_that_can_not_be_written_to(start, tmp_path):
    shutil.copyfile(start, tmp_path / "shop.duckdb")
    done = run_read_only(tmp_path, "runs", f"import {LOG}", "undo", "backup", "bundle 2031-04-12 day.duckdb", "verify")
    if "== runs" not in done.stdout:
        pytest.skip("this system doesn't allow a mount of its own")
    said = dict(part.split("\n", 1) for part in done.stdout.split("== ")[1:])
    assert "Traceback" not in done.stdout
    assert "heron  2031-04-12" in said["runs"]  # reading works
    assert said["verify"].endswith("exit 0\n")
    for words in (f"import {LOG}", "undo", "backup", "bundle 2031-04-12 day.duckdb"):
        assert "Read-only file system" in said[words]
        assert said[words].endswith("exit 1\n")
        assert said[words].count("runlog: ") == 1


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="needs a user whom permissions bind")
def test_a_file_without_write_permission(start, tmp_path):
    path = tmp_path / "shop.duckdb"
    shutil.copyfile(start, path)
    path.chmod(0o444)
    with open_logbook(path, read_only=True) as book:
        assert book.rows("select * from book.main.slip")
    assert not wal_of(path).exists()
