"""Which logbook is meant, and who holds it."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from conftest import Program, Season

    Hold = Callable[[float], subprocess.Popen[str]]


def test_none_here_says_how_to_make_one(runlog: Program) -> None:
    done = runlog("runs")
    assert done.code == 2
    assert "no logbook here" in done.err
    assert "runlog new FILE" in done.err


def test_only_one_here_is_used(runlog: Program) -> None:
    made = runlog("new", "marsh.duckdb")
    assert made.code == 0
    assert "marsh.duckdb is ready" in made.out
    done = runlog("runs")
    assert (done.code, done.err) == (0, "")
    assert "No runs yet" in done.out


def test_two_here_asks_and_names_them(runlog: Program) -> None:
    runlog("new", "a.duckdb")
    runlog("new", "b.duckdb")
    done = runlog("runs")
    assert done.code == 2
    assert "several logbooks here (a.duckdb, b.duckdb)" in done.err
    assert runlog("runs", "--logbook", "b.duckdb").code == 0
    assert runlog("runs", RUNLOG_LOGBOOK="b.duckdb").code == 0


def test_option_goes_before_the_environment(runlog: Program) -> None:
    runlog("new", "a.duckdb")
    done = runlog("runs", "--logbook", "a.duckdb", RUNLOG_LOGBOOK="missing.duckdb")
    assert done.code == 0
    done = runlog("runs", RUNLOG_LOGBOOK="missing.duckdb")
    assert done.code == 1
    assert "no logbook at missing.duckdb" in done.err


def test_new_never_overwrites(season_copy: Program) -> None:
    before = (season_copy.folder / "demo.duckdb").read_bytes()
    done = season_copy("new", "demo.duckdb")
    assert done.code == 1
    assert "demo.duckdb exists already" in done.err
    assert (season_copy.folder / "demo.duckdb").read_bytes() == before
    assert season_copy("new", "no/such/folder.duckdb").code == 1


def test_name_of_the_logbook_is_only_a_name(runlog: Program) -> None:
    """Quotes and blanks in a file name are part of it."""
    name = 'it\'s "ours"; drop.duckdb'
    assert runlog("new", name).code == 0
    assert runlog("runs", "--logbook", name).code == 0
    assert [item.name for item in runlog.folder.iterdir()] == [name]


HOLD = """
import sys, time
from pathlib import Path
from runlog.store.connection import open_logbook
with open_logbook(Path(sys.argv[1])) as book:
    print("held", flush=True)
    time.sleep(float(sys.argv[2]))
"""

OPEN = """
import sys
import runlog.store.connection as connection
connection.open_logbook.__kwdefaults__["wait_s"] = {wait}
sys.argv = ["runlog", "runs", "--logbook", {path!r}]
from runlog.cli.app import app
app()
"""


@pytest.fixture
def held(runlog: Program) -> Iterator[Hold]:
    """Return a function that has another process hold the logbook for some seconds."""
    runlog("new", "a.duckdb")
    started: list[subprocess.Popen[str]] = []

    def hold(seconds: float) -> subprocess.Popen[str]:
        other = subprocess.Popen(
            [sys.executable, "-c", HOLD, str(runlog.folder / "a.duckdb"), str(seconds)],
            stdout=subprocess.PIPE,
            text=True,
        )
        started.append(other)
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        return other

    yield hold
    for other in started:
        other.kill()
        other.wait()
        assert other.stdout is not None
        other.stdout.close()


def test_second_process_waits_for_the_first(runlog: Program, held: Hold) -> None:
    held(1.5)
    begun = time.monotonic()
    done = runlog("runs")
    assert done.code == 0, done.err
    assert time.monotonic() - begun > 0.8


def test_second_process_gives_up_and_names_the_holder(runlog: Program, held: Hold) -> None:
    """The wait is shortened; everything else is the command."""
    other = held(60)
    done = subprocess.run(
        [sys.executable, "-c", OPEN.format(wait=0.3, path=str(runlog.folder / "a.duckdb"))],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 1
    assert f"is in use by another program (process {other.pid})" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.slow
@pytest.mark.parametrize("after_s", [0.6, 1.0, 1.5, 2.0])
def test_killed_in_the_middle_loses_nothing(runlog: Program, season: Season, demo_folder: Path, after_s: float) -> None:
    """Killed at some instant of an import, the logbook opens, and the import done again completes it."""
    runlog("new", "a.duckdb")
    paths = [demo_folder / part for part in ("tracks", "cars", "sheets", "pits")]
    program = str(Path(sys.executable).with_name("runlog"))
    started = subprocess.Popen([program, "import", *map(str, paths)], cwd=runlog.folder, stdout=subprocess.DEVNULL)
    time.sleep(after_s)
    started.kill()
    started.wait()
    assert runlog("runs").code == 0
    done = runlog("import", *paths, "--json").json()
    assert done["stored"] + done["unchanged"] == 86
    assert runlog("runs", "--json").json() == season.json("runs")
    assert runlog("effects", "--car", "heron", "--json").json() == season.json("effects", "--car", "heron")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_logbook_that_may_not_be_written_can_be_read(runlog: Program) -> None:
    runlog("new", "a.duckdb")
    path = runlog.folder / "a.duckdb"
    path.chmod(0o444)
    assert runlog("runs").code == 0
    done = runlog("add", "run", "--car", "heron", "--60", "1.4")
    assert done.code == 1
    assert "a.duckdb" in done.err
    assert "Traceback" not in done.err
