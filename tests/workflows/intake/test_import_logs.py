"""Logger files in the logbook: packed ones, several runs in one file, what is said of each."""

from __future__ import annotations

import datetime as dt
import gzip
import io
import re
import zipfile

import numpy as np
import pytest

from runlog.records import Given, RunKey
from runlog.store import traces
from runlog.workflows.intake.ingest import import_files
from runlog.workflows.intake.rebuild import rebuild

DAY = dt.date(2031, 4, 12)
TWO, THREE = RunKey("teal", DAY, 2), RunKey("teal", DAY, 3)
HEAD = "Time (s),Engine RPM,Driveshaft RPM,Accel X (g)\n"


def log(launch: float = 1.0, rate: int = 50) -> str:
    """Return a logger file: at rest, then 12 m/s² falling off with speed; ten seconds in all."""
    lines = [HEAD]
    speed = 0.0
    for n in range(rate * 10 + 1):
        pull = 12.0 * (1 - speed / 90) if n / rate >= launch else 0.0
        speed += pull / rate
        shaft = speed / 2.54 * 60 * 4.1
        lines.append(f"{n / rate:.3f},{max(4200.0, shaft * 1.2):.0f},{shaft:.0f},{pull / 9.80665:.3f}\n")
    return "".join(lines)


def rows(launch: float = 1.0, shift: float = 0.0) -> str:
    """Return the lines of a recording without its header, later by so many seconds."""
    out = []
    for line in log(launch).splitlines(keepends=True)[1:]:
        time, rest = line.split(",", 1)
        out.append(f"{float(time) + shift:.3f},{rest}")
    return "".join(out)


def idle(begin: float, end: float) -> str:
    return "".join(f"{time:.3f},1400,0,0.000\n" for time in np.arange(begin, end, 0.5))


SEVERAL = {
    "clock begins anew": HEAD + rows(1.0) + rows(1.5),
    "gap": HEAD + rows(1.0) + rows(1.5, 1500.0),
    "launches": HEAD + rows(1.0) + idle(10.0, 600.0) + rows(1.5, 600.0),
}


@pytest.fixture
def pits(book, files):
    """A logbook with everything but logs, and the folder."""
    for path in files.glob("teal_*.csv"):
        path.unlink()
    (files / "slips_2.csv").unlink()
    import_files(book, [files])
    return files


def facts(book):
    """Return every logged sample by run and channel, and who holds them."""
    return book.rows(
        "select car, date, number, name, canonical, list(time order by time), list(value order by time) "
        "from book.main.sample group by all order by all"
    )


def launch_of(book, key):
    shaft = traces.samples(book, key)["driveshaft_speed"]
    return float(shaft.time[np.flatnonzero(shaft.values > 0)[0]])


@pytest.mark.parametrize("how", SEVERAL)
def test_parts_go_to_the_runs_of_the_day_that_wait_for_them(book, pits, how):
    """Run 1 was to 60 ft and has its log already; two parts, two runs left."""
    path = pits / "teal_2031-04-12.csv"
    path.write_text(SEVERAL[how])
    first = pits / "a.csv"
    first.write_text(log(0.7))
    import_files(book, [first], Given(run=RunKey("teal", DAY, 1)))
    (report,) = import_files(book, [path]).files
    assert report.error is None
    assert [(part.number, run) for part, run in report.parts] == [(1, TWO), (2, THREE)]
    begins = [part.span[0] for part, _ in report.parts]
    assert launch_of(book, TWO) - begins[0] == pytest.approx(1.0, abs=0.05)
    end = launch_of(book, THREE) % 600
    assert end == pytest.approx(1.5 + (300 if how == "gap" else 0), abs=0.05)
    before = facts(book)
    (again,) = import_files(book, [path]).files
    assert again.unchanged
    rebuild(book)
    assert facts(book) == before


def test_parts_that_are_not_settled_are_listed(book, pits):
    path = pits / "teal_2031-04-12.csv"
    path.write_text(SEVERAL["gap"])
    (report,) = import_files(book, [path]).files
    assert not book.rows("select * from book.main.trace_fact")
    assert report.error is not None
    said = re.search(
        r"2 recordings \(part 1: 0\.0 to 10\.0 s, launch at ([\d.]+) s; "
        r"part 2: 1500\.0 to 1510\.0 s, launch at ([\d.]+) s\).*; "
        r"2 parts and 3 runs of teal on 2031-04-12 without a trace; .*Say which with --run CAR/DATE/NUMBER --part N",
        report.error,
    )
    assert said is not None, report.error
    assert [float(time) for time in said.groups()] == pytest.approx([1.0, 1501.5], abs=0.2)


