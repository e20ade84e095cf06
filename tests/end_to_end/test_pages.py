"""Every page fits 80 columns, sends no escape codes where no terminal is, and shows hostile text harmlessly."""

from __future__ import annotations

import json
import os
import pty
import select
import subprocess
import sys
import unicodedata
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Program, Season

RUNS = ("heron/2031-04-12/5", "heron/2031-04-12/7")
CARS = ("curlew", "dunlin", "heron", "plover", "wigeon")
AIR = ("air", "--temperature", "90F", "--humidity", "60", "--pressure", "29.92inHg", "--elevation", "640m")
PAGES = [
    ("runs",),
    ("compare", *RUNS),
    ("compare", "heron/2031-04-12/1", "heron/2031-04-12/8", "curlew/2031-05-24/6", "wigeon/2031-07-06/7"),
    AIR,
    *(("effects", "--car", car) for car in CARS),
    *(("show", f"heron/2031-04-12/{number}") for number in range(1, 11)),
    *(("show", f"{car}/latest") for car in CARS),
]


def width(line: str) -> int:
    """Return the columns that a line takes: wide characters two, combining ones none (Unicode annex 11)."""
    return sum(
        0 if unicodedata.combining(char) else 2 if unicodedata.east_asian_width(char) in "WF" else 1 for char in line
    )


def too_wide(text: str) -> list[str]:
    return [line for line in text.splitlines() if width(line.rstrip()) > 80]


def steering(text: str) -> list[str]:
    """Return the characters that steer a terminal or turn its text round."""
    return [char for char in text if unicodedata.category(char) in ("Cc", "Cf", "Zl", "Zp") and char != "\n"]


@pytest.mark.parametrize("words", PAGES, ids=" ".join)
def test_page_fits_and_is_plain_where_no_terminal_is(season: Season, words: tuple[str, ...]) -> None:
    done = season.run(*words)
    assert done.code == 0, done.err
    assert done.out.strip()
    assert too_wide(done.out) == []
    assert steering(done.out) == []
    if words[0] == "show":
        assert len(done.out.splitlines()) <= 50


@pytest.mark.slow
def test_every_run_page_of_the_season_fits_one_screen(season: Season) -> None:
    for run in season.json("runs"):
        page = season.run("show", run["key"]).out
        assert too_wide(page) == [], run["key"]
        assert len(page.splitlines()) <= 50, run["key"]


def test_demo_page_fits(season: Season) -> None:
    assert too_wide(season.made.out) == []
    assert steering(season.made.out) == []
    assert "86 files stored, 0 unchanged, 0 refused (all invented)" in season.made.err


def test_import_report_fits(runlog: Program, demo_folder: Path) -> None:
    runlog("new", "a.duckdb")
    done = runlog("import", demo_folder / "cars", demo_folder / "pits" / "2031-04-12")
    assert too_wide(done.out) == []
    assert steering(done.out) == []


