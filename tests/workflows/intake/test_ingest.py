"""Imports: whole or not at all, once, in any order, and finished the next time when they were cut short."""

from __future__ import annotations

import datetime as dt
import itertools
import random
from pathlib import Path

import pytest

from runlog.errors import LogbookError, NotFound
from runlog.problems import FileFaults
from runlog.records import Given, RunKey
from runlog.store import facts, originals, results
from runlog.store.connection import Logbook, create_logbook
from runlog.workflows.intake.ingest import ImportReport, add_typed, import_files
from runlog.workflows.intake.rebuild import rebuild
from runlog.workflows.results import derive

RESULTS = ("run_result", "car_result", "trace_result")
FACTS = ("track_fact", "car_fact", "slip_fact", "sheet_fact", "air_fact", "trace_fact", "channel_fact", "sample_fact")


def rows(book: Logbook, *tables: str) -> dict[str, list[tuple]]:
    return {table: sorted(book.rows(f"select * from book.main.{table}"), key=repr) for table in tables}


def computed(book: Logbook) -> dict[str, list[tuple]]:
    """Return every result; those of traces by their run, since entries are numbered as they came."""
    found = rows(book, "run_result", "car_result")
    found["trace_result"] = sorted(
        book.rows("select car, date, number, findings from book.main.trace_result join book.main.trace using (body)")
    )
    return found


def counts(report: ImportReport) -> tuple[int, int, int]:
    return report.stored, report.unchanged, report.refused


def errors(report: ImportReport) -> list[str]:
    return [file.error for file in report.files if file.error]


def test_a_folder_is_taken_in_the_order_that_its_kinds_need(book, files):
    report = import_files(book, [files])
    assert errors(report) == []
    assert counts(report) == (10, 0, 0)
    kinds = [file.kind for file in report.files]
    assert [kind for kind, _ in itertools.groupby(kinds)] == ["track", "car", "air", "sheet", "slips", "logger"]
    assert [file.run for file in report.files if file.kind == "logger"] == ["teal/2031-04-12/2", "teal/2031-04-12/3"]
    found = results.run_results(book, "teal")
    assert [str(row.key) for row in found] == [
        "teal/2031-04-12/1", "teal/2031-04-12/2", "teal/2031-04-12/3", "teal/2031-04-13/1"
    ]  # fmt: skip
    assert all(row.air and row.corrected_times for row in found)
    assert [[change.item for change in row.changes] for row in found] == [[], ["launch rpm"], [], ["launch rpm"]]
    assert found[1].trace_splits
    assert results.stale_marks(book) == []


def test_importing_again_changes_nothing(book, files):
    import_files(book, [files])
    before = rows(book, "entry", "original", "original_part", *FACTS, *RESULTS)
    assert counts(import_files(book, [files])) == (0, 10, 0)
    assert rows(book, "entry", "original", "original_part", *FACTS, *RESULTS) == before


def test_the_same_bytes_under_another_name_are_nothing_new(book, files):
    import_files(book, [files])
    (files / "copy of slips.csv").write_bytes((files / "slips.csv").read_bytes())
    assert counts(import_files(book, [files])) == (0, 11, 0)


def test_a_file_that_is_refused_stores_nothing_and_keeps_no_other_out(book, files):
    bad = files / "slips_bad.csv"
    good_line = "teal,2031-04-14,1,1.41"
    bad.write_text(f"car,date,run,t60_s\n{good_line}\nteal,2031-04-14,2,slow\n")
    (files / "nothing.csv").write_text("")
    report = import_files(book, [files])
    assert counts(report) == (10, 0, 2)
    assert any(f"{bad}, line 3, column t60_s: found 'slow'" in error for error in errors(report))
    assert {key.date.day for key in facts.slips(book)} == {12, 13}
    assert originals.known(book, originals.digest(bad.read_bytes()), {}) is None
    bad.write_text(f"car,date,run,t60_s\n{good_line}\n")
    assert counts(import_files(book, [files])) == (1, 10, 1)


def test_a_log_that_tells_no_run_is_refused_whole(book, files):
    (files / "data.csv").write_bytes((files / "teal_2031-04-12_2.csv").read_bytes() + b"10.0,1,1,0\n")
    report = import_files(book, [files])
    assert counts(report) == (10, 0, 1)
    assert (
        "its run: found no --run; no data.run; no car, date and number in its name; no start time" in errors(report)[0]
    )
    assert book.row("select count(*) from book.main.trace_fact") == (2,)


