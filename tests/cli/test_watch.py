"""``runlog watch`` as a process of its own, as it runs in the pits."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import IO, TYPE_CHECKING

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from conftest import Program

pytestmark = pytest.mark.slow
DEMO = Path(__file__).resolve().parents[2] / "demo_runs"
DAY = DEMO / "pits" / "2031-04-12"


class Watching:
    """A watch that runs, and what it has said so far."""

    def __init__(self, runlog: Program, *words: str) -> None:
        program = str(Path(sys.executable).with_name("runlog"))
        self.process = subprocess.Popen(
            [program, "watch", "pits", "--every", "0.1", "--settle", "0.6", *words],
            cwd=runlog.folder, env=runlog.env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            encoding="utf-8",
        )  # fmt: skip
        self.out: list[str] = []
        self.err: list[str] = []
        self.readers = [
            threading.Thread(target=self._read, args=pair, daemon=True)
            for pair in ((self.process.stdout, self.out), (self.process.stderr, self.err))
        ]
        for reader in self.readers:
            reader.start()

    @staticmethod
    def _read(stream: IO[str], lines: list[str]) -> None:
        with stream:
            lines.extend(stream)

    def wait(self, met: Callable[[], bool], what: str, seconds: float = 60.0) -> None:
        end = time.monotonic() + seconds
        while not met():
            assert self.process.poll() is None, f"ended: {''.join(self.err)}"
            assert time.monotonic() < end, f"{what}\n{''.join(self.out)}\n{''.join(self.err)}"
            time.sleep(0.05)

    def said(self, text: str) -> bool:
        return text in "".join(self.out) + "".join(self.err)

    def stop(self, kind: signal.Signals = signal.SIGTERM) -> int:
        self.process.send_signal(kind)
        return self.ended()

    def ended(self) -> int:
        code = self.process.wait(30)
        for reader in self.readers:
            reader.join(10)
        return code


@pytest.fixture
def start(runlog: Program) -> Iterator[Callable[..., Watching]]:
    (runlog.folder / "pits").mkdir()
    assert runlog("new", "marsh.duckdb").code == 0
    running: list[Watching] = []

    def begin(*words: str) -> Watching:
        running.append(Watching(runlog, *words))
        running[-1].wait(lambda: running[-1].said("Watching pits"), "it starts")
        return running[-1]

    yield begin
    for watching in running:
        watching.process.kill()
        watching.ended()


def bring(runlog: Program, *paths: Path) -> None:
    for path in paths:
        shutil.copyfile(path, runlog.folder / "pits" / path.name)


GARAGE = (DEMO / "cars" / "heron.toml", DEMO / "tracks" / "lowfield.toml", DEMO / "sheets" / "heron_baseline.csv")


def test_a_day_in_the_pits(runlog: Program, start: Callable[..., Watching]) -> None:
    """Files of the garage, slips, a log that grows while it is looked at, a bad file, a link out of the folder."""
    outside = runlog.write("outside/air.csv", (DAY / "air.csv").read_bytes())
    watch = start()
    bring(runlog, *GARAGE, DAY / "slips.csv")
    watch.wait(lambda: watch.said("slips.csv: slips stored"), "slips are stored")
    (runlog.folder / "pits" / "linked.csv").symlink_to(outside)
    runlog.write("pits/broken.toml", "[car]\nname = \n")
    watch.wait(lambda: watch.said("broken.toml"), "the bad file is told")

    # the logger writes in pieces; each look in between finds a file that has just changed
    content = (DAY / "heron_2031-04-12_7.csv").read_bytes()
    with (runlog.folder / "pits" / "heron_2031-04-12_7.csv").open("wb") as log:
        for n in range(8):
            log.write(content[n * len(content) // 8 : (n + 1) * len(content) // 8])
            log.flush()
            os.fsync(log.fileno())
            time.sleep(0.25)
            assert not watch.said("heron_2031-04-12_7.csv: logger")
    watch.wait(lambda: watch.said("heron_2031-04-12_7.csv: logger of heron/2031-04-12/7 stored"), "the log is stored")
    watch.wait(lambda: watch.said("heron  run 7   2031-04-12"), "its page")

    # the logbook is free while nothing arrives
    done = runlog("add", "run", "--car", "heron", "--date", "2031-04-13", "--number", "1", "--60", "1.42")
    assert done.code == 0, done.err
    assert watch.stop() == 0
    assert "".join(watch.err).count("a fault in the TOML") == 1
    assert watch.said("Stopped. 5 files stored.")
    assert not watch.said("linked.csv")
    run = runlog("show", "heron/2031-04-12/7", "--json").json()
    assert run["trace"] is not None
    assert run["air"] is None  # that came by the link
    assert not (runlog.folder / "marsh.duckdb.wal").exists()


def test_what_waited_for_something_is_read_when_that_is_there(runlog: Program, start: Callable[..., Watching]) -> None:
    watch = start()
    bring(runlog, DEMO / "sheets" / "heron_baseline.csv")
    watch.wait(lambda: watch.said("a car in the logbook"), "the sheet is refused without its car")
    bring(runlog, DEMO / "cars" / "heron.toml")
    watch.wait(lambda: watch.said("heron_baseline.csv: sheet stored"), "the sheet is stored after its car")
    assert watch.stop() == 0
    assert "".join(watch.err).count("line 2: found the car 'heron'") == 1
    assert watch.said("  and 14 more: runlog import pits/heron_baseline.csv --dry-run")


def test_lines_for_machines_are_as_their_schema_says(runlog: Program, start: Callable[..., Watching]) -> None:
    schemas = DEMO.parent / "schemas"
    named = {name: json.loads((schemas / name).read_text("utf-8")) for name in
             ("watch_output.schema.json", "show_output.schema.json")}  # fmt: skip
    registry = Registry().with_resources((name, Resource.from_contents(found)) for name, found in named.items())
    validator = Draft202012Validator(named["watch_output.schema.json"], registry=registry)
    watch = start("--json")
    bring(runlog, *GARAGE, DAY / "slips.csv")
    watch.wait(lambda: any('"page": {' in line for line in watch.out), "a page")
    bring(runlog, DAY / "first_full.csv")
    runlog.write("pits/broken.toml", "[car")
    watch.wait(lambda: any("broken.toml" in line for line in watch.out), "the bad file")
    assert watch.stop(signal.SIGINT) == 0
    lines = [json.loads(line) for line in watch.out]
    assert [list(validator.iter_errors(line)) for line in lines] == [[]] * len(lines)
    assert {line["file"]["kind"] for line in lines if line["file"]} >= {"car", "track", "sheet", "slips"}
    assert all(sum(value is not None for value in line.values()) == 1 for line in lines)


def test_a_logbook_that_another_program_holds_is_waited_for(runlog: Program, start: Callable[..., Watching]) -> None:
    watch = start()
    hold = (
        "import sys, time; from pathlib import Path; from runlog.store.connection import open_logbook; "
        "book = open_logbook(Path('marsh.duckdb')); print('held', flush=True); sys.stdin.read()"
    )
    holder = subprocess.Popen(
        [sys.executable, "-c", hold], cwd=runlog.folder, env={**os.environ},
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert holder.stdout is not None
    assert holder.stdout.readline() == "held\n"
    bring(runlog, DEMO / "cars" / "heron.toml")
    watch.wait(lambda: watch.said("is in use by another program"), "it says who holds it", 60)
    holder.communicate("", timeout=30)
    watch.wait(lambda: watch.said("heron.toml: car stored"), "it goes on")
    assert watch.stop() == 0
    assert "".join(watch.err).count("is in use by another program") == 1


def test_no_folder_is_told_before_anything(runlog: Program) -> None:
    runlog("new", "marsh.duckdb")
    done = runlog("watch", "nowhere")
    assert (done.code, "no such file or folder: nowhere" in done.err) == (1, True)
    runlog.write("pits", "x")
    done = runlog("watch", "pits")
    assert (done.code, "pits is no folder" in done.err) == (1, True)
