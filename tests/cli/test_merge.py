"""Merging, conflicts, settling and bundles as commands: pages, JSON by schema, errors."""

from __future__ import annotations

from typing import TYPE_CHECKING

from published import valid

if TYPE_CHECKING:
    from conftest import Program


def typed(runlog: Program, book: str, number: int, time: str) -> None:
    words = ("add", "run", "-l", book, "--car", "teal", "--date", "2031-04-12", "--number", str(number), "--60", time)
    assert runlog(*words).code == 0


def test_two_laptops_from_the_command_line(runlog):
    for book, time in (("a.duckdb", "1.400"), ("b.duckdb", "1.500")):
        runlog("new", book)
        typed(runlog, book, 1, time)
    typed(runlog, "b.duckdb", 2, "1.600")
    page = valid("merge", runlog("merge", "b.duckdb", "-l", "a.duckdb", "--json").json())
    assert (len(page["taken"]), page["same"], page["new_conflicts"]) == (2, 0, 1)
    again = runlog("merge", "b.duckdb", "-l", "a.duckdb")
    assert again.out.splitlines()[0] == "0 entries taken, 2 were here already"
    (found,) = valid("conflicts", runlog("conflicts", "-l", "a.duckdb", "--json").json())
    assert found["thing"] == "slip teal/2031-04-12/1"
    assert found["sayings"][1]["differs"] == [{"what": "times 60", "from": 1.4, "to": 1.5}]
    said = runlog("conflicts", "-l", "a.duckdb").out
    assert "60 ft 1.400 → 1.500" in said
    assert all(len(line) <= 80 for line in said.splitlines())
    kept = found["sayings"][0]["entry"]
    assert runlog("settle", str(kept), "-l", "a.duckdb").out == f"slip teal/2031-04-12/1: entry {kept} holds\n"
    assert runlog("conflicts", "-l", "a.duckdb").out == "Nothing to settle.\n"
    shown = runlog("show", "teal/2031-04-12/1", "-l", "a.duckdb", "--json").json()
    assert shown["splits"][0]["measured_s"] == 1.4
    done = runlog("settle", str(kept), "-l", "a.duckdb")
    assert (done.code, "nothing to settle" in done.err) == (1, True)


def test_a_day_is_packed_and_taken(runlog):
    runlog("new", "a.duckdb")
    typed(runlog, "a.duckdb", 1, "1.400")
    page = valid("bundle", runlog("bundle", "teal/2031-04-12", "day.duckdb", "-l", "a.duckdb", "--json").json())
    assert (page["cars"], page["other_cars"], len(page["entries"])) == (["teal"], [], 1)
    runlog("new", "b.duckdb")
    assert "1 entries taken" in runlog("merge", "day.duckdb", "-l", "b.duckdb").out
    assert runlog("runs", "-l", "b.duckdb", "--json").json() == runlog("runs", "-l", "a.duckdb", "--json").json()
    assert "exists already" in runlog("bundle", "2031-04-12", "day.duckdb", "-l", "a.duckdb").err
    assert "no run on 2031-04-13" in runlog("bundle", "2031-04-13", "x.duckdb", "-l", "a.duckdb").err


def test_importing_a_logbook_says_what_to_do(runlog):
    runlog("new", "a.duckdb")
    runlog("new", "b.duckdb")
    done = runlog("import", "b.duckdb", "-l", "a.duckdb")
    assert done.code == 1
    assert "is a logbook: take it in with 'runlog merge b.duckdb'" in done.out.replace("\n  ", " ")


def test_settled_things_as_json(runlog):
    for book, time in (("a.duckdb", "1.400"), ("b.duckdb", "1.500")):
        runlog("new", book)
        typed(runlog, book, 1, time)
    runlog("merge", "b.duckdb", "-l", "a.duckdb")
    done = valid("settle", runlog("settle", "1", "-l", "a.duckdb", "--json").json())
    assert done == {"entry": 1, "settled": ["slip teal/2031-04-12/1"]}