def test_a_sheet_waits_for_its_car(book, files):
    report = import_files(book, [files / "baseline.csv"])
    assert "found the car 'teal'; accepted: a car in the logbook (none yet" in errors(report)[0]
    assert counts(import_files(book, [files / "teal.toml", files / "baseline.csv"])) == (2, 0, 0)


def test_no_such_file(book, files):
    with pytest.raises(NotFound, match=r"gone\.csv: no such file or folder"):
        import_files(book, [files / "gone.csv"])


def test_what_is_nothing_of_ours_is_refused(book, files):
    (files / "settings.toml").write_text("[tool]\nx = 1\n")
    report = import_files(book, [files / "settings.toml"])
    assert "found nothing that runlog reads; accepted: one of track, car, map" in errors(report)[0]


def test_hidden_and_foreign_files_of_a_folder_are_passed_over(book, files):
    (files / ".cache").mkdir()
    (files / ".cache" / "x.csv").write_text("nonsense")
    (files / "photo.jpg").write_bytes(b"\xff\xd8")
    assert counts(import_files(book, [files])) == (10, 0, 0)


def test_a_dry_run_says_the_same_and_stores_nothing(book, files):
    dry = import_files(book, [files], dry_run=True)
    for table in ("entry", "original", "stale", *FACTS, *RESULTS):
        assert book.row(f"select count(*) from book.main.{table}") == (0,), table
    real = import_files(book, [files])
    assert [(file.path, file.kind, file.run, file.rows, file.warnings, file.error) for file in dry.files] == [
        (file.path, file.kind, file.run, file.rows, file.warnings, file.error) for file in real.files
    ]
    assert counts(dry) == (0, 0, 0)


def test_what_the_user_says_goes_with_the_file(book, files):
    given = Given(run=RunKey("teal", dt.date(2031, 4, 13), 1))
    import_files(book, [files / "teal.toml", files / "slips_2.csv"])
    report = import_files(book, [files / "teal_2031-04-12_2.csv"], given)
    assert report.files[0].run == "teal/2031-04-13/1"
    # said of another run, the same bytes are something new
    assert counts(import_files(book, [files / "teal_2031-04-12_2.csv"], given)) == (0, 1, 0)


# --- corrections


def test_a_corrected_file_stands_and_the_old_one_stays(book, files):
    import_files(book, [files])
    (files / "slips_2.csv").write_text((files / "slips_2.csv").read_text().replace("1.41,", "1.43,"))
    assert counts(import_files(book, [files])) == (1, 9, 0)
    newest = results.run_results(book, "teal")[-1]
    assert newest.times[60] == 1.43
    assert book.rows("select t60 from book.main.slip_fact where date = '2031-04-13' order by entry") == [
        (1.41,),
        (1.43,),
    ]


def test_a_typed_slip_is_kept_like_a_file(book, files):
    import_files(book, [files])
    add_typed(book, "slips", b"car,date,run,t60_s\nteal,2031-04-13,2,1.5\n", "typed", Given())
    assert originals.fetch(book, originals.entries(book)[-1].sha256).endswith(b"teal,2031-04-13,2,1.5\n")
    assert results.run_results(book, "teal")[-1].times == {60: 1.5}


def test_a_typed_slip_that_is_refused_leaves_nothing(book):
    with pytest.raises(FileFaults, match="typed, line 2, column t60_s: found 'x'"):
        add_typed(book, "slips", b"car,date,run,t60_s\nteal,2031-04-13,2,x\n", "typed", Given())
    assert originals.entries(book) == []


# --- the order doesn't matter


@pytest.fixture(scope="module")
def at_once(tmp_path_factory: pytest.TempPathFactory, files_to_read: Path) -> dict[str, list[tuple]]:
    with create_logbook(tmp_path_factory.mktemp("at once") / "shop.duckdb") as book:
        import_files(book, [files_to_read])
        return computed(book)


ORDERS = {
    "logs first": [
        "teal_2031-04-12_3",
        "teal_2031-04-12_2",
        "slips_2",
        "slips",
        "teal.",
        "air",
        "low",
        "base",
        "changes",
    ],
    "air last": ["teal.", "changes", "base", "slips", "teal_", "low", "slips_2", "air_2", "air"],
    "track last": ["air", "slips", "teal_2031-04-12_2", "teal.", "teal_", "base", "slips_2", "changes", "low"],
    "slips after car and logs": ["teal.", "teal_", "low", "slips", "base", "changes", "air"],
    "track after all that it touches": ["teal.", "slips", "teal_", "base", "changes", "air", "low"],
    "car last but sheets": ["slips", "air", "teal_", "low", "slips_2", "teal.", "changes", "base"],
}


