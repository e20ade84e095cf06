"""An empty logbook for each test."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from runlog.store.connection import Logbook, create_logbook

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with create_logbook(tmp_path / "shop.duckdb") as opened:
        yield opened