def on_a_terminal(program: Program, words: tuple[str, ...], columns: int, **env: str) -> str:
    """Return what a command sends to a pseudo-terminal of so many columns."""
    import fcntl
    import struct
    import termios

    leader, follower = pty.openpty()
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", 50, columns, 0, 0))
    started = subprocess.Popen(
        [str(Path(sys.executable).with_name("runlog")), *words], cwd=program.folder,
        env={**program.env, "TERM": "xterm-256color", **env}, stdin=subprocess.DEVNULL, stdout=follower,
        stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(follower)
    sent = b""
    while select.select([leader], [], [], 60)[0]:
        try:
            sent += os.read(leader, 65536)
        except OSError:
            break
    started.wait(timeout=10)
    os.close(leader)
    assert started.returncode == 0
    return sent.decode().replace("\r\n", "\n")


@pytest.mark.skipif(os.name == "nt", reason="needs a pseudo-terminal")
@pytest.mark.parametrize("columns", [80, 200])
def test_terminal_gets_style_and_still_fits(season: Season, columns: int) -> None:
    import re

    sent = on_a_terminal(season.program, ("show", RUNS[0]), columns)
    assert "\x1b[" in sent
    plain = re.sub(r"\x1b\[[0-9;]*m", "", sent)
    assert steering(plain) == []
    assert too_wide(plain) == []
    assert plain.split() == season.run("show", RUNS[0]).out.split()


@pytest.mark.skipif(os.name == "nt", reason="needs a pseudo-terminal")
def test_no_color_is_respected_on_a_terminal(season: Season) -> None:
    """No colour (SGR 30-49 and 90-107); weight may stay, as no-color.org says."""
    import re

    sent = on_a_terminal(season.program, ("show", RUNS[0]), 80, NO_COLOR="1")
    codes = {int(code) for found in re.findall(r"\x1b\[([0-9;]*)m", sent) for code in found.split(";") if code}
    assert {code for code in codes if 30 <= code <= 49 or 90 <= code <= 107} == set()


HOSTILE = "[/nope] [bold red]x[/] \x1b[2J\x1b]0;title\x07 \u202e\u200b :smile: =cmd|' /C calc'!A0 </script><script>"
SLIP_HEAD = "car,date,time,track,run,lane,purpose,t60_s,t330_s,t660_s,spoiled,note\n"


@pytest.fixture
def hostile(runlog: Program, demo_folder: Path) -> Program:
    """A logbook whose texts try to steer whatever shows them."""
    text = HOSTILE.replace('"', '""')
    much = "\n" * 9000  # a file of which many characters steer a terminal isn't taken for text at all
    runlog("new", "a.duckdb")
    car = (demo_folder / "cars" / "heron.toml").read_text(encoding="utf-8")
    start = car.index("description = ")
    car = car[:start] + f"description = {json.dumps(HOSTILE)}" + car[car.index("\n", start) :]
    runlog.write("in/heron.toml", car)
    runlog.write(
        "in/slips.csv",
        SLIP_HEAD
        + f'heron,2031-08-01,10:00,"{text}",1,"left",full,1.41,3.8,5.8,,"{text}"\n'
        + f'heron,2031-08-01,11:00,lowfield,2,right,full,1.42,3.9,5.9,"{text}","{text}"\n'
        + f'heron,2031-08-01,12:00,lowfield,3,right,full,1.42,3.9,5.9,,"{text}"\n{much}',
    )
    runlog.write(
        "in/heron_2031-08-01_3.csv",
        f'Time [s],"{text}",RPM\n' + "".join(f"{n / 20:.2f},{n},{900 + n}\n" for n in range(200)),
    )
    runlog.write("in/sheet.csv", f'car,date,run,item,value,unit\nheron,2031-08-01,2,tyre set,"{text}",\n{much}')
    return runlog


def test_hostile_text_is_shown_harmlessly_on_every_page(hostile: Program) -> None:
    done = hostile("import", "in")
    refused = [line for line in done.out.splitlines() if "refused" in line]
    assert done.code == 0, done.out + done.err
    pages = [done.out, done.err, str(refused)]
    for words in (
        ("runs",),
        ("show", "1"),
        ("show", "2"),
        ("show", "3"),
        ("compare", "1", "2", "3"),
        ("effects", "--car", "heron"),
    ):
        done = hostile(*words)
        assert done.code == 0, (words, done.err)
        pages.append(done.out)
    for page in pages:
        assert steering(page) == []
        assert too_wide(page) == []
    shown = " ".join(" ".join(pages).split())
    # markup is shown as it was written, and control codes are spelt out
    assert "[/nope] [bold red]x[/]" in shown
    assert "\\x1b" in shown
    assert ":smile:" in shown


def test_hostile_text_stays_itself_in_the_machine_output(hostile: Program) -> None:
    assert hostile("import", "in").code == 0
    rows = hostile("runs", "--json").json()
    assert [row["note"] for row in rows] == [HOSTILE.strip()] * 3
    # JSON spells out what would steer a terminal (RFC 8259, section 7)
    assert "\x1b" not in hostile("runs", "--json").out


@pytest.mark.parametrize("name", ["\x1b[2J.csv", "[red]a.csv", "a\nb.csv"])
def test_hostile_file_names_and_arguments_are_shown_harmlessly(runlog: Program, name: str) -> None:
    runlog("new", "a.duckdb")
    runlog.write(name, "run,t60_s\n1,abc\n")
    for words in (("import", name), ("import", f"missing{name}"), ("show", name), ("runs", "--car", name)):
        done = runlog(*words)
        assert done.code in (1, 2), words
        assert steering(done.out + done.err) == [], words
