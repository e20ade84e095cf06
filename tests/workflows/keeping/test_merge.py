"""Two laptops: the same once, different things side by side, whoever merges whom, how often, in which order."""

from __future__ import annotations

import contextlib
import datetime as dt
from typing import TYPE_CHECKING, Any

import duckdb
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from runlog.errors import LogbookError, NotFound, UsageError
from runlog.records import Given
from runlog.store import facts, history, originals, traces
from runlog.store.connection import Logbook, create_logbook, open_logbook
from runlog.store.originals import Entry
from runlog.workflows.intake import parsing
from runlog.workflows.intake.ingest import add_typed, import_files
from runlog.workflows.keeping.bundle import bundle
from runlog.workflows.keeping.conflicts import conflicts, settle
from runlog.workflows.keeping.merge import merge
from runlog.workflows.keeping.undo import undo
from runlog.workflows.keeping.union import unite

if TYPE_CHECKING:
    from pathlib import Path

CAR = """[car]
name = "teal"
race_weight = "{} lb"
wheelbase = "105 in"
power = "800 hp"
tyre_circumference = "100 in"
final_drive = 4.1
[[car.adjustable]]
name = "launch rpm"
"""


def slip(run: int, time: float) -> bytes:
    return f"car,date,run,t60_s\nteal,2031-04-12,{run},{time:.3f}\n".encode()


def say(book: Logbook, kind: str, content: bytes, name: str = "typed") -> None:
    add_typed(book, kind, content, name, Given())


def entry_list(book: Logbook) -> list[tuple[Any, ...]]:
    return [(entry.identity, entry.stored_at, entry.name, entry.told_by) for entry in originals.entries(book)]


def with_merged(book: Logbook, *others: Logbook) -> Logbook:
    for other in others:
        other.close()
        merge(book, other.path)
    return book


# --- the laws, on sets of entries: commutative, associative, idempotent

NAMES = ("a.csv", "b.csv")
SAID = st.dictionaries(
    st.integers(0, 6),
    st.tuples(st.integers(0, 9), st.sampled_from(NAMES), st.sets(st.integers(0, 6), max_size=3)),
)


def known(said: dict[int, tuple[int, str, set[int]]]) -> Any:
    """Return entries of made-up content, stored at made-up times, some of them the same second."""
    identity = {n: Entry(0, "slips", f"{n:064x}", "", {}, None).identity for n in range(7)}
    start = dt.datetime(2031, 4, 12, 10)
    entries = [
        (Entry(0, "slips", f"{n:064x}", name, {}, None, start + dt.timedelta(seconds=time)), replaces)
        for n, (time, name, replaces) in said.items()
    ]
    made = {entry.identity: (entry, {identity[n] for n in replaces}) for entry, replaces in entries}
    return unite({}, made)


@settings(max_examples=50)
@given(SAID, SAID, SAID)
def test_uniting_obeys_the_laws(one, two, three):
    a, b, c = known(one), known(two), known(three)
    assert unite(a, b) == unite(b, a)
    assert list(unite(a, b)) == list(unite(b, a))
    assert unite(a, a) == a
    assert unite(unite(a, b), c) == unite(a, unite(b, c))
    assert unite(unite(a, b), b) == unite(a, b)
    assert set(unite(a, b)) == set(a) | set(b)


# --- the same on logbooks

ACTS = st.lists(
    st.one_of(
        st.tuples(st.just("slip"), st.integers(1, 2), st.sampled_from([1.4, 1.5])),
        st.tuples(st.just("car"), st.sampled_from([2600, 2700]), st.just(0.0)),
        st.tuples(st.just("undo"), st.just(0), st.just(0.0)),
    ),
    max_size=3,
)


def act(book: Logbook, acts: list[tuple[str, int, float]]) -> None:
    for kind, number, time in acts:
        if kind == "slip":
            say(book, "slips", slip(number, time))
        elif kind == "car":
            say(book, "car", CAR.format(number).encode())
        else:
            with contextlib.suppress(NotFound):  # all is withdrawn already
                undo(book)


