"""Verification finds what is damaged, missing or changed behind the program's back, and nothing where all is well.

Oracle: damage done with plain DuckDB, whose effect is known.
"""

from __future__ import annotations

import duckdb
import pytest

from runlog.store.connection import open_logbook
from runlog.workflows.intake.ingest import import_files
from runlog.workflows.keeping.undo import undo
from runlog.workflows.keeping.verify import verify

SMALL = ("teal.toml", "lowfield.toml", "baseline.csv", "slips.csv", "air.csv")


def stocked(book, files, *names):
    import_files(book, [files / name for name in names or SMALL])
    return book


DAMAGE = {
    "update original_part set data = 'x'::blob where part = 0": ("originals", "the original of teal.toml is damaged"),
    "update original set bytes = bytes + 1": ("originals", "the original of teal.toml has"),
    "delete from original where rowid = 0": ("originals", "the original of teal.toml is missing"),
    "insert into original values ('00', 1)": ("originals", "the original 00… belongs to no entry"),
    "delete from entry where entry = 5": ("references", "entries that aren't there: 5"),
    "update entry set entry = 9 where entry = 2": ("references", "entries aren't numbered without gaps"),
    "update entry set stored_at = '1999-01-01' where entry = 3": ("references", "aren't in the order in which they"),
    'update entry set given = \'{"car": "x"}\' where entry = 4': ("references", "entry 4 (slips.csv) isn't what its"),
    "insert into run_result by name select * replace (99 as number) from run_result limit 1": (
        "references",
        "results of runs that nothing tells of: teal/2031-04-12/99",
    ),
    "insert into run_result from run_result limit 1": ("references", "runs with several results: teal/2031-04-12"),
    "insert into sample_fact values (7, 0, 0, 1)": (
        "references",
        "sample_fact has rows of traces that aren't there: 7",
    ),
    "create macro lower(x) as x": ("schema", "the macro lower is none of a logbook's"),
    "create view notes as select 1": ("schema", "the view notes is none of a logbook's"),
    "create or replace view slip as select 1": ("schema", "the view slip is defined otherwise"),
    "drop table plan_fact": ("schema", "the table plan_fact is missing"),
    "alter table slip_fact add column more integer": ("schema", "the table slip_fact is defined otherwise"),
}


@pytest.mark.parametrize("sql", DAMAGE)
def test_damage_is_found(book, files, sql):
    stocked(book, files)
    names = [name for (name,) in book.rows("select name from book.main.entry order by entry")]
    assert names[3] == "slips.csv" or sql.find("slips") < 0 or "slips.csv" in names
    book.close()
    number = names.index("slips.csv") + 1
    with duckdb.connect(str(book.path)) as raw:
        raw.execute(sql.replace("entry = 4", f"entry = {number}"))
    with open_logbook(book.path, read_only=True) as opened:
        found = verify(opened, quick=True)
    where, what = DAMAGE[sql]
    what = what.replace("entry 4", f"entry {number}")
    if "teal.toml" in what:
        assert any(at == where and text.startswith("the original of") for at, text in found.faults)
    else:
        assert any(at == where and what in text for at, text in found.faults), found.faults


@pytest.mark.parametrize(
    ("sql", "what"),
    [
        ("update slip_fact set t60 = 1.411 where number = 1", "slip_fact: "),
        ("update car_fact set content = replace(content, '820', '821')", None),
        ("update run_result set corrected_t1320 = corrected_t1320 + 0.001", "run_result: teal/2031-04-12/"),
        ("update car_result set vehicle = replace(vehicle, '1', '2')", "car_result: teal"),
        ("delete from fleet_result", "fleet_result has 0 rows where a rebuild makes 1"),
    ],
)
def test_figures_that_no_original_says_are_found_by_a_rebuild(book, files, sql, what):
    stocked(book, files).close()
    with duckdb.connect(str(book.path)) as raw:
        raw.execute(sql)
    before = book.path.read_bytes()
    with open_logbook(book.path, read_only=True) as opened:
        assert verify(opened, quick=True).faults == ()
        found = verify(opened)
    assert found.rebuilt
    if what is None:  # nothing in the car file says 820: nothing was changed
        assert found.faults == ()
    else:
        assert any(at == "rebuild" and what in text for at, text in found.faults), found.faults
    assert book.path.read_bytes() == before


@pytest.mark.slow
def test_a_logbook_that_lived_is_whole(book, files):
    stocked(book, files, *sorted(path.name for path in files.iterdir()))
    undo(book, 4)
    undo(book)
    assert verify(book).faults == ()


@pytest.mark.slow
def test_the_demo_season_is_whole(season):
    done = season.run("verify")
    assert done.code == 0, done.out
    assert "is whole: 7" in done.out
    assert "a rebuild says the same" in done.out
