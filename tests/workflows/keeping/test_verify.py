"""Verification finds what is damaged, missing or changed behind the program's back, and nothing where all is well.

Oracle: damage done with plain DuckDB, whose effect is known.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import duckdb
import pytest

from runlog.store.connection import create_logbook, open_logbook
from runlog.workflows.intake.ingest import import_files
from runlog.workflows.keeping.undo import undo
from runlog.workflows.keeping.verify import verify

DEMO = Path(__file__).resolve().parents[3] / "demo_runs"
PITS = DEMO / "pits" / "2031-04-12"


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A logbook of a day without logs."""
    path = tmp_path_factory.mktemp("whole") / "whole.duckdb"
    with create_logbook(path) as book:
        import_files(book, [DEMO / "tracks" / "lowfield.toml", DEMO / "cars" / "heron.toml"])
        import_files(book, [DEMO / "sheets" / "heron_baseline.csv", PITS / "slips.csv", PITS / "air.csv"])
    return path


@pytest.fixture
def shop(whole, tmp_path):
    """A copy of it to damage."""
    return Path(shutil.copyfile(whole, tmp_path / "shop.duckdb"))


DAMAGE = {
    "update original_part set data = 'x'::blob where part = 0": ("originals", "the original of heron.toml is damaged"),
    "update original set bytes = bytes + 1": ("originals", "the original of heron.toml has"),
    "delete from original where rowid = 0": ("originals", "the original of heron.toml is missing"),
    "insert into original values ('00', 1)": ("originals", "the original 00… belongs to no entry"),
    "delete from entry where entry = 5": ("references", "entries that aren't there: 5"),
    "update entry set entry = 9 where entry = 2": ("references", "entries aren't numbered without gaps"),
    "update entry set stored_at = '1999-01-01' where entry = 3": ("references", "aren't in the order in which they"),
    'update entry set given = \'{"car": "x"}\' where entry = 4': ("references", "entry 4 (slips.csv) isn't what its"),
    "insert into run_result by name select * replace (99 as number) from run_result limit 1": (
        "references",
        "results of runs that nothing tells of: heron/2031-04-12/99",
    ),
    "insert into run_result from run_result limit 1": ("references", "runs with several results: heron/2031-04-12"),
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
def test_damage_is_found(shop, sql):
    with duckdb.connect(str(shop)) as raw:
        names = [name for (name,) in raw.execute("select name from entry order by entry").fetchall()]
        number = names.index("slips.csv") + 1
        raw.execute(sql.replace("entry = 4", f"entry = {number}"))
    with open_logbook(shop, read_only=True) as opened:
        found = verify(opened, quick=True)
    where, what = DAMAGE[sql]
    parts = what.replace("entry 4", f"entry {number}").split("heron.toml")  # whichever original it was
    assert any(at == where and all(part in text for part in parts) for at, text in found.faults), found.faults


@pytest.mark.slow
@pytest.mark.parametrize(
    ("sql", "what"),
    [
        ("update slip_fact set t60 = 1.411 where number = 1", "slip_fact: "),
        ("update run_result set corrected_t1320 = corrected_t1320 + 0.001", "run_result: heron/2031-04-12/"),
        ("update car_result set vehicle = replace(vehicle, '1', '2')", "car_result: heron"),
        ("delete from fleet_result", "fleet_result has 0 rows where a rebuild makes 1"),
    ],
)
def test_figures_that_no_original_says_are_found_by_a_rebuild(shop, sql, what):
    with duckdb.connect(str(shop)) as raw:
        raw.execute(sql)
    before = shop.read_bytes()
    with open_logbook(shop, read_only=True) as opened:
        assert verify(opened, quick=True).faults == ()
        found = verify(opened)
    assert found.rebuilt
    assert any(at == "rebuild" and what in text for at, text in found.faults), found.faults
    assert shop.read_bytes() == before


@pytest.mark.slow
def test_a_logbook_that_lived_is_whole(book, files):
    import_files(book, [files])
    undo(book, 4)
    undo(book)
    assert verify(book).faults == ()


@pytest.mark.slow
def test_the_demo_season_is_whole(season):
    done = season.run("verify")
    assert done.code == 0, done.out
    assert re.search(r"is whole: \d\d+ entries", done.out)
    assert "a rebuild says the same" in done.out
