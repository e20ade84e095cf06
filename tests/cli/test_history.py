"""History and undo as commands: pages, JSON by schema, errors."""

from __future__ import annotations

from typing import TYPE_CHECKING

from published import valid

if TYPE_CHECKING:
    from conftest import Program

SLIPS = "car,date,run,t60_s,note\nteal,2031-04-12,1,1.412,\nteal,2031-04-12,2,1.420,\u202ered [bold]x[/]\n"


def stocked(runlog: Program) -> None:
    runlog("new", "a.duckdb")
    runlog.write("slips.csv", SLIPS)
    assert runlog("import", "slips.csv").code == 0
    assert runlog("add", "run", "--car", "teal", "--date", "2031-04-12", "--number", "1", "--60", "1.5").code == 0


def test_a_correction_is_listed_withdrawn_and_brought_back(runlog):
    stocked(runlog)
    said = runlog("history", "teal/2031-04-12/1", RUNLOG_NAME="pat").out
    assert "1 · " in said  # replaced, marked without colour
    assert "replaced by entry 2" in said
    assert "60 ft 1.412 → 1.500" in said
    done = valid("undo", runlog("undo", "--json").json())
    assert done == {"entry": 2, "name": "typed teal/2031-04-12/1", "withdrawn": True, "by": 3}
    page = valid("history", runlog("history", "teal/2031-04-12/1", "--json").json())
    assert [(item["entry"], item["state"]) for item in page["entries"]] == [
        (1, "holds"),
        (2, "withdrawn"),
        (3, "holds"),
    ]
    assert runlog("show", "teal/2031-04-12/1", "--json").json()["splits"][0]["measured_s"] == 1.412
    back = runlog("undo", "3")
    assert back.out.splitlines()[0] == "typed teal/2031-04-12/1 (entry 2) is brought back."
    assert runlog("show", "teal/2031-04-12/1", "--json").json()["splits"][0]["measured_s"] == 1.5


def test_who_told_it_is_the_name_set(runlog):
    runlog("new", "a.duckdb")
    runlog.write("slips.csv", SLIPS)
    runlog("import", "slips.csv", RUNLOG_NAME="pat")
    assert valid("history", runlog("history", "--json").json())["entries"][0]["told_by"] == "pat"


def test_text_from_files_is_shown_harmlessly_and_in_80_columns(runlog):
    stocked(runlog)
    said = runlog("history").out
    assert "\u202e" not in said
    assert "[bold]x[/]" in said.replace("\n       ", "")
    assert all(len(line) <= 80 for line in said.splitlines())


def test_errors(runlog):
    stocked(runlog)
    assert "no entry about 'puffin'" in runlog("history", "puffin").err
    done = runlog("undo", "7")
    assert (done.code, done.err) == (
        1,
        "runlog: no entry 7: entries are numbered up to 2; 'runlog history' lists them\n",
    )


def test_an_empty_logbook(runlog):
    runlog("new", "a.duckdb")
    assert runlog("history").out == "Nothing is in the logbook yet.\n"
    assert "nothing in the logbook to withdraw" in runlog("undo").err
