"""Work that is spread gives the same as work done here, in order, on any executor of the standard interface."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor

import pytest

from runlog.errors import RunlogError, UsageError
from runlog.workflows.workers import BATCH, spread, workers


def test_order_and_values_are_those_of_map_beyond_a_batch() -> None:
    parts = range(2 * BATCH + 3)
    with ThreadPoolExecutor(3) as pool:
        assert list(spread(abs, parts, pool)) == list(map(abs, parts))
    assert list(spread(abs, parts, None)) == list(map(abs, parts))


def test_no_more_than_a_batch_is_taken_before_results_are_asked_for() -> None:
    taken = []
    with ThreadPoolExecutor(1) as pool:
        results = spread(abs, (taken.append(n) or n for n in range(10 * BATCH)), pool)
        next(results)
    assert len(taken) == BATCH


def test_one_job_needs_no_pool_and_several_get_processes() -> None:
    with workers(1) as executor:
        assert executor is None
    with workers(2) as executor:
        assert isinstance(executor, ProcessPoolExecutor)


def test_jobs_and_a_scheduler_exclude_each_other() -> None:
    with pytest.raises(UsageError, match="say one"), workers(2, "tcp://127.0.0.1:1"):
        pass


@pytest.mark.slow
def test_a_scheduler_that_doesnt_answer_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr("runlog.workflows.workers._REACH_S", 0.3)
    with pytest.raises(RunlogError, match=r"tcp://127\.0\.0\.1:1"), workers(1, "tcp://127.0.0.1:1"):
        pass
