"""Cut short after any of its transactions, a change is finished by the next command, or repeated to the same end.

Programs are cut short here right after each commit in turn, which no clock can do; ``end_to_end/test_killed.py`` kills
them outright at a few instants. Oracle: what the logbook answers where nobody was cut short.
"""

from __future__ import annotations

import contextlib
import shutil
from typing import TYPE_CHECKING, Any

import pytest

from runlog.errors import NotFound, UsageError
from runlog.records import Given
from runlog.store import originals, results, upgrading
from runlog.store.connection import Logbook, create_logbook, open_logbook
from runlog.workflows.intake.ingest import add_typed, import_files
from runlog.workflows.intake.rebuild import rebuild
from runlog.workflows.keeping.bundle import bundle
from runlog.workflows.keeping.conflicts import conflicts, settle
from runlog.workflows.keeping.merge import merge
from runlog.workflows.keeping.undo import undo
from runlog.workflows.keeping.verify import verify
from runlog.workflows.lessons.current import current_effects
from runlog.workflows.opening import open_current

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    Work = Callable[[Logbook], object]

pytestmark = pytest.mark.slow

SECOND_CAR = "[car]\nname = 'amber'\nrace_weight = '2500 lb'\nwheelbase = '105 in'\npower = '700 hp'\n"
SECOND_CAR += "tyre_circumference = '98 in'\nfinal_drive = 4.3\n[[car.adjustable]]\nname = 'launch rpm'\n"
SECOND_SLIPS = "car,date,run,t60_s,t330_s\namber,2031-04-12,1,1.5,4.0\namber,2031-04-12,2,1.49,3.98\n"
RETYPED = b"car,date,run,t60_s\nteal,2031-04-12,2,%s\n"
MAP = '[channels]\n"Engine RPM" = { channel = "engine_speed", scale = 0.5 }\n'
MOST = 40
"""transactions that a change may need before the test gives up"""


class Cut(BaseException):
    """Stands for whatever ends a program: nothing may catch it and go on."""


@contextlib.contextmanager
def cut_after(commits: int) -> Iterator[None]:
    """Let whatever commits this many transactions end right after the last of them."""
    whole, left = Logbook.transaction, commits

    @contextlib.contextmanager
    def transaction(book: Logbook) -> Iterator[None]:
        nonlocal left
        with whole(book):
            yield
        left -= 1
        if left == 0:
            raise Cut

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(Logbook, "transaction", transaction)
        yield


def said(book: Logbook, answers: Callable[[Logbook], dict[str, Any]]) -> dict[str, Any]:
    """Return what a logbook answers, effects as they are shown."""
    assert results.stale_marks(book) == []
    assert verify(book, quick=True).faults == ()
    effects = {car: current_effects(book, car) for car in results.cars_with_file(book)}
    # withdrawals and choices carry the time at which they were made
    entries = [entry.kind if entry.kind in ("undo", "settle") else entry.identity for entry in originals.entries(book)]
    vehicles = book.rows("select car, vehicle from book.main.car_result order by car")
    return {**answers(book), "car_result": vehicles, "effects": effects, "entries": entries}


@pytest.fixture
def starting(tmp_path, files) -> Path:
    """A logbook of the small season without its second day, and with a second car."""
    path = tmp_path / "start.duckdb"
    (files / "amber.toml").write_text(SECOND_CAR, "utf-8")
    (files / "amber_slips.csv").write_text(SECOND_SLIPS, "utf-8")
    with create_logbook(path) as book:
        import_files(book, [item for item in sorted(files.iterdir()) if not item.name.endswith("_2.csv")])
    return path


def import_more(files: Path, _: Path) -> Work:
    (files / "engine.toml").write_text(MAP, "utf-8")
    return lambda book: import_files(book, [files])


def merge_other(files: Path, folder: Path) -> Work:
    with create_logbook(folder / "other.duckdb") as other:
        import_files(other, [files / "teal.toml", files / "slips_2.csv", files / "lowfield.toml", files / "amber.toml"])
        add_typed(other, "slips", RETYPED % b"1.5", "typed", Given())
    return lambda book: merge(book, folder / "other.duckdb")


def withdraw(_: Path, __: Path) -> Work:
    def work(book: Logbook) -> None:
        slips = next(entry.number for entry in originals.entries(book) if entry.name == "slips.csv")
        with contextlib.suppress(UsageError):  # withdrawn already
            undo(book, slips)

    return work


def settle_one(_: Path, folder: Path) -> Work:
    for name, time in (("one", b"1.3"), ("two", b"1.6")):
        with create_logbook(folder / f"{name}.duckdb") as other:
            add_typed(other, "slips", RETYPED % time, name, Given())
    with open_logbook(folder / "start.duckdb") as book:
        merge(book, folder / "one.duckdb")
        merge(book, folder / "two.duckdb")
        assert len(conflicts(book)) == 1

    def work(book: Logbook) -> None:
        one = next(entry.number for entry in originals.entries(book) if entry.name == "one")
        with contextlib.suppress(NotFound):  # settled already
            settle(book, one)

    return work


def bundle_day(_: Path, folder: Path) -> Work:
    def work(book: Logbook) -> None:
        made = folder / "day.duckdb"
        bundle(book, "teal/2031-04-12", made)
        with open_logbook(made, read_only=True) as day:
            assert results.stale_marks(day) == []
            assert len(results.run_results(day)) == 3

    return work


def upgrade(_: Path, folder: Path) -> Work:
    """Make the logbook one of the schema before entries had identities."""
    import duckdb

    known = upgrading.migrations()
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(upgrading, "migrations", lambda: known[:5])
        create_logbook(folder / "old.duckdb").close()
    with duckdb.connect(str(folder / "old.duckdb")) as raw:
        raw.execute(f"attach '{folder}/start.duckdb' as today (read_only)")
        raw.execute("insert into entry select * exclude (identity, told_by) from today.main.entry")
        for table in ("original", "original_part", "car_fact", "track_fact", "slip_fact", "sheet_fact", "air_fact"):
            raw.execute(f"insert into {table} from today.main.{table}")
        raw.execute("insert into stale values (null, null, null, false)")
    (folder / "old.duckdb").replace(folder / "start.duckdb")
    return lambda _: None


WORK = {
    "import": import_more,
    "merge": merge_other,
    "undo": withdraw,
    "settle": settle_one,
    "rebuild": lambda _, __: rebuild,
    "bundle": bundle_day,
    "upgrade": upgrade,
}


@pytest.mark.parametrize("name", WORK)
def test_cut_short_after_each_transaction_it_comes_to_the_same(starting, tmp_path, files, answers, name):
    work = WORK[name](files, tmp_path)
    path = tmp_path / "shop.duckdb"
    wanted = None
    # a bundle has its name only when all is done, so that one cut is like the other
    for commits in [MOST, *range(1, MOST, 4 if name == "bundle" else 1)]:
        shutil.copyfile(starting, path)
        (tmp_path / "day.duckdb").unlink(missing_ok=True)
        cut = False
        with cut_after(commits):
            try:
                with open_current(path, write=True) as book:
                    work(book)
            except Cut:
                cut = True
        if wanted is not None and cut:
            with open_current(path, write=True) as book:
                work(book)
                found = said(book, answers)
        else:
            with open_current(path) as book:
                found = said(book, answers)
        wanted = wanted or found
        assert found == wanted, commits
        if commits < MOST and not cut:
            break
        assert cut or commits == MOST
    assert commits > 2  # it was cut short at all