def ordered(folder: Path, starts: list[str]) -> list[Path]:
    paths = sorted(folder.iterdir())
    found = [path for start in starts for path in paths if path.name.startswith(start)]
    return list(dict.fromkeys(found))


@pytest.mark.parametrize("starts", ORDERS.values(), ids=ORDERS)
def test_files_one_by_one_in_any_order_give_the_same_results(book, files, at_once, starts):
    paths = ordered(files, starts)
    assert len(paths) == 10
    for path in paths:
        assert errors(import_files(book, [path])) == []
    assert computed(book) == at_once


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_files_one_by_one_in_a_random_order_give_the_same_results(book, files, at_once, seed):
    paths = sorted(files.iterdir())
    random.Random(seed).shuffle(paths)
    paths.sort(key=lambda path: path.name in ("baseline.csv", "changes.csv"))  # sheets need the car
    for path in paths:
        assert errors(import_files(book, [path])) == []
    assert computed(book) == at_once


def test_a_rebuild_gives_what_step_by_step_imports_gave(book, files, at_once):
    for path in ordered(files, ORDERS["car last but sheets"]):
        import_files(book, [path])
    before = rows(book, "entry", *FACTS)
    assert rebuild(book) == 10
    assert rows(book, "entry", *FACTS) == before
    assert computed(book) == at_once


def test_a_rebuild_that_fails_leaves_everything_as_it_was(book, files):
    import_files(book, [files])
    before = rows(book, *FACTS, *RESULTS)
    book.rows("update book.main.original_part set data = '\\x00'::blob where sha256 = ?", [
        originals.digest((files / "air_2.csv").read_bytes())
    ])  # fmt: skip
    with pytest.raises(LogbookError, match="is damaged"):
        rebuild(book)
    assert rows(book, *FACTS, *RESULTS) == before


def test_a_rebuild_uses_the_map_that_was_named_for_a_log(book, files, tmp_path):
    import_files(book, [path for path in sorted(files.iterdir()) if not path.name.startswith("teal_")])
    one, two = tmp_path / "one.toml", tmp_path / "two.toml"
    one.write_text('[channels]\n"Engine RPM" = "engine_speed"\n')
    two.write_text('[channels]\n"Engine RPM" = "ignore"\n')
    import_files(book, [one])
    import_files(book, [two])
    log = files / "teal_2031-04-12_2.csv"
    assert errors(import_files(book, [log], map_path=one)) == []
    before = rows(book, *FACTS)
    rebuild(book)
    assert rows(book, *FACTS) == before
    assert "engine_speed" in {name for (name,) in book.rows("select canonical from book.main.channel")}


# --- cut short


def test_results_that_a_killed_program_left_undone_are_finished_next_time(book, files, at_once, monkeypatch):
    def killed(*_: object) -> None:
        raise KeyboardInterrupt

    for path in ordered(files, ORDERS["air last"]):
        with monkeypatch.context() as patched:
            patched.setattr(derive, "refresh", killed)
            with pytest.raises(KeyboardInterrupt):
                import_files(book, [path])
    assert results.run_results(book) == []
    assert results.stale_marks(book) != []
    import_files(book, [files / "teal.toml"])
    assert results.stale_marks(book) == []
    assert computed(book) == at_once


def test_what_a_program_killed_while_learning_left_undone_is_finished_next_time(book, files, at_once, monkeypatch):
    def killed(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(derive, "computed_effects", killed)
        with pytest.raises(KeyboardInterrupt):
            import_files(book, [files])
    assert results.stale_marks(book) == []
    assert import_files(book, [files]).stored == 0
    assert computed(book) == at_once


def test_results_are_computed_whole_or_not_at_all(book, files, monkeypatch):
    import_files(book, [path for path in files.iterdir() if path.name != "slips_2.csv"])
    before = rows(book, *RESULTS)

    def fails(*_: object) -> None:
        raise RuntimeError("stop")

    with monkeypatch.context() as patched:
        patched.setattr(results, "clear_stale", fails)
        with pytest.raises(RuntimeError, match="stop"):
            import_files(book, [files / "slips_2.csv"])
    assert rows(book, *RESULTS) == before
    derive.refresh(book)
    assert len(results.run_results(book)) == 4
