"""The whole job runs with every socket refused."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Program, Season

REFUSE = """
import socket, sys

tried = []

def refuse(*args, **kwargs):
    tried.append(args)
    raise OSError("no network here")

class Refused(socket.socket):
    __init__ = refuse

socket.socket = Refused
socket.create_connection = socket.getaddrinfo = socket.gethostbyname = refuse
sys.addaudithook(lambda event, args: event.startswith("socket.") and event != "socket.gethostname" and refuse(event))
sys.argv = ["runlog", *sys.argv[1:]]
from runlog.cli.app import app
try:
    app()
finally:
    print(f"tried {len(tried)}", file=sys.stderr)
"""


def offline(program: Program, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", REFUSE, *words],
        cwd=program.folder, env=program.env, capture_output=True, text=True, timeout=240, check=False,
    )  # fmt: skip


def test_the_guard_itself_refuses(runlog: Program) -> None:
    probe = REFUSE[: REFUSE.index("sys.argv = ")] + "socket.create_connection(('localhost', 9))"
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, timeout=60, check=False)
    assert "no network here" in done.stderr


@pytest.mark.slow
def test_a_test_day_works_without_a_network(runlog: Program, season: Season, demo_folder: Path) -> None:
    day = demo_folder / "pits" / "2031-04-12"
    first = ("import", *(str(demo_folder / part) for part in ("tracks", "cars", "sheets")), str(day))
    for words in (
        ("new", "a.duckdb"),
        first,
        ("show", "heron/2031-04-12/10"),
        ("runs", "--json"),
        ("compare", "5", "7"),
        ("effects", "--car", "heron"),
        ("air", "--temperature", "90F", "--humidity", "60", "--pressure", "29.40inHg"),
        ("rebuild",),
    ):
        done = offline(runlog, *words)
        assert done.returncode == 0, (words, done.stderr)
        assert done.stderr.endswith("tried 0\n"), (words, done.stderr)
    rows = [row for row in season.json("runs", "--day", "2031-04-12") if row["car"] == "heron"]
    assert len(rows) == len(runlog("runs", "--json").json()) == 10