@pytest.mark.slow
@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(ACTS, min_size=4, max_size=4))
def test_merging_obeys_the_laws(tmp_path_factory, answers, said):
    folder = tmp_path_factory.mktemp("laws")
    common, *own = said

    def fresh(name: str) -> Path:
        return folder / f"{name}.duckdb"

    with create_logbook(fresh("start")) as book:
        say(book, "slips", slip(1, 1.3))
        act(book, common)
    for n, acts in enumerate(own):
        fresh(f"laptop {n}").write_bytes(fresh("start").read_bytes())
        with open_logbook(fresh(f"laptop {n}")) as book:
            act(book, acts)

    def merged(name: str, *order: str) -> tuple[Any, ...]:
        """Return what stands in a copy of the first into which the others were merged one after the other."""
        fresh(name).write_bytes(fresh(order[0]).read_bytes())
        with open_logbook(fresh(name)) as book:
            for other in order[1:]:
                merge(book, fresh(other))
            found = [(item.thing, [says for _, says in item.sayings]) for item in conflicts(book)]
            return entry_list(book), answers(book), found

    one_two = merged("01", "laptop 0", "laptop 1")
    assert merged("10", "laptop 1", "laptop 0") == one_two
    assert merged("011", "01", "laptop 1", "10") == one_two
    all_three = merged("012", "01", "laptop 2")
    merged("12", "laptop 1", "laptop 2")
    assert merged("0(12)", "laptop 0", "12") == all_three
    assert merged("210", "laptop 2", "laptop 1", "laptop 0") == all_three


@pytest.mark.slow
def test_the_same_is_kept_once_and_nothing_is_read_again(book, laptop, files, monkeypatch):
    import_files(book, [files])
    other = laptop("other")
    import_files(other, [files])  # the same files, brought in by themselves
    say(other, "slips", slip(9, 1.4))
    before = {trace.key: trace.body for trace in traces.stored(book)}
    parse = parsing.parse

    def only_small(kind: str, *rest: Any) -> Any:
        assert kind != "logger", "logs that are there already needn't be read again"
        return parse(kind, *rest)

    monkeypatch.setattr(parsing, "parse", only_small)
    other.close()
    done = merge(book, other.path)
    assert [entry.name for entry in done.taken] == ["typed"]
    assert done.same == len(list(files.iterdir()))
    assert done.conflicts == ()
    assert {trace.key: trace.body for trace in traces.stored(book)} == before
    assert len(originals.entries(book)) == len(list(files.iterdir())) + 1


@pytest.mark.slow
def test_days_of_two_laptops_come_together_as_if_kept_in_one(book, laptop, files, answers):
    one, two, both = laptop("one"), laptop("two"), book
    shared = [files / "teal.toml", files / "lowfield.toml", files / "baseline.csv", files / "changes.csv"]
    first = [files / name for name in ("slips.csv", "air.csv", "teal_2031-04-12_2.csv")]
    second = [files / name for name in ("slips_2.csv", "air_2.csv")]
    import_files(one, [*shared, *first])
    import_files(two, [*shared, *second])
    import_files(both, [*shared, *first, *second])  # oracle: one laptop all along
    assert answers(with_merged(one, two)) == answers(both)


# --- what differs


def test_corrections_are_no_conflict_but_different_ones_are(book, laptop):
    say(book, "slips", slip(1, 1.3), "slip")
    other = laptop("other", like=book)
    book = open_logbook(book.path)
    say(book, "slips", slip(1, 1.4), "here")
    assert with_merged(book, other) is book
    assert conflicts(book) == []  # the other laptop said nothing new
    other = open_logbook(other.path)
    say(other, "slips", slip(1, 1.5), "there")
    with_merged(book, other)
    (found,) = conflicts(book)
    assert found.thing == "slip teal/2031-04-12/1"
    assert [entry.name for entry, _ in found.sayings] == ["here", "there"]
    assert [s.times[60] for s in facts.slips(book).values()] == [1.5]  # the last one is shown until it is settled
    book.close()


@pytest.mark.parametrize("keep", ["here", "there"])
def test_settling_lets_one_hold_on_both_laptops(book, laptop, keep):
    other = laptop("other")
    say(book, "slips", slip(1, 1.4) + b"teal,2031-04-12,2,1.600\n", "here")
    say(other, "slips", slip(1, 1.5), "there")
    with_merged(book, other)
    number = next(entry.number for entry in originals.entries(book) if entry.name == keep)
    (settled,) = settle(book, number)
    assert settled.thing == "slip teal/2031-04-12/1"
    wanted = {"here": 1.4, "there": 1.5}[keep]
    assert [s.times[60] for s in facts.slips(book).values()] == [wanted, 1.6]  # the other run of the file is untouched
    assert conflicts(book) == []
    other = open_logbook(other.path)
    with_merged(other, book)
    assert conflicts(other) == []
    assert [s.times[60] for s in facts.slips(other).values()] == [wanted, 1.6]
    undo(other)  # and it can be taken back
    assert len(conflicts(other)) == 1