def test_each_part_can_be_named(book, pits):
    path = pits / "log.csv"
    path.write_text(SEVERAL["gap"])
    (report,) = import_files(book, [path], Given(run=THREE)).files
    assert "--run names one run" in (report.error or "")
    for part, run in ((2, TWO), (1, THREE)):
        (report,) = import_files(book, [path], Given(run=run, part=part)).files
        assert (report.run, report.error) == (str(run), None)
    assert launch_of(book, TWO) == pytest.approx(1501.5, abs=0.05)
    assert launch_of(book, THREE) == pytest.approx(1.0, abs=0.05)
    assert import_files(book, [path], Given(run=THREE, part=1)).unchanged == 1
    before = facts(book)
    rebuild(book)
    assert facts(book) == before
    (report,) = import_files(book, [path], Given(run=THREE, part=3)).files
    assert "found no part 3; accepted: 1 to 2 (part 1: 0.0 to" in (report.error or "")


def test_start_times_tell_the_runs(book, pits):
    """The slips of runs 2 and 3 are from 11:17 and 12:20, 63 minutes apart."""
    path = pits / "log.csv"
    path.write_text("Date: 2031-04-12 11:16:30\n" + HEAD + rows(1.0) + rows(1.5, 63 * 60.0))
    (report,) = import_files(book, [path]).files
    assert [run for _, run in report.parts] == [TWO, THREE], report.error
    assert report.parts[1][0].log.started_at == dt.datetime(2031, 4, 12, 12, 19, 30)


def test_the_only_part_with_a_launch_is_the_run(book, pits):
    path = pits / "teal_2031-04-12_2.csv"
    path.write_text(HEAD + idle(0.0, 20.0) + rows(1.0, 500.0))
    (report,) = import_files(book, [path]).files
    assert (report.run, report.error) == (str(TWO), None)
    assert any(text.startswith("part 1: 0.0 to 19.5 s, no launch: left out") for text in report.warnings)
    before = facts(book)
    rebuild(book)
    assert facts(book) == before


def test_a_burnout_before_the_run_is_no_part_of_its_own(book, pits):
    path = pits / "teal_2031-04-12_2.csv"
    path.write_text(HEAD + rows(1.0) + idle(10.0, 100.0) + rows(1.5, 100.0))
    (report,) = import_files(book, [path]).files
    assert (report.run, report.parts) == (str(TWO), ())


def zipped(name: str, content: str) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr(name, content)
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("teal_2031-04-12_2.csv.gz", gzip.compress(log().encode())),
        ("export.zip", zipped("teal_2031-04-12_2.csv", log())),
        ("teal_2031-04-12_2.zip", zipped("LOG01.CSV", log())),
    ],
    # packed bytes hold the time, so they can't name a test
    ids=["gzip", "zip that holds the run's name", "zip of the run's name"],
)
def test_a_packed_file_is_stored_as_the_file_in_it(book, pits, name, content):
    plain = pits / "x.csv"
    plain.write_text(log())
    import_files(book, [plain], Given(run=TWO))
    expected = facts(book)
    (pits / name).write_bytes(content)
    (report,) = import_files(book, [pits / name]).files
    assert (report.kind, report.run, report.error) == ("logger", str(TWO), None)
    assert facts(book) == expected
    assert import_files(book, [pits / name]).unchanged == 1
    rebuild(book)
    assert facts(book) == expected


def test_slips_and_cars_may_be_packed_too(book, files, tmp_path):
    packed = tmp_path / "packed"
    packed.mkdir()
    for name in ("teal.toml", "slips.csv"):
        (packed / f"{name}.gz").write_bytes(gzip.compress((files / name).read_bytes()))
    report = import_files(book, [packed])
    assert [(file.kind, file.error) for file in report.files] == [("car", None), ("slips", None)]


def test_a_folder_with_a_zip_of_many_is_one_refusal(book, pits):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name in ("a.csv", "b.csv"):
            archive.writestr(name, log())
    (pits / "both.zip").write_bytes(buffer.getvalue())
    report = import_files(book, [pits])
    assert report.refused == 1
    (error,) = [file.error for file in report.files if file.error]
    assert "found a zip with 2 files in it (a.csv, b.csv); accepted: a zip with exactly one file" in error


def test_why_is_said_without_storing_anything(book, pits):
    path = pits / "teal_2031-04-12_2.csv"
    path.write_text(log())
    (report,) = import_files(book, [path], dry_run=True, explain=True).files
    found = report.explanation
    assert found is not None
    assert [(item.delimiter, item.decimal) for item in found.interpretations if item.chosen] == [(",", ".")]
    assert {choice.what for choice in found.choices} >= {
        "encoding", "delimiter", "decimal mark", "header", "units row", "missing-value words", "time base",
    }  # fmt: skip
    engine = next(channel for channel in found.channels if channel.canonical == "engine_speed")
    assert engine.unit == "rpm"
    assert engine.next_confidence < engine.confidence
    assert not book.rows("select * from book.main.trace_fact")


def test_why_is_said_of_a_refused_file_as_far_as_it_goes(book, pits):
    path = pits / "x.csv"
    path.write_text("Pressure;Temp\n1,5;20\n1,6;21\n")
    (report,) = import_files(book, [path], Given(kind="logger"), dry_run=True, explain=True).files
    assert report.error is not None
    assert report.explanation is not None
    chosen = {choice.what: choice.chosen for choice in report.explanation.choices}
    assert (chosen["delimiter"], chosen["decimal mark"], chosen["refused"]) == ("semicolon", "comma", "here")
