"""Withdrawing entries: what is left is what would be there had they never come, and they can be brought back.

Oracle throughout: an independent logbook into which only the entries in force were imported.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from runlog.errors import NotFound, RunlogError, UsageError
from runlog.records import Given
from runlog.store import facts, history, originals, traces
from runlog.store.connection import Logbook, create_logbook
from runlog.workflows.intake.crew import say
from runlog.workflows.intake.ingest import add_typed, import_files
from runlog.workflows.intake.rebuild import rebuild
from runlog.workflows.keeping.history import history_page
from runlog.workflows.keeping.undo import undo

if TYPE_CHECKING:
    from pathlib import Path

RETYPED = b"car,date,run,t60_s\nteal,2031-04-12,2,1.500\n"


def number_of(book: Logbook, name: str) -> int:
    return next(entry.number for entry in originals.entries(book) if entry.name == name)


def without(answers: Any, files: Path, tmp_path: Path, *names: str) -> dict[str, Any]:
    """Return the answers of a logbook that never had these files."""
    with create_logbook(tmp_path / "never.duckdb") as never:
        import_files(never, [path for path in sorted(files.iterdir()) if path.name not in names])
        return answers(never)


@pytest.mark.parametrize(
    "name",
    [
        "slips_2.csv",
        pytest.param("changes.csv", marks=pytest.mark.slow),
        pytest.param("air.csv", marks=pytest.mark.slow),
        pytest.param("teal_2031-04-12_3.csv", marks=pytest.mark.slow),
        pytest.param("slips.csv", marks=pytest.mark.slow),
        pytest.param("lowfield.toml", marks=pytest.mark.slow),
    ],
)
def test_what_is_withdrawn_is_as_if_it_had_never_come_and_can_be_brought_back(book, files, tmp_path, answers, name):
    import_files(book, [files])
    before = answers(book)
    done = undo(book, number_of(book, name))
    assert (done.entry.name, done.withdrawn) == (name, True)
    # slips give a log its clean times; without them nothing else of the two days differs from never having had them
    assert answers(book) == without(answers, files, tmp_path, name)
    back = undo(book, done.by)
    assert (back.entry.name, back.withdrawn) == (name, False)
    assert answers(book) == before
    assert len(originals.entries(book)) == len(list(files.iterdir())) + 2  # nothing was deleted


def test_without_a_number_the_last_change_goes_and_then_the_one_before(book, files):
    import_files(book, [files / "teal.toml", files / "slips.csv"])
    add_typed(book, "slips", RETYPED, "typed teal/2031-04-12/2", Given())
    key = next(key for key in facts.slips(book) if key.number == 2)
    assert facts.slips(book)[key].times == {60: 1.5}
    assert undo(book).entry.name == "typed teal/2031-04-12/2"
    assert facts.slips(book)[key].times[1320] == 9.07
    assert undo(book).entry.name == "slips.csv"
    assert facts.slips(book) == {}
    assert book.rows("select * from book.main.run_result") == []
    assert undo(book).entry.name == "teal.toml"
    with pytest.raises(NotFound, match="nothing in the logbook to withdraw"):
        undo(book)


def test_typed_again_after_a_correction_holds_again(book, files):
    """The same words three times are three entries: the last one holds."""
    import_files(book, [files / "teal.toml"])
    for time in (b"1.500", b"1.400", b"1.500"):
        add_typed(book, "slips", RETYPED.replace(b"1.500", time), "typed", Given())
    assert [slip.times[60] for slip in facts.slips(book).values()] == [1.5]
    assert len({entry.identity for entry in originals.entries(book)}) == 4
    undo(book)
    assert [slip.times[60] for slip in facts.slips(book).values()] == [1.4]


def test_what_others_rest_on_stays(book, files, answers):
    import_files(book, [files])
    before = answers(book)
    count = len(originals.entries(book))
    with pytest.raises(
        RunlogError, match=r"teal.toml can't be withdrawn, since others rest on it: baseline.csv, line 2"
    ):
        undo(book, number_of(book, "teal.toml"))
    assert answers(book) == before
    assert len(originals.entries(book)) == count


def test_an_older_car_file_counts_again_for_sheets_stored_later(book, files):
    import_files(book, [files / "teal.toml"])
    other = (files / "teal.toml").read_text("utf-8").replace("2600 lb", "2700 lb")
    add_typed(book, "car", other.encode(), "teal corrected", Given())
    import_files(book, [files / "baseline.csv"])
    heavier = facts.cars(book)["teal"].race_mass
    undo(book, 2)
    assert facts.cars(book)["teal"].race_mass < heavier
    assert len(facts.sheets(book, "teal")) == 1


def test_the_same_file_does_not_come_back_by_itself(book, files):
    import_files(book, [files / "teal.toml", files / "slips.csv"])
    done = undo(book)
    report = import_files(book, [files / "slips.csv"])
    assert report.unchanged == 1
    assert report.files[0].warnings == [f"was withdrawn by entry {done.by}: 'runlog undo {done.by}' brings it back"]
    assert facts.slips(book) == {}


def test_withdrawn_twice_and_wrong_numbers_are_said(book, files):
    import_files(book, [files / "teal.toml", files / "slips.csv"])
    done = undo(book, 2)
    with pytest.raises(UsageError, match=r"entry 2 is withdrawn already, by entry 3: 'runlog undo 3' brings it back"):
        undo(book, 2)
    undo(book, done.by)
    with pytest.raises(UsageError, match=r"slips.csv \(entry 2\) has been brought back since"):
        undo(book, done.by)
    with pytest.raises(NotFound, match="no entry 99: entries are numbered up to 4; 'runlog history' lists them"):
        undo(book, 99)


@pytest.mark.slow
def test_a_rebuild_keeps_withdrawals(book, files, answers):
    import_files(book, [files / name for name in ("teal.toml", "lowfield.toml", "slips.csv", "slips_2.csv", "air.csv")])
    undo(book, number_of(book, "slips_2.csv"))
    before, out = answers(book), history.withdrawals(book)
    rebuild(book)
    assert answers(book) == before
    assert history.withdrawals(book) == out


def test_what_the_crew_says_can_be_withdrawn(book, files):
    import_files(book, [files / "teal.toml"])
    say(book, "item", {"what": "item", "car": "teal", "date": "2031-04-12", "text": "oil leak"})
    assert book.row("select count(*) from book.main.crew") == (1,)
    undo(book)
    assert book.row("select count(*) from book.main.crew") == (0,)


@pytest.mark.slow
def test_logs_keep_their_samples_where_they_stand(book, files):
    """Withdrawing a slip must not read logger files again: their samples stay where they are."""
    import_files(book, [files])
    bodies = {trace.key: trace.body for trace in traces.stored(book)}
    undo(book, number_of(book, "slips_2.csv"))
    assert {trace.key: trace.body for trace in traces.stored(book)} == bodies


def test_the_order_of_entries_does_not_follow_a_clock_that_goes_back(book):
    late = "timestamp '2099-01-01'"
    with book.transaction():
        kept = originals.keep(book, b"a", originals.Entry(0, "slips", originals.digest(b"a"), "a", {}, None))
        book.rows(f"update book.main.entry set stored_at = {late} where entry = ?", [kept.number])
        originals.keep(book, b"b", originals.Entry(0, "slips", originals.digest(b"b"), "b", {}, None))
    times = [entry.stored_at for entry in originals.entries(book)]
    assert times == sorted(set(times))
    assert [entry.name for entry in originals.entries(book)] == ["a", "b"]


@pytest.mark.slow
def test_withdrawing_a_channel_map_reads_its_logs_as_before(book, files, answers):
    import_files(book, [files / "teal.toml", files / "teal_2031-04-12_2.csv"])
    before = answers(book)
    (files / "map.toml").write_text('[channels]\n"Driveshaft RPM" = "ignore"\n', "utf-8")
    import_files(book, [files / "map.toml"])
    with_map = answers(book)
    assert with_map["findings"] != before["findings"]
    again = number_of(book, "map.toml") + 1  # the log, read again with it
    assert originals.entries(book)[again - 1].kind == "logger"
    done = undo(book, again)
    assert answers(book)["findings"] == before["findings"]
    undo(book, done.by)
    assert answers(book) == with_map


# --- history


@pytest.mark.slow
def test_history_of_a_run_says_what_differs_and_what_became_of_it(book, files):
    import_files(book, [files])
    add_typed(book, "slips", RETYPED, "typed teal/2031-04-12/2", Given())
    page = history_page(book, "teal/2031-04-12/2")
    by_name = {item["name"]: item for item in page["entries"]}
    assert set(by_name) == {"slips.csv", "changes.csv", "teal_2031-04-12_2.csv", "typed teal/2031-04-12/2"}
    first, typed = by_name["slips.csv"], by_name["typed teal/2031-04-12/2"]
    assert first["state"] == "replaced"
    assert first["says"][0]["replaced_by"] == typed["entry"]
    assert {"what": "times 60", "from": 1.42, "to": 1.5} in typed["says"][0]["differs"]
    done = undo(book)
    page = history_page(book, "teal/2031-04-12/2")
    states = {item["name"]: item["state"] for item in page["entries"]}
    assert states["slips.csv"] == "holds"
    assert states["typed teal/2031-04-12/2"] == "withdrawn"
    assert page["entries"][-1]["target"] == done.entry.number


@pytest.mark.parametrize(
    ("about", "names"),
    [
        ("lowfield", {"lowfield.toml"}),
        ("teal/2031-04-13", {"slips_2.csv", "changes.csv"}),
        ("2031-04-13", {"slips_2.csv", "changes.csv", "air_2.csv"}),
        ("teal", {"teal.toml", "baseline.csv", "changes.csv", "slips.csv", "slips_2.csv"}),
    ],
)
def test_history_of_tracks_days_and_cars(book, files, about, names):
    import_files(book, [path for path in files.iterdir() if not path.name.startswith("teal_")])
    assert {item["name"] for item in history_page(book, about)["entries"]} == names


def test_history_of_nothing_known(book, files):
    import_files(book, [files / "teal.toml"])
    with pytest.raises(
        NotFound, match="no entry about 'puffin'; accepted: car/date/number, car/date, a date, a car or"
    ):
        history_page(book, "puffin")
