"""What a shell offers after Tab, by the protocol that its script speaks, and in a real Bash where there is one."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Program, Season

RUNLOG = str(Path(sys.executable).with_name("runlog"))


def asked(program: Program, *words: str, **more: str) -> list[str]:
    """Return what Bash is offered for the last of these words."""
    line = "\n".join(("runlog", *words))
    env = {"_RUNLOG_COMPLETE": "complete_bash", "COMP_WORDS": line, "COMP_CWORD": str(len(words))}
    done = program.process(**env, **more)
    assert done.code == 0, done.err
    assert done.err == ""
    return [line for line in done.out.splitlines() if line]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "among"),
    [
        (("sho",), {"show"}),
        (("show", "her"), {"heron/latest", "heron/2031-04-12/5"}),
        (("show", "heron/2031-04-12/1"), {"heron/2031-04-12/1", "heron/2031-04-12/10"}),
        (("compare", "heron/latest", "cur"), {"curlew/latest"}),
        (("effects", "--car", ""), {"curlew", "dunlin", "heron", "plover", "wigeon"}),
        (("season", "PLO"), {"plover"}),
        (("runs", "--day", "2031-04"), {"2031-04-12", "2031-04-26"}),
        (("plan", "--car", "heron", "--adjustable", r"rear\ t"), {r"rear\ tyre\ pressure"}),
        (("suppose", "ballast"), {r"ballast\ rear="}),
        (("add", "run", "--lane", ""), {"left", "right"}),
        (("add", "change", "ballast"), {r"ballast\ rear="}),
        (("plot", "tr"), {"traces"}),
        (("plot", "traces", "heron/2031-06"), {"heron/2031-06-07/7"}),
        (("add", "run", "--car", "wi"), {"wigeon"}),
        (("export", "inc"), {"increments"}),
        (("show", "--units", "m"), {"metric"}),
        (("import", "--as", "s"), {"sheet", "slips"}),
        (("show", "--js"), {"--json"}),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_offers(season: Season, words: tuple[str, ...], among: set[str]) -> None:
    offered = asked(season.program, *words)
    assert among <= set(offered)
    last = words[-1].replace("\\", "").lower()
    assert all(word.replace("\\", "").lower().startswith(last) for word in offered)


def test_only_the_adjustables_of_the_car_that_was_named(season: Season) -> None:
    heron = asked(season.program, "plan", "--car", "heron", "--adjustable", "")
    curlew = asked(season.program, "plan", "--car", "curlew", "--adjustable", "")
    assert r"boost\ target" in curlew
    assert r"boost\ target" not in heron


def test_inside_quotes_blanks_stay_as_they_are(season: Season) -> None:
    assert asked(season.program, "suppose", '"rear t') == ["rear tyre pressure="]


def test_a_name_that_a_shell_could_act_on_is_not_offered(runlog: Program) -> None:
    """What stands in a quoted word as it is, or passes through a shell's own evaluation, could be a command."""
    names = [
        "rear $(touch x)",
        "rear `touch x`",
        "rear'; touch x '",
        'rear"; touch x',
        "rear\\ntouch x",
        "rear!x",
        "rear bar",
    ]
    car = '[car]\nname = "teal"\nrace_weight = "2600 lb"\nwheelbase = "105 in"\npower = "800 hp"\nfinal_drive = 4.1\n'
    car += 'tyre_circumference = "100 in"\n'
    car += "".join(f"[[car.adjustable]]\nname = {json.dumps(name)}\nunit = 'mm'\nstep = 1\n" for name in names)
    assert runlog("new", "a.duckdb").code == 0
    done = runlog("import", runlog.write("teal.toml", car))
    assert done.code == 0, done.out
    for typed in ("rear", "'rear", '"rear'):
        assert [word.strip("'\"") for word in asked(runlog, "suppose", typed)] in (["rear bar="], ["rear\\ bar="])


def test_the_logbook_that_is_named_is_asked(season: Season, runlog: Program) -> None:
    assert "heron" in asked(runlog, "effects", "--logbook", str(season.logbook), "--car", "")
    assert "heron" in asked(runlog, "effects", "--car", "", RUNLOG_LOGBOOK=str(season.logbook))
    runlog.write("runlog.toml", f"logbook = '{season.logbook}'\n")
    assert "heron" in asked(runlog, "effects", "--car", "")


def test_nothing_to_read_offers_nothing_and_says_nothing(runlog: Program) -> None:
    assert asked(runlog, "show", "") == []
    runlog.write("a.duckdb", "no logbook")
    assert asked(runlog, "show", "") == []
    runlog.write("runlog.toml", "units = ")
    assert asked(runlog, "show", "") == []


@pytest.mark.slow
@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_other_shells_speak_their_own_protocol(season: Season, shell: str) -> None:
    more = {"_TYPER_COMPLETE_FISH_ACTION": "get-args"} if shell == "fish" else {}
    done = season.program.process(
        _RUNLOG_COMPLETE=f"complete_{shell}", _TYPER_COMPLETE_ARGS="runlog plan --adjustable rear", **more
    )
    assert done.code == 0
    assert "rear tyre pressure" in done.out  # these shells mark the blanks themselves
    assert "psi" in done.out


@pytest.mark.skipif(shutil.which("bash") is None, reason="no Bash here")
def test_in_a_real_bash(season: Season) -> None:
    """The script as typer writes it, sourced; the line as a person has typed it so far."""
    from typer.completion import get_completion_script

    script = get_completion_script(prog_name="runlog", complete_var="_RUNLOG_COMPLETE", shell="bash")
    line = "COMP_WORDS=(runlog show heron/2031-04-12/7); COMP_CWORD=2; _runlog_completion runlog; "
    done = subprocess.run(
        ["bash", "--norc", "-c", f'{script}\n{line}printf "%s\\n" "${{COMPREPLY[@]}}"'],
        cwd=season.program.folder,
        env={**season.program.env, "PATH": f"{Path(RUNLOG).parent}{os.pathsep}{os.environ['PATH']}"},
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (done.stdout, done.stderr) == ("heron/2031-04-12/7\n", "")


def test_no_command_is_loaded_to_offer_commands(season: Season) -> None:
    code = (
        "import sys; sys.argv = ['runlog']\nfrom runlog.cli.app import app\ntry:\n    app(prog_name='runlog')\n"
        "except SystemExit: pass\nprint(sorted(m for m in sys.modules if m.startswith('runlog.cli.')))"
    )
    env = {**season.program.env, "_RUNLOG_COMPLETE": "complete_bash", "COMP_WORDS": "runlog\nsh", "COMP_CWORD": "1"}
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.splitlines() == ["show", "['runlog.cli.app']"]
