"""A clean table with one defect at a time is read back as the clean one; at worst the touched row or cell is a gap.

The idea, and most kinds of defects, are those of G. Vitagliano et al., "Pollock: A Data Loading Benchmark", Proceedings
of the VLDB Endowment 16 (2023): of the file, the table, single rows and columns, each injected alone, and what is read
compared with the clean file's header, rows and cells. Table and code are ours.
"""

from __future__ import annotations

import numpy as np
import pytest

from runlog.problems import FileFaults
from runlog.readers.logger_csv import read_logger

ROWS = 16
HEADER = ["Time [s]", "Engine Speed [rpm]", "Oil Pressure [psi]", "Throttle [%]"]
CELLS = [[f"{row / 10:.1f}", f"{4000 + 37 * row}", f"{61.5 - row / 8:.3f}", f"{5.25 * row:.2f}"] for row in range(ROWS)]


def table(delimiter=",", newline="\n", header=None, cells=None, quote=""):
    rows = [HEADER if header is None else header, *(CELLS if cells is None else cells)]
    return "".join(delimiter.join(f"{quote}{cell}{quote}" for cell in row) + newline for row in rows)


CLEAN = read_logger(table().encode(), "clean.csv")


def same(content, *, but=None, name=None):
    """Assert that all is read as from the clean table; row ``but`` may be a gap, in channel ``name`` or in all."""
    found = read_logger(content if isinstance(content, bytes) else content.encode(), "defect.csv")
    assert [item.canonical for item in found.channels] == [item.canonical for item in CLEAN.channels]
    for read, clean in zip(found.channels, CLEAN.channels, strict=True):
        true = dict(zip(np.round(clean.time, 6), clean.values, strict=True))
        seen = dict(zip(np.round(read.time, 6), read.values, strict=True))
        missing = set(true) - set(seen)
        assert set(seen) <= set(true)
        assert missing <= (set() if but is None else {round(but / 10, 6)})
        assert name is None or clean.name == name or not missing
        np.testing.assert_allclose([seen[at] for at in seen], [true[at] for at in seen], rtol=1e-12)


LINES = table().splitlines()
FILES = {
    "no newline at the end": table()[:-1],
    "two newlines at the end": table() + "\n",
    "many newlines at the end": table() + "\n" * 9,
    "carriage returns": table(newline="\r"),
    "carriage returns and newlines": table(newline="\r\n"),
    "semicolons": table(";"),
    "tabs": table("\t"),
    "bars": table("|"),
    "comma and space": table(", "),
    "space before the comma": table(" ,"),
    "all in double quotes": table(quote='"'),
    "all in single quotes": table(quote="'"),
    "a byte order mark": table().encode("utf-8-sig"),
    "two bytes a letter": table().encode("utf-16"),
    "a null byte at the end": table().encode() + b"\0",
    "an end-of-file mark of old": table().encode() + b"\x1a",
    "a preamble": "Session,shakedown\nCar,heron\n\n" + table(),
    "a long preamble": "".join(f"Setting {row},{row}\n" for row in range(30)) + "\n" + table(),
    "a preamble of one cell": "exported\n" + table(),
    "a note below": table() + "\nend of recording\n",
    "a note with a comma below": table() + "\nexported, whole\n",
    "blank lines above": "\n\n\n" + table(),
    "a blank line below the header": table().replace("\n", "\n\n", 1),
    "a blank line after every line": table(newline="\n\n"),
    "header on two lines": "".join(
        ",".join(parts) + "\n" for parts in zip(*(cell.split(" [") for cell in HEADER), strict=True)
    ).replace("]", "")
    + "\n".join(LINES[1:]),
    "a delimiter at the end of every line": table(newline=",\n"),
    "a delimiter at the end of every line but the header": LINES[0] + "\n" + "".join(f"{x},\n" for x in LINES[1:]),
    "an empty column in front": "".join(f",{line}\n" for line in LINES),
    "the header twice": LINES[0] + "\n" + table(),
    "the header again between": "\n".join([*LINES[:9], LINES[0], *LINES[9:]]) + "\n",
    "columns set with spaces": table(cells=[[cell.rjust(9) for cell in row] for row in CELLS]),
    "a column of words": table(header=[*HEADER, "State"], cells=[[*row, "idle"] for row in CELLS]),
    "a column of words with delimiters": table(header=[*HEADER, "State"], cells=[[*row, '"a,b"'] for row in CELLS]),
    "a column of words with newlines": table(header=[*HEADER, "State"], cells=[[*row, '"a\nb"'] for row in CELLS]),
    "an empty column": table(header=[*HEADER, ""], cells=[[*row, ""] for row in CELLS]),
}


@pytest.mark.parametrize("defect", FILES)
def test_a_defect_of_the_file_or_table_changes_nothing(defect):
    same(FILES[defect])


ROW_DEFECTS = {
    "one delimiter too many at the end": lambda cells: [*cells, ""],
    "a cell too many": lambda cells: [*cells, "7"],
    "the last cell missing": lambda cells: cells[:-1],
    "only the time": lambda cells: cells[:1],
    "all cells empty": lambda cells: [""] * len(cells),
    "a remark": lambda _: ["# paused"],
    "nothing": lambda _: [],
    "in quotes": lambda cells: [f'"{cell}"' for cell in cells],
}


@pytest.mark.parametrize("row", [0, 7, ROWS - 1])
@pytest.mark.parametrize("defect", ROW_DEFECTS)
def test_a_defect_of_a_row_stays_in_it(defect, row):
    cells = [ROW_DEFECTS[defect](line) if at == row else line for at, line in enumerate(CELLS)]
    same(table(cells=cells), but=row)


@pytest.mark.parametrize("other", [";", "\t", "|", " "])
@pytest.mark.parametrize("row", [0, 7, ROWS - 1])
def test_another_delimiter_in_a_row_stays_in_it(other, row):
    lines = [line.replace(",", other) if at == row + 1 else line for at, line in enumerate(LINES)]
    same("\n".join(lines) + "\n", but=row)


@pytest.mark.parametrize("mark", ['"', "'", "n/a", "#N/A", "12..5", "--"])
@pytest.mark.parametrize("column", [1, 2, 3])
@pytest.mark.parametrize("row", [0, 7, ROWS - 1])
def test_a_defect_of_a_cell_stays_in_it(mark, column, row):
    """A stray quotation mark before the number, or a word in its place."""
    cells = [list(line) for line in CELLS]
    cells[row][column] = mark + cells[row][column] if len(mark) == 1 else mark
    same(table(cells=cells), but=row, name=CLEAN.channels[column - 1].name)


def test_names_that_are_the_same_are_told_apart():
    found = read_logger(table(header=[*HEADER[:2], *["Odd"] * 2]).encode(), "defect.csv")
    assert len({item.name for item in found.channels}) == 3


@pytest.mark.parametrize("content", ["", "\n", "\n\n\n", table(cells=[]), ",,,\n,,,\n"])
def test_a_file_without_samples_is_refused_with_a_reason(content):
    with pytest.raises(FileFaults) as fault:
        read_logger(content.encode(), "defect.csv")
    assert all(problem.found and problem.accepted for problem in fault.value.problems)
