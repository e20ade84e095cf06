"""README.md against the program: its tour shows real output, and every command stands in it.

``python tests/test_readme.py`` writes the tour's output anew after the pages have changed.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

README = Path(__file__).parent.parent / "README.md"
RUNLOG = Path(sys.executable).with_name("runlog")
BLOCK = re.compile(r"(```console\n\$ (?P<command>runlog [^\n]*)\n)(?P<output>.*?)(```\n)", re.DOTALL)


def demo_folder(folder: Path) -> Path:
    run("runlog demo", folder)
    return folder


def run(command: str, folder: Path) -> str:
    environment = {**os.environ, "COLUMNS": "80", "NO_COLOR": "1"}
    environment.pop("RUNLOG_LOGBOOK", None)
    done = subprocess.run(
        [RUNLOG, *command.split()[1:]], cwd=folder, env=environment, capture_output=True, text=True, check=True
    )
    return "".join(f"{line.rstrip()}\n" for line in done.stdout.splitlines())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return demo_folder(tmp_path_factory.mktemp("readme"))


@pytest.mark.parametrize("command", [match["command"] for match in BLOCK.finditer(README.read_text("utf-8"))])
def test_tour_shows_what_the_command_prints(command: str, folder: Path) -> None:
    blocks = {match["command"]: match["output"] for match in BLOCK.finditer(README.read_text("utf-8"))}
    assert run(command, folder) == blocks[command]


def test_every_command_stands_in_the_readme() -> None:
    from runlog.cli.app import COMMANDS

    text = README.read_text("utf-8")
    missing = [name for name in COMMANDS if f"`runlog {name}" not in text]
    assert missing == []


def test_readme_opens_with_the_job_in_one_paragraph() -> None:
    title, paragraph, *_ = README.read_text("utf-8").split("\n\n")
    assert title == "# runlog"
    assert "shakedown" in paragraph
    assert "logbook" in paragraph


def _refresh() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = demo_folder(Path(name))
        text = BLOCK.sub(
            lambda found: f"{found[1]}{run(found['command'], folder)}{found[4]}", README.read_text("utf-8")
        )
    README.write_text(text, "utf-8")


if __name__ == "__main__":
    _refresh()
