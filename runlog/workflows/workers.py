"""Who does the work that falls into independent parts: this process, several here, or machines elsewhere.

Everything that is spread goes through ``map`` of the standard ``concurrent.futures.Executor``, so that the same code
runs in a pool of processes or on an engine over many machines, with the same numbers.
"""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, Any

from runlog.errors import RunlogError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from concurrent.futures import Executor
    from typing import TypeVar

    A = TypeVar("A")
    B = TypeVar("B")

BATCH = 64
"""parts handed out at a time: an executor takes its whole input at once, and that of many runs doesn't fit"""
_REACH_S = 10.0
"""[s] to wait for a scheduler that doesn't answer"""


@contextlib.contextmanager
def workers(jobs: int = 1, scheduler: str | None = None) -> Iterator[Executor | None]:
    """Give the executor for so many processes, or of the scheduler at an address; None: this process does it all.

    ``UsageError`` when both are asked for or the extra is missing, ``RunlogError`` when the scheduler can't be reached.
    """
    if scheduler is not None:
        if jobs > 1:
            raise UsageError("--jobs is for processes on this machine, --scheduler for workers elsewhere: say one")
        with _cluster(scheduler) as executor:
            yield executor
    elif jobs > 1:
        import multiprocessing
        from concurrent.futures import ProcessPoolExecutor

        # spawned, not forked: the same on every system, and no open logbook is inherited
        with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
            yield pool
    else:
        yield None


@contextlib.contextmanager
def _cluster(address: str) -> Iterator[Executor]:
    try:
        from distributed import Client
    except ImportError:
        raise UsageError("--scheduler needs the cluster extra: pip install 'runlog[cluster]'") from None
    try:
        client: Any = Client(address, timeout=_REACH_S, set_as_default=False)  # type: ignore[no-untyped-call,unused-ignore]
    except (OSError, ValueError) as error:
        raise RunlogError(f"no scheduler answers at {address}: {str(error).splitlines()[0]}") from None
    with client:
        yield client.get_executor()


def spread(function: Callable[[A], B], parts: Iterable[A], executor: Executor | None) -> Iterator[B]:
    """Apply a pure function to every part, in order; with an executor a batch of them at a time in its workers."""
    if executor is None:
        yield from map(function, parts)
        return
    import itertools

    rest = iter(parts)
    while batch := list(itertools.islice(rest, BATCH)):
        yield from executor.map(function, batch, chunksize=max(1, len(batch) // 16))
