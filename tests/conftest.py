"""What tests of the installed command share: running it as a user would, and one logbook of the demo season."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "demo_runs"

os.environ["RUNLOG_CONFIG"] = os.devnull  # what is set for the user who runs the tests is no part of them


def program() -> list[str]:
    """Return the command that was installed beside this Python."""
    name = "runlog.exe" if os.name == "nt" else "runlog"
    return [str(Path(sys.executable).with_name(name))]


def environment(**extra: str) -> dict[str, str]:
    """Return a user's environment: nothing of ours in it, UTF-8 out."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("RUNLOG", "PYTEST", "COV"))}
    for name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "TTY_COMPATIBLE", "TTY_INTERACTIVE"):
        kept.pop(name, None)
    return {**kept, "PYTHONUTF8": "1", "RUNLOG_CONFIG": os.devnull, **extra}


@dataclass
class Finished:
    """A command that has ended."""

    code: int
    out: str
    err: str

    def json(self) -> Any:
        """Return stdout as JSON, which has to be alone there; refuse a failed command."""
        assert self.code == 0, self.err
        return json.loads(self.out)


@dataclass
class Program:
    """The command in a folder of its own."""

    folder: Path
    env: dict[str, str] = field(default_factory=environment)

    def __call__(self, *words: str | Path, **env: str) -> Finished:
        """Run a command in this process: the same code, without starting Python. What escapes it fails the test."""
        from typer.testing import CliRunner

        from runlog.cli.app import app

        unset = {name: None for name in os.environ if name not in self.env}
        with contextlib.chdir(self.folder):
            done = CliRunner().invoke(app, [str(word) for word in words], env={**unset, **self.env, **env})
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        return Finished(done.exit_code, done.stdout, done.stderr)

    def process(self, *words: str | Path, **env: str) -> Finished:
        """Run the installed command as a process of its own, with nothing to read from."""
        done = subprocess.run(
            [*program(), *map(str, words)],
            cwd=self.folder,
            env={**self.env, **env},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=240,
            check=False,
        )
        return Finished(done.returncode, done.stdout, done.stderr)

    def write(self, name: str, content: str | bytes) -> Path:
        """Write a file in the folder and return its path."""
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path


@pytest.fixture
def runlog(tmp_path: Path) -> Program:
    """The command in an empty folder."""
    return Program(tmp_path)


@pytest.fixture(scope="session")
def program_in() -> type[Program]:
    """The command in a folder of the test's own choice."""
    return Program


@dataclass
class Season:
    """The logbook that ``runlog demo`` made, with what its commands said; pages are asked for once and kept."""

    program: Program
    made: Finished
    said: dict[tuple[str, ...], Finished] = field(default_factory=dict)

    @property
    def logbook(self) -> Path:
        """The logbook file."""
        return self.program.folder / "demo.duckdb"

    def run(self, *words: str) -> Finished:
        """Return what a command that only reads said."""
        if words not in self.said:
            self.said[words] = self.program(*words)
        return self.said[words]

    def json(self, *words: str) -> Any:
        """Return the JSON that a command prints."""
        return self.run(*words, "--json").json()


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Season:
    """One logbook of the whole demo season, made by the command itself; each process of the tests has a copy."""
    own = Program(tmp_path_factory.mktemp("season"))
    if "PYTEST_XDIST_WORKER" not in os.environ:
        done = own.process("demo")
        assert done.code == 0, done.err
        return Season(own, done)
    first = Program(tmp_path_factory.getbasetemp().parent / "season")
    told = first.folder / "told.json"
    with contextlib.suppress(FileExistsError):
        first.folder.mkdir()
        done = first.process("demo")
        (first.folder / "telling.json").write_text(json.dumps([done.code, done.out, done.err]), "utf-8")
        (first.folder / "telling.json").replace(told)
    until = time.monotonic() + 240
    while not told.exists() and time.monotonic() < until:
        time.sleep(0.1)
    done = Finished(*json.loads(told.read_text("utf-8")))
    assert done.code == 0, done.err
    shutil.copy(first.folder / "demo.duckdb", own.folder)
    return Season(own, done)


@pytest.fixture
def season_copy(season: Season, tmp_path: Path) -> Program:
    """The command in a folder with a logbook of the demo season that may be changed."""
    (tmp_path / "demo.duckdb").write_bytes(season.logbook.read_bytes())
    return Program(tmp_path)


@pytest.fixture(scope="session")
def truth() -> dict[str, Any]:
    """What is true in the demo season."""
    content: dict[str, Any] = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))
    return content


@pytest.fixture(scope="session")
def demo_folder() -> Path:
    """The files of the demo season."""
    return DEMO
