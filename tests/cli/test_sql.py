"""Queries read the logbook and nothing else."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from runlog.cli.app import app


@pytest.fixture(scope="module")
def logbook(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sql")
    slips = "car,date,run,t60_s,note\ntern,2031-05-01,1,1.5,=1+1\ntern,2031-05-01,2,1.4,\u202egnp\n"
    (folder / "slips.csv").write_text(slips, "utf-8")
    book = folder / "shop.duckdb"
    run("new", str(book))
    run("import", str(folder / "slips.csv"), "--logbook", str(book))
    return book


def run(*arguments: str) -> str:
    done = CliRunner().invoke(app, arguments)
    assert done.exit_code == 0, done.output
    return done.stdout


def refused(logbook: Path, query: str, *options: str) -> str:
    done = CliRunner().invoke(app, ["sql", query, "--logbook", str(logbook), *options])
    assert done.exit_code == 1
    return done.stderr


def test_a_query_reads_the_documented_views(logbook: Path) -> None:
    found = json.loads(run("sql", "select key, t60 from run order by number", "--json", "--logbook", str(logbook)))
    assert found == [{"key": "tern/2031-05-01/1", "t60": 1.5}, {"key": "tern/2031-05-01/2", "t60": 1.4}]


def test_text_from_files_can_neither_steer_the_terminal_nor_calculate_in_a_spreadsheet(logbook: Path) -> None:
    query = ("sql", "select note from slip order by number", "--logbook", str(logbook))
    assert "\u202e" not in run(*query)
    assert "'=1+1" in run(*query, "--csv")


@pytest.mark.parametrize(
    "query",
    [
        "delete from slip_fact",
        "insert into memory.main.run values (1)",
        "attach 'other.duckdb' as other",
        "install httpfs",
        "select 1; select 2",
        "set lock_configuration = false",
        "create table mine (a int)",
        "explain analyze create table memory.main.mine as select 1",
        "explain (analyze) insert into memory.main.run values (1)",
        "explain /* */ analyze checkpoint",
    ],
)
def test_nothing_but_one_query_is_accepted(logbook: Path, query: str) -> None:
    before = logbook.read_bytes()
    assert "one query that reads" in refused(logbook, query)
    assert logbook.read_bytes() == before


@pytest.mark.parametrize(
    "query", ["select * from read_text('{secret}')", "from '{secret}'", "from read_csv('{secret}')"]
)
def test_other_files_are_out_of_reach_unless_asked_for(logbook: Path, tmp_path: Path, query: str) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text("word\nopen sesame\n")
    text = query.format(secret=secret)
    assert "sesame" not in refused(logbook, text)
    assert "sesame" in run("sql", text, "--files", "--logbook", str(logbook))


def test_copying_to_a_file_needs_files(logbook: Path, tmp_path: Path) -> None:
    text = f"copy (select 1 as a) to '{tmp_path / 'out.csv'}'"
    refused(logbook, text)
    assert not (tmp_path / "out.csv").exists()
    run("sql", text, "--files", "--logbook", str(logbook))
    assert (tmp_path / "out.csv").read_text() == "a\n1\n"


def test_an_error_of_the_query_is_told_in_a_line(logbook: Path) -> None:
    assert "nothing" in refused(logbook, "select nothing from run")
