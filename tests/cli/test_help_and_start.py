"""Help that fits and shows an example, and a start that loads nothing heavy."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from runlog.cli.app import COMMANDS, app

if TYPE_CHECKING:
    from conftest import Program, Season

GROUPS = {"add": ["run", "change"], "item": ["add", "close", "list"], "map": ["list", "write", "show", "forget"]}
NAMES = [(name,) for name in COMMANDS if name not in GROUPS] + [
    (name, word) for name, words in GROUPS.items() for word in words
]
HEAVY = {"duckdb", "numpy", "polars", "pydantic", "sklearn", "scipy", "pandas", "pyarrow", "matplotlib"}


@pytest.mark.parametrize("words", NAMES, ids=" ".join)
def test_help_fits_and_shows_an_example(words: tuple[str, ...]) -> None:
    done = CliRunner().invoke(app, [*words, "--help"], env={"COLUMNS": "200", "TERMINAL_WIDTH": "200"})
    assert done.exit_code == 0, done.output
    assert f"Example: runlog {' '.join(words)} " in " ".join(done.output.split()) + " "
    assert max(map(len, done.output.splitlines())) <= 80
    assert "\x1b" not in done.output


def test_every_option_is_explained(season: Season) -> None:
    for words in NAMES:
        text = CliRunner().invoke(app, [*words, "--help"]).output
        options = text.split("Options:", 1)[1].split("Example:")[0]
        lines = [line for line in options.splitlines() if line.startswith("  -")]
        assert lines
        for line in lines:
            following = options.splitlines()[options.splitlines().index(line) + 1]
            explained = re.search(r"\S\s{2,}\S", line.strip()) or re.match(r"\s{10,}\S", following)
            assert explained, (words, line)


def test_list_of_commands(runlog: Program) -> None:
    done = runlog("--help")
    assert done.code == 0
    for name in COMMANDS:
        assert re.search(rf"^  {name}\s{{2,}}\S", done.out, re.MULTILINE), name
    assert max(map(len, done.out.splitlines())) <= 80


def test_example_of_each_command_is_sound() -> None:
    """The options of an example exist."""
    for words in NAMES:
        text = CliRunner().invoke(app, [*words, "--help"]).output
        example = " ".join(text.rsplit("Example:", 1)[1].split())
        known = set(re.findall(r"(?<!\w)--?[\w-]+", text.rsplit("Example:", 1)[0]))
        assert set(re.findall(r"(?<!\w)--?[a-z0-9][\w-]*", example)) <= known, example


def test_version(runlog: Program) -> None:
    done = runlog("--version")
    assert (done.code, re.fullmatch(r"runlog \d+\.\d+\.\d+\n", done.out) is not None) == (0, True)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("nonsense",), "No such command"),
        (("show", "--nonsense"), "No such option"),
        (("compare",), "Missing argument"),
        (("air", "--humidity", "60"), "--temperature"),
        (("import",), "Missing argument"),
        (("new",), "Missing argument"),
        ((), "Usage"),
    ],
)
def test_wrong_use_is_exit_code_2(runlog: Program, words: tuple[str, ...], told: str) -> None:
    done = runlog(*words)
    assert done.code == 2
    assert told in done.err + done.out
    assert "Traceback" not in done.err


def loaded(code: str) -> set[str]:
    """Return the modules and packages that a fresh Python has loaded after some code."""
    probe = f"{code}\nimport sys\nprint(','.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, timeout=120, check=True)
    return set(done.stdout.splitlines()[-1].split(","))


CALL = """
import sys
from pathlib import Path
sys.argv = ["runlog", {words}]
from runlog.cli.app import app
try:
    app()
except SystemExit as end:
    assert not end.code, end.code
"""


def test_help_loads_nothing_heavy() -> None:
    assert loaded(CALL.format(words="'--help'")) & HEAVY == set()


def test_show_of_the_newest_run_loads_only_the_logbook(season: Season) -> None:
    """Nor typer's general reader of words, which loads pydantic: texts, paths and switches are taken as typed."""
    found = loaded(CALL.format(words=f"'show', '--json', '--logbook', {str(season.logbook)!r}"))
    assert "duckdb" in found
    assert found & HEAVY == {"duckdb"}
    assert {name for name in found if name.startswith("runlog.readers")} <= {
        "runlog.readers",
        "runlog.readers.keys",
    }


def test_air_needs_no_logbook() -> None:
    found = loaded(CALL.format(words="'air', '--temperature', '90F', '--humidity', '60', '--pressure', '29.4inHg'"))
    assert found & HEAVY <= {"numpy", "pydantic"}
    assert {name for name in found if name.startswith(("runlog.readers", "runlog.store"))} == set()


def test_installed_command_keeps_results_apart_and_says_how_it_went(season: Season) -> None:
    """Exit codes 0 done, 1 cannot, 2 wrong use; JSON alone on stdout, everything else on stderr."""
    done = season.program.process("show", "heron/2031-04-12/5", "--json")
    assert (done.code, done.err) == (0, "")
    assert json.loads(done.out)["run"]["key"] == "heron/2031-04-12/5"
    for words, code in ((("show", "egret/latest"), 1), (("show", "tomorrow"), 2), (("show", "--nonsense"), 2)):
        done = season.program.process(*words)
        assert (done.code, done.out) == (code, ""), words
        assert done.err
        assert "Traceback" not in done.err


def test_reader_that_goes_away_is_no_error_to_shout_about(season: Season) -> None:
    command = f'"{Path(sys.executable).with_name("runlog")}" runs | head -1'
    done = subprocess.run(
        command, shell=True, cwd=season.program.folder, env=season.program.env, capture_output=True, text=True,
        timeout=60, check=False,
    )  # fmt: skip
    assert done.stdout == "curlew  2031-05-03\n"
    assert "Traceback" not in done.stderr
    assert "BrokenPipe" not in done.stderr


@pytest.mark.parametrize(
    "words", [("show",), ("history",), ("answer",), ("add", "change"), ("item", "add"), ("export",)]
)
def test_what_may_be_left_out_stands_in_one_pair_of_brackets(runlog, words):
    usage = runlog(*words, "--help").out.splitlines()[0]
    assert "[[" not in usage
    assert usage.endswith(("]", "]..."))


@pytest.mark.parametrize(
    ("env", "encoding", "sign"),
    [
        # what Python takes where neither the locale nor a setting says UTF-8
        ({"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}, "utf-8", "°"),
        ({"PYTHONIOENCODING": "cp1252"}, "cp1252", "°"),
        ({"PYTHONIOENCODING": "ascii"}, "ascii", "?"),
    ],
    ids=["plain locale", "cp1252", "ascii"],
)
def test_any_text_is_written_whatever_the_encoding(tmp_path, env, encoding, sign):
    words = ["air", "--temperature", "90F", "--humidity", "60", "--pressure", "29.40inHg"]
    done = subprocess.run(
        [Path(sys.executable).with_name("runlog"), *words],
        cwd=tmp_path,
        env={**os.environ, **env},
        capture_output=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert sign in done.stdout.decode(encoding)