def test_typing_it_again_settles_too(book, laptop):
    other = laptop("other")
    say(book, "slips", slip(1, 1.4), "here")
    say(other, "slips", slip(1, 1.5), "there")
    with_merged(book, other)
    say(book, "slips", slip(1, 1.45), "both of us")
    assert conflicts(book) == []


def test_cars_and_sheets_differ_by_thing(book, laptop):
    other = laptop("other")
    say(book, "car", CAR.format(2600).encode(), "car here")
    say(book, "sheet", b"car,date,run,item,value,unit\nteal,2031-04-12,2,launch rpm,4200,rpm\n", "sheet here")
    say(other, "car", CAR.format(2700).encode(), "car there")
    say(other, "sheet", b"car,date,run,item,value,unit\nteal,2031-04-12,2,launch rpm,4400,rpm\n", "sheet there")
    with_merged(book, other)
    assert [item.thing for item in conflicts(book)] == ["car teal", "sheet teal/2031-04-12/2 launch rpm"]
    settle(book, 1)
    assert facts.cars(book)["teal"].race_mass == pytest.approx(2600 * 0.45359237)  # exact by definition of the pound
    assert [item.thing for item in conflicts(book)] == ["sheet teal/2031-04-12/2 launch rpm"]


@pytest.mark.slow
def test_two_logs_of_one_run_differ(book, laptop, files):
    other = laptop("other")
    import_files(book, [files / "teal.toml", files / "teal_2031-04-12_2.csv"])
    twin = files / "b" / "teal_2031-04-12_2.csv"
    twin.parent.mkdir()
    twin.write_bytes((files / "teal_2031-04-12_3.csv").read_bytes())
    import_files(other, [files / "teal.toml", twin])
    shown = traces.stored(book)[0].fingerprint
    with_merged(book, other)
    (found,) = conflicts(book)
    assert found.thing == "trace teal/2031-04-12/2"
    settle(book, found.sayings[0][0].number)
    assert conflicts(book) == []
    newest = book.row("select body, fingerprint from book.main.trace")
    assert newest == (1, shown)
    assert book.row("select count(*) from book.main.channel_fact where body = 1") == (3,)


def test_what_can_not_be_settled_is_said(book, laptop):
    with pytest.raises(NotFound, match="nothing to settle"):
        settle(book, 1)
    other = laptop("other")
    say(book, "slips", slip(1, 1.4))
    say(other, "slips", slip(1, 1.5))
    with_merged(book, other)
    with pytest.raises(UsageError, match="entry 7 is not among those that differ; those are: 1, 2"):
        settle(book, 7)
    with pytest.raises(UsageError, match=r"on 'slip x'; open are: slip teal/2031-04-12/1"):
        settle(book, 1, "slip x")


@pytest.mark.slow
def test_what_one_laptop_withdrew_and_the_other_rests_on_is_said_and_comes_back(book, laptop):
    say(book, "car", CAR.format(2600).encode(), "teal.toml")
    other = laptop("other", like=book)
    book = open_logbook(book.path)
    undo(book)
    say(other, "sheet", b"car,sheet,item,value,unit\nteal,full,launch rpm,4200,rpm\n", "baseline.csv")
    other.close()
    done = merge(book, other.path)
    assert list(done.unread) == ["baseline.csv"]
    assert facts.sheets(book, "teal") == []
    undo(book, next(entry.number for entry in originals.entries(book) if entry.kind == "undo"))
    assert history.unread(book) == {}
    assert len(facts.sheets(book, "teal")) == 1
    book.close()


# --- a day to carry


@pytest.mark.slow
def test_a_bundle_holds_one_day_and_merges(book, laptop, files, tmp_path, answers):
    import_files(book, [files])
    done = bundle(book, "teal/2031-04-12", tmp_path / "day.duckdb")
    assert {entry.name for entry in done.entries} == {
        "teal.toml", "lowfield.toml", "baseline.csv", "changes.csv", "slips.csv", "air.csv", "air_2.csv",
        "teal_2031-04-12_2.csv", "teal_2031-04-12_3.csv",
    }  # fmt: skip
    other = laptop("other")
    merge(other, tmp_path / "day.duckdb")
    here, there = answers(book), answers(other)
    for name in ("car", "track", "trace", "samples"):
        assert there[name] == here[name]
    assert [row for row in here["slip"] if "datetime.date(2031, 4, 12)" in row] == there["slip"]
    assert merge(book, tmp_path / "day.duckdb").taken == ()
    with pytest.raises(LogbookError, match=r"day.duckdb exists already: choose another name"):
        bundle(book, "teal/2031-04-12", tmp_path / "day.duckdb")
    assert sorted(path.name for path in tmp_path.glob("*day*")) == ["day.duckdb"]


