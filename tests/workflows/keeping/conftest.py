"""What a logbook answers, without what only numbers its rows; logbooks for several laptops."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING, Any

import pytest

from runlog.store.connection import Logbook, create_logbook, open_logbook

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

VIEWS = ("car", "track", "slip", "sheet", "air", "trace", "channel_map", "plan", "crew")
RESULTS = ("run_result", "car_result", "fleet_result", "calibration_result")


def columns(book: Logbook, name: str) -> list[str]:
    return [row[0] for row in book.rows(f"select name from pragma_table_info('book.main.{name}')")]


def _answers(book: Logbook) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name in VIEWS:
        hidden = [item for item in ("entry", "body", "sheet") if item in columns(book, name)]
        hide = f" exclude ({', '.join(hidden)})" if hidden else ""
        found[name] = sorted(map(repr, book.rows(f"select *{hide} from book.main.{name}")))
    for name in RESULTS:
        found[name] = sorted(map(repr, book.rows(f"select * from book.main.{name}")))
    found["samples"] = book.rows(
        "select car, date, number, name, count(*), sum(value) from book.main.sample group by all order by all"
    )
    found["findings"] = sorted(
        map(
            repr,
            book.rows("select car, number, findings from book.main.trace join book.main.trace_result using (body)"),
        )
    )
    return found


@pytest.fixture
def answers() -> Callable[[Logbook], dict[str, Any]]:
    """Return what the views and results of a logbook say, without the numbers of entries and bodies."""
    return _answers


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[Callable[..., Logbook]]:
    """Return a function that makes a logbook by name, empty or a copy of another that is closed for that."""
    opened: list[Logbook] = []

    def make(name: str, like: Logbook | None = None) -> Logbook:
        path = tmp_path / f"{name}.duckdb"
        if like is None:
            opened.append(create_logbook(path))
        else:
            like.close()
            shutil.copy(like.path, path)
            opened.append(open_logbook(path))
        return opened[-1]

    yield make
    for book in opened:
        book.close()
