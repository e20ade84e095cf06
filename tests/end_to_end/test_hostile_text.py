"""Text from files is shown as text: it steers no terminal, runs no markup, SQL or formula, and leads out of no folder.

What to try is after the OWASP lists for cross-site scripting, CSV injection and path traversal, from memory, and after
"Trojan Source" (Boucher & Anderson 2021) for marks that turn the direction of writing.
"""

from __future__ import annotations

import csv
import io
import json
import re
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Program

pytestmark = pytest.mark.slow

HOSTILE = (
    "<script>alert(1)</script>",
    "</script><img src=x onerror=alert(1)>",
    "[bold red]loud[/nope]",
    "[link=file:///etc/passwd]click[/link]",
    '=HYPERLINK("http://localhost";1)',
    "+1+1",
    "@SUM(A1:A9)",
    "'; drop table slip_fact; --",
    "\u202egnp.exe",
    "\u2066hidden\u2069",
    "../../../etc/passwd",
    "..\\..\\windows",
    "{{ 7 * 7 }}{% raw %}",
    "${jndi:x}",
    "x" * 300,
    "\U0001f3c1 ünïcödé 車",
)
CAR = """[car]
name = "teal"
race_weight = "2600 lb"
wheelbase = "105 in"
power = "800 hp"
tyre_circumference = "100 in"
final_drive = 4.1
description = {text}
[[car.adjustable]]
name = "launch rpm"
"""
TRACK = '[track]\nname = "lowfield"\nelevation = "34 m"\nheading_deg = 85\nsurface = {text}\n'
PAGES = (
    ("show", "{key}"),
    ("runs",),
    ("compare", "teal/2031-04-12/1", "{key}"),
    ("effects", "--car", "teal"),
    ("season", "teal"),
    ("history", "{key}"),
    ("chassis", "teal"),
    ("sql", "select note, spoiled, lane, purpose from slip"),
    ("review", "2031-04-12"),
)
# what a terminal acts on: C0 and C1 controls but the line feed, and marks that turn or hide text
STEERING = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff]")


@pytest.fixture(scope="module")
def logbook(tmp_path_factory: pytest.TempPathFactory, program_in: type[Program]) -> Program:
    """A day whose every text was chosen to do harm; run n + 10 has the n-th."""
    program = program_in(tmp_path_factory.mktemp("hostile"))
    text = io.StringIO()
    rows = csv.writer(text)
    rows.writerow(["car", "date", "time", "track", "run", "lane", "t60_s", "t330_s", "spoiled", "note"])
    rows.writerow(["teal", "2031-04-12", "09:00", "lowfield", 1, "left", 1.41, 3.84, "", ""])
    for number, hostile in enumerate(HOSTILE, 10):
        spoiled = hostile if number % 2 else ""
        rows.writerow(
            ["teal", "2031-04-12", f"10:{number:02d}", "lowfield", number, "left", 1.4, 3.8, spoiled, hostile]
        )
    program.write("slips.csv", text.getvalue())
    program.write("teal.toml", CAR.format(text=json.dumps(HOSTILE[0])))
    sheet = io.StringIO()
    lines = csv.writer(sheet)
    lines.writerow(["car", "date", "run", "item", "value", "unit"])
    for number, hostile in enumerate(HOSTILE, 10):
        lines.writerow(["teal", "2031-04-12", number, "rear tyre set", hostile, ""])
    program.write("sheet.csv", sheet.getvalue())
    assert program("new", "book.duckdb").code == 0
    for file in ("teal.toml", "slips.csv", "sheet.csv"):
        done = program("import", file)
        assert done.code == 0, (file, done.out, done.err)
    return program


@pytest.mark.parametrize("words", PAGES, ids=" ".join)
def test_pages_show_it_harmlessly(logbook: Program, words: tuple[str, ...]) -> None:
    for number in range(10, len(HOSTILE) + 10) if "{key}" in words else (10,):
        done = logbook(*(word.format(key=f"teal/2031-04-12/{number}") for word in words))
        assert done.code == 0, (number, done.err)
        assert not STEERING.search(done.out), (number, STEERING.search(done.out))
        assert not STEERING.search(done.err), number


def test_what_is_stored_is_what_was_written(logbook: Program) -> None:
    done = logbook("sql", "select note from slip where number > 1 order by number", "--json")
    assert [row["note"] for row in done.json()] == list(HOSTILE)
    assert not STEERING.search(done.out)  # written as JSON's escapes, which say the same


def test_nothing_in_a_table_for_a_spreadsheet_is_a_formula(logbook: Program) -> None:
    done = logbook("sql", "select note, spoiled from slip order by number", "--csv")
    cells = [cell for row in csv.reader(io.StringIO(done.out)) for cell in row]
    assert not [cell for cell in cells if cell[:1] in tuple("=+-@\t\r")]
    assert '\'=HYPERLINK("http://localhost";1)' in cells


@pytest.mark.parametrize("word", [*HOSTILE, "a\x00b", "\x1b[2J", "1" * 400], ids=lambda word: ascii(word)[:12])
def test_words_on_the_command_line_are_no_better(logbook: Program, word: str) -> None:
    for words in (("show", word), ("runs", "--car", word), ("effects", "--car", word), ("compare", word, "1")):
        done = logbook(*words) if not word.startswith(("-", "+")) else logbook(words[0], "--", word)
        assert done.code in (1, 2)
        assert not STEERING.search(done.err.replace("\r\n", "\n"))
        assert "Traceback" not in done.err


@pytest.mark.parametrize(
    "name", ["[bold]x[/nope].csv", "=1+1.csv", "\u202efdp.csv", "'; drop table entry; --.csv"], ids=ascii
)
def test_names_of_files_are_no_better(logbook: Program, name: str, tmp_path: Path) -> None:
    place = logbook.write(name, "car,date,run,t60_s\nteal,2031-04-13,1,oops\n")
    done = logbook("import", place)
    assert done.code == 1
    assert not STEERING.search(done.out + done.err)
    place.unlink()


NO_TIMES = ("nan", "inf", "-inf", "1e400", "-1.4", "1e9", "0x10", "1_4", "9" * 500, "1.4\x00")


@pytest.mark.parametrize("figure", NO_TIMES, ids=lambda figure: ascii(figure)[:9])
def test_numbers_that_are_none_are_refused_whole(logbook: Program, figure: str) -> None:
    before = logbook("runs", "--json").json()
    place = logbook.write("wrong.csv", f"car,date,run,t60_s\nteal,2031-04-13,1,{figure}\nteal,2031-04-13,2,1.40\n")
    done = logbook("import", place)
    assert done.code == 1
    assert "wrong.csv" in done.out + done.err
    assert logbook("runs", "--json").json() == before
    place.unlink()


def test_links_in_folders_are_not_followed(logbook: Program, tmp_path: Path) -> None:
    (tmp_path / "secret.csv").write_text("car,date,run,t60_s\nteal,2031-04-14,1,1.40\n")
    folder = logbook.folder / "incoming"
    folder.mkdir()
    (folder / "harmless.csv").symlink_to(tmp_path / "secret.csv")
    (folder / "loop").symlink_to(folder, target_is_directory=True)
    assert logbook("import", folder, "--json").json()["files"] == []
