"""Tables for other programs. Oracles: a plain CSV reader, polars' Parquet reader, fastexcel; what ``--json`` prints."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from typing import TYPE_CHECKING

import fastexcel
import polars as pl
import pytest

from runlog.reports.workbooks import write_form, write_frame
from runlog.workflows.kit import Form, Row

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Program


def read(path: Path) -> pl.DataFrame:
    if path.suffix == ".parquet":
        return pl.read_parquet(path)
    if path.suffix == ".xlsx":
        return fastexcel.read_excel(path).load_sheet(0).to_polars()
    return pl.read_csv(path, infer_schema_length=None)


@pytest.mark.parametrize("ending", [".csv", ".parquet", ".xlsx"])
def test_runs_in_every_form_are_those_of_the_command_line(season_copy: Program, ending: str) -> None:
    said = season_copy("runs", "--car", "heron", "--json").json()
    done = season_copy("export", "runs", "--to", f"runs{ending}", "--car", "heron")
    assert (done.code, done.out) == (0, "")
    assert f"runs{ending}: {len(said)} rows of runs" in done.err
    frame = read(season_copy.folder / f"runs{ending}")
    assert frame["key"].to_list() == [run["key"] for run in said]
    for found, run in zip(frame["corrected_t1320_s"].to_list(), said, strict=True):
        assert found == (
            None if run["corrected_t1320_s"] is None else pytest.approx(run["corrected_t1320_s"], abs=1e-4)
        )
    assert str(frame["date"][0])[:10] == said[0]["date"]


@pytest.mark.parametrize("table", ["splits", "increments", "setups", "air", "crew", "effects", "traces"])
def test_every_table_can_be_written(season_copy: Program, table: str) -> None:
    words = ["--run", "heron/2031-04-12/7"] if table == "traces" else []
    assert season_copy("export", table, "--to", "t.parquet", *words).code == 0
    assert read(season_copy.folder / "t.parquet").width > 5


def test_one_day_and_one_run(season_copy: Program) -> None:
    season_copy("export", "splits", "--to", "day.csv", "--day", "2031-04-12", "--car", "heron")
    assert set(read(season_copy.folder / "day.csv")["date"]) == {"2031-04-12"}
    season_copy("export", "setups", "--to", "run.csv", "--run", "heron/2031-04-12/7")
    assert set(read(season_copy.folder / "run.csv")["key"]) == {"heron/2031-04-12/7"}


HOSTILE = ["=1+1", "+1", "-1", "@x", "\t=1", '=HYPERLINK("x")', "http://x", "plain"]


def test_nothing_that_looks_like_a_formula_is_one_in_csv(tmp_path: Path) -> None:
    write_frame(pl.DataFrame({"=name": HOSTILE, "number": [-1.5] * len(HOSTILE)}), tmp_path / "t.csv")
    rows = list(csv.reader(io.StringIO((tmp_path / "t.csv").read_text(encoding="utf-8"))))
    assert rows[0][0] == "'=name"
    for written, row in zip(HOSTILE, rows[1:], strict=True):
        assert row[0] == (written if written in ("http://x", "plain") else f"'{written}")
        assert row[1] == "-1.5"  # a number stays one


def test_nothing_that_looks_like_a_formula_or_a_link_is_one_in_a_workbook(tmp_path: Path) -> None:
    write_frame(pl.DataFrame({"=name": HOSTILE, "number": [-1.5] * len(HOSTILE)}), tmp_path / "t.xlsx")
    with zipfile.ZipFile(tmp_path / "t.xlsx") as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml")
        assert b"<f>" not in sheet
        assert b"hyperlink" not in sheet.lower().replace(b"=hyperlink(", b"")
        assert not [name for name in archive.namelist() if "_rels/sheet" in name]
    frame = fastexcel.read_excel(tmp_path / "t.xlsx").load_sheet(0).to_polars()
    assert frame["=name"].to_list() == HOSTILE


def test_choices_of_a_form_stay_choices(tmp_path: Path) -> None:
    """A label of a hole is anybody's text: no quote in it ends the list, no list is longer than a rule may be."""
    rows = [("upper", "lower"), ('a"&A1&"b', "c"), ("a,b", "c"), ("x" * 200, "y" * 200)]
    form = Form("f", "teal & co", ("item", "value"), "value", tuple(Row(("hole", ""), choices) for choices in rows))
    write_form(tmp_path / "f.xlsx", form)
    with zipfile.ZipFile(tmp_path / "f.xlsx") as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml").decode()
    assert re.findall("<formula1>(.*?)</formula1>", sheet) == ['"upper,lower"']


def test_a_file_is_replaced_whole_and_nothing_is_left_beside_it(season_copy: Program) -> None:
    path = season_copy.write("runs.csv", "old")
    assert season_copy("export", "runs", "--to", "runs.csv").code == 0
    assert path.read_text(encoding="utf-8").startswith("key,")
    assert not [item for item in season_copy.folder.iterdir() if item.name.endswith(".part")]


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("zork", "--to", "t.csv"), 2, "no table 'zork'; there are: runs, splits"),
        (("runs", "--to", "t.doc"), 2, "found the ending '.doc'; accepted: .csv, .parquet, .xlsx"),
        (("runs",), 2, "say a table and its file"),
        (("runs", "--to", "nowhere/t.csv"), 1, "can't be written"),
        (("runs", "--to", "t.csv", "--lake", "x"), 2, "--lake goes alone"),
        (("traces", "--to", "t.csv", "--run", "heron/2031-04-12/77"), 1, "no run heron/2031-04-12/77"),
    ],
)
def test_what_cannot_be_written_says_why(season_copy: Program, words: tuple[str, ...], code: int, told: str) -> None:
    done = season_copy("export", *words)
    assert done.code == code
    assert told in done.err
    assert not (season_copy.folder / "t.csv").exists()