# --- logbooks that may hold anything

HOSTILE = {
    "create view entry as select * from secret": "entry is not the plain table",
    "alter table entry alter stored_at type varchar": "entry is not the plain table",
    "alter table entry add column more integer": "entry is not the plain table",
    "alter table original alter bytes type varchar": "original is not the plain table",
    "drop table original_part": "original_part is not the plain table",
    "update entry set kind = 'script'": "entry 1: it is of a kind that isn't known here, 'script'",
    "update entry set stored_at = '2999-01-01'": "entry 1: it was stored on 2999-01-01, so its laptop's clock is far",
    "update entry set stored_at = 'infinity'": "entry 1: ",
    "update entry set given = '[]'": "entry 1: what was said of it can't be read",
    "update entry set given = '{\"rate_hz\": NaN}'": "entry 1: what was said of it can't be right: 'rate_hz'",
    'update entry set given = \'{"elevation": "x"}\'': "entry 1: what was said of it can't be right: 'elevation'",
    "update entry set given = '{\"__class__\": 1}'": "entry 1: what was said of it can't be right: '__class__'",
    'update entry set given = \'{"map": "../x"}\'': "entry 1: the channel map named for it is missing",
    "update entry set run = '../../x'": "entry 1: its run can't be right",
    "update entry set name = repeat('x', 2000)": "entry 1: its name can't be right",
    "update entry set sha256 = 'x'": "entry 1: its original is missing",
    "delete from original": "entry 1: its original is missing",
    "update original set bytes = 9000000000": "its list of originals can't be right",
    "update original set bytes = 5": "is damaged",
    "update original_part set data = 'x'::blob": "is damaged",
    "update original_part set part = 7": "is damaged",
    "delete from original_part": "is damaged",
    "insert into migration values (99, 'x', now()::timestamp)": "written by a newer runlog",
    "delete from migration where number > 3": "is of schema 3, from before logbooks could be merged",
    "drop table migration": "is a DuckDB file but not a logbook",
}


@pytest.fixture(scope="module")
def said_once(tmp_path_factory):
    """The bytes of a logbook with one slip."""
    path = tmp_path_factory.mktemp("said") / "said.duckdb"
    with create_logbook(path) as made:
        say(made, "slips", slip(1, 1.4))
    return path.read_bytes()


@pytest.mark.parametrize("sql", HOSTILE)
def test_a_logbook_that_can_not_be_believed_is_refused_whole(book, said_once, tmp_path, sql):
    path = tmp_path / "other.duckdb"
    path.write_bytes(said_once)
    with duckdb.connect(str(path)) as raw:
        if sql.startswith("create view entry"):
            raw.execute("alter table entry rename to secret")
        raw.execute(sql)
    with pytest.raises(LogbookError, match=HOSTILE[sql]):
        merge(book, path)
    assert originals.entries(book) == []
    assert book.row("select count(*) from book.main.original") == (0,)


def test_facts_views_and_macros_of_the_other_file_are_not_looked_at(book, laptop, tmp_path):
    other = laptop("other")
    say(other, "slips", slip(1, 1.4))
    other.close()
    secret = tmp_path / "secret.txt"
    secret.write_text("kept")
    with duckdb.connect(str(other.path)) as raw:
        raw.execute("update slip_fact set t60 = 0.1")
        raw.execute(f"create or replace view slip as select content from read_text('{secret}')")
        raw.execute("create macro count(x) as 0")
        raw.execute("create macro unnest(x) as 0")
    merge(book, other.path)
    assert [s.times for s in facts.slips(book).values()] == [{60: 1.4}]


def test_a_bomb_is_not_unpacked(book, laptop, monkeypatch):
    """What unpacks to more than is stated is given up as soon as it does."""
    other = laptop("other")
    bomb = b"0" * 50_000_000
    with other.transaction():
        originals.keep(other, bomb, Entry(0, "slips", originals.digest(bomb), "bomb.csv", {}, None))
    other.close()
    with duckdb.connect(str(other.path)) as raw:
        raw.execute("update original set bytes = 1000")
    with pytest.raises(LogbookError, match="is damaged"):
        merge(book, other.path)


def test_itself_and_no_logbook(book, tmp_path):
    with pytest.raises(UsageError, match="is this logbook itself"):
        merge(book, book.path)
    with pytest.raises(NotFound, match="no logbook at"):
        merge(book, tmp_path / "nowhere.duckdb")
    (tmp_path / "x.duckdb").write_text("no")
    with pytest.raises(LogbookError, match="can't be opened as a logbook"):
        merge(book, tmp_path / "x.duckdb")
