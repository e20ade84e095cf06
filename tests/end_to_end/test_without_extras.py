"""The core works with nothing but its own dependencies; what needs an extra says which."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Program

ROOT = Path(__file__).resolve().parents[2]
MODULES = {"resvg-py": "resvg_py", "vl-convert-python": "vl_convert", "xlsxwriter": "xlsxwriter"}
"""what packages are imported as, where that isn't their name"""

WITHOUT = """
import sys

class Absent:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in ABSENT:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)

sys.meta_path.insert(0, Absent())
sys.argv = ["runlog", *sys.argv[1:]]
from runlog.cli.app import app
app()
"""


def extras() -> list[str]:
    """Return the modules of every optional package that users can ask for."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    found = []
    for name, packages in project["optional-dependencies"].items():
        if name != "dev":
            names = [package.split(">")[0].split("[")[0].strip() for package in packages]
            found += [MODULES.get(package, package.replace("-", "_")) for package in names]
    return found


def without(program: Program, *words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", WITHOUT.replace("ABSENT", repr(extras())), *map(str, words)],
        cwd=program.folder, env=program.env, capture_output=True, text=True, timeout=240, check=False,
    )  # fmt: skip


@pytest.mark.slow
def test_the_whole_job_needs_no_extra(runlog: Program, demo_folder: Path) -> None:
    assert len(extras()) >= 4
    first = [demo_folder / part for part in ("tracks", "cars", "sheets", "pits/2031-04-12")]
    for words in (
        ("new", "a.duckdb"),
        ("import", *first),
        ("show",),
        ("runs",),
        ("compare", "5", "7", "--svg", "a.svg"),
        ("effects", "--car", "heron"),
        ("forecast", "--car", "heron"),
        ("plan", "--car", "heron"),
        ("chassis", "heron", "--svg", "b.svg"),
        ("review", "2031-04-12"),
        ("export", "--lake", "lake"),
        ("fleet", "--lake", "lake"),
    ):
        done = without(runlog, *words)
        assert done.returncode == 0, (words, done.stderr)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "extra"),
    [
        (("compare", "heron/2031-04-12/5", "heron/2031-04-12/7", "--png", "a.png"), "png"),
        (("review", "2031-04-12", "--html", "a.html"), "html"),
        (("fleet", "--lake", "lake", "--scheduler", "tcp://127.0.0.1:1"), "cluster"),
    ],
)
def test_what_needs_one_says_which(season_copy: Program, words: tuple[str, ...], extra: str) -> None:
    (season_copy.folder / "lake").mkdir()
    done = without(season_copy, *words)
    assert done.returncode in (1, 2)
    assert f"pip install 'runlog[{extra}]'" in done.stderr
    assert "Traceback" not in done.stderr
