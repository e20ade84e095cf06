"""Regression pins: the pages as they were when somebody last looked at them.

The figures on them are checked elsewhere, against the truth of the season; here only that no page changes unnoticed.
``python tests/end_to_end/refresh_pages.py`` writes them anew.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Season

HERE = Path(__file__).parent
_spec = importlib.util.spec_from_file_location("refresh_pages", HERE / "refresh_pages.py")
assert _spec is not None
assert _spec.loader is not None
refresh_pages = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(refresh_pages)


@pytest.mark.parametrize("stem", refresh_pages.COMMANDS)
def test_page_is_as_it_was(season: Season, stem: str) -> None:
    command = refresh_pages.COMMANDS[stem]
    pinned = (HERE / "pages" / f"{stem}.txt").read_text(encoding="utf-8")
    assert refresh_pages.page(command, season.program.folder) == pinned, "python tests/end_to_end/refresh_pages.py"


def test_no_page_is_left_over() -> None:
    assert {path.stem for path in (HERE / "pages").glob("*.txt")} == set(refresh_pages.COMMANDS)
