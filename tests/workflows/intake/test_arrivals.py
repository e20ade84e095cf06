"""Which files are whole: a clock of the test's own, no waiting."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runlog.workflows.intake.arrivals import Arrivals, look

if TYPE_CHECKING:
    from pathlib import Path


def test_a_file_is_whole_when_it_has_stopped_growing(tmp_path: Path):
    path = tmp_path / "log.csv"
    arrivals = Arrivals(settle_s=2.0)
    for now, size in ((0.0, 10), (1.0, 20), (2.5, 30)):  # it grows
        assert arrivals.ready({path: (size, int(now))}, now) == []
    assert arrivals.ready({path: (30, 2)}, 4.0) == []
    assert arrivals.ready({path: (30, 2)}, 4.6) == [path]


def test_an_empty_file_is_not_whole(tmp_path: Path):
    arrivals = Arrivals(settle_s=0.0)
    assert arrivals.ready({tmp_path / "a.csv": (0, 1)}, 0.0) == []
    assert arrivals.ready({tmp_path / "a.csv": (0, 1)}, 99.0) == []


def test_it_is_ready_until_it_is_done_and_again_when_it_changes(tmp_path: Path):
    path = tmp_path / "a.csv"
    arrivals = Arrivals(settle_s=1.0)
    arrivals.ready({path: (5, 1)}, 0.0)
    assert arrivals.ready({path: (5, 1)}, 1.0) == [path]
    assert arrivals.ready({path: (5, 1)}, 2.0) == [path]
    arrivals.done(path)
    assert arrivals.ready({path: (5, 1)}, 3.0) == []
    arrivals.again(path)
    assert arrivals.ready({path: (5, 1)}, 4.0) == [path]
    arrivals.done(path)
    assert arrivals.ready({path: (5, 2)}, 5.0) == []  # written anew, of the same size
    assert arrivals.ready({path: (5, 2)}, 6.0) == [path]


def test_a_file_that_went_away_begins_anew(tmp_path: Path):
    path = tmp_path / "a.csv"
    arrivals = Arrivals(settle_s=1.0)
    arrivals.ready({path: (5, 1)}, 0.0)
    arrivals.ready({}, 1.0)
    assert arrivals.ready({path: (5, 1)}, 2.0) == []


def test_hidden_foreign_and_linked_files_are_left_out(tmp_path: Path):
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "secret.csv").write_text("x")
    pits = tmp_path / "pits"
    (pits / "day").mkdir(parents=True)
    for name in ("slips.csv", "day/log.csv", "day/log.run", "sheet.xlsx", ".hidden.csv", "notes.docx", "log.csv.part"):
        (pits / name).write_text("x")
    (pits / "link.csv").symlink_to(outside / "secret.csv")
    (pits / "linked").symlink_to(outside, target_is_directory=True)
    assert {path.relative_to(pits).as_posix() for path in look(pits)} == {
        "slips.csv", "day/log.csv", "day/log.run", "sheet.xlsx",
    }  # fmt: skip
