"""Several processes, or a scheduler with workers, give the very figures that one process gives."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def lake(season: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder: Path = tmp_path_factory.mktemp("shop") / "lake"
    done = season.program.process("export", "--lake", str(folder))
    assert done.code == 0, done.err
    return folder


@pytest.fixture(scope="module")
def scheduler() -> Iterator[str]:
    """The address of a real scheduler with two worker processes, reachable from this machine alone."""
    pytest.importorskip("distributed")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"tcp://127.0.0.1:{port}"
    cli = [sys.executable, "-m", "distributed.cli"]
    quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    started = [
        subprocess.Popen(
            [*cli[:2], "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard"],
            **quiet,
        )
    ]
    started += [
        subprocess.Popen(
            [*cli[:2], "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-dashboard",
             "--host", "127.0.0.1"], **quiet,
        )
        for _ in range(2)
    ]  # fmt: skip
    try:
        yield address
    finally:
        for process in reversed(started):
            process.terminate()
        for process in started:
            process.wait(30)


def of_the_logbook(season: Any) -> Any:
    """The logbook's page as a lake has it, which knows no open items or barred settings: here nothing is held."""
    page = json.loads(season.program.process("fleet", "--json").out)
    assert (page["next_by_file_alone"], [row["held"] for row in page["next"] if row["held"]]) == (False, [])
    return {**page, "next_by_file_alone": True}


def test_the_fleet_of_a_lake_is_that_of_the_logbook(season: Any, lake: Path) -> None:
    expected = of_the_logbook(season)
    assert json.loads(season.program.process("fleet", "--lake", str(lake), "--json").out) == expected
    assert json.loads(season.program.process("fleet", "--lake", str(lake), "--jobs", "2", "--json").out) == expected


def test_a_scheduler_with_two_workers_gives_the_same_numbers(season: Any, lake: Path, scheduler: str) -> None:
    expected = of_the_logbook(season)
    done = season.program.process("fleet", "--lake", str(lake), "--scheduler", scheduler, "--json")
    assert done.code == 0, done.err
    assert json.loads(done.out) == expected


def test_traces_analysed_in_two_processes_give_the_same_results(season_copy: Any) -> None:
    query = ("sql", "from run_result order by car, date, number", "--json")
    before = json.loads(season_copy.process(*query).out)
    findings = ("sql", "select findings from trace_result order by body", "--json")
    found = json.loads(season_copy.process(*findings).out)
    assert season_copy.process("rebuild", "--jobs", "2").code == 0
    assert json.loads(season_copy.process(*query).out) == before
    assert json.loads(season_copy.process(*findings).out) == found
