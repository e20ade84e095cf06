"""The page that fits one screen: what makes room, in which order, and that it is said."""

from __future__ import annotations

import pytest
from rich.text import Text

from runlog.reports.budget import Left, Page
from runlog.reports.console import add_row, console, table

NOTE = Left("note", "notes", "runlog show --full")


def printed(page: Page, capsys: pytest.CaptureFixture[str]) -> list[str]:
    page.print()
    return [line.rstrip() for line in capsys.readouterr().out.splitlines()]


def page_of(lines: int | None) -> Page:
    """Six lines: a title, a gap, three notes, a caution."""
    page = Page(console(), lines)
    page.add(Text("title"))
    page.gap()
    page.add(Text("note 1"), Text("note 2"), Text("note 3"), keep=1, rank=1, left=NOTE)
    page.add(Text("caution"))
    return page


def test_what_fits_is_printed_whole(capsys):
    assert printed(page_of(6), capsys) == ["title", "", "note 1", "note 2", "note 3", "caution"]


def test_an_empty_line_makes_room_first_and_nothing_is_said_of_it(capsys):
    assert printed(page_of(5), capsys) == ["title", "note 1", "note 2", "note 3", "caution"]


def test_then_the_last_entries_and_it_says_how_many_and_where(capsys):
    assert printed(page_of(4), capsys) == ["title", "note 1", "caution", "Not shown: 2 notes (runlog show --full)"]


def test_what_has_no_rank_stays_even_where_the_page_grows_too_long(capsys):
    assert printed(page_of(1), capsys) == ["title", "note 1", "caution", "Not shown: 2 notes (runlog show --full)"]


def test_without_a_limit_all_of_it_is_printed(capsys):
    assert len(printed(page_of(None), capsys)) == 6


def test_the_lower_rank_goes_first_and_a_heading_goes_with_its_last_entry(capsys):
    page = Page(console(), 4)
    page.add(Text("duty 1"), Text("duty 2"), head=Text("DUTIES"), keep=1, rank=5, left=Left("duty", "duties"))
    page.add(Text("remark"), head=Text("REMARKS"), keep=0, rank=2, left=Left("remark", "remarks"))
    assert printed(page, capsys) == ["DUTIES", "duty 1", "duty 2", "Not shown: 1 remark (--full)"]


def test_an_entry_of_several_lines_goes_whole(capsys):
    page = Page(console(), 3)
    page.add(Text("title"))
    page.add(Text("word " * 30), keep=0, rank=1, left=NOTE)  # two lines
    page.add(Text("caution"))
    assert printed(page, capsys) == ["title", "caution", "Not shown: 1 note (runlog show --full)"]


def test_rows_of_a_table_make_room_one_by_one_and_its_header_stays(capsys):
    page = Page(console(), 4)
    made = table("item", "value")
    for n in range(5):
        add_row(made, [f"item {n}", str(n)])
    page.add_rows(made, keep=1, rank=1, left=Left("row", "rows"))
    lines = printed(page, capsys)
    assert [line.split()[0] for line in lines] == ["item", "item", "item", "Not"]
    assert lines[-1] == "Not shown: 3 rows (--full)"


@pytest.mark.parametrize("lines", range(3, 12))
def test_never_longer_than_asked_where_that_is_possible(lines, capsys):
    page = Page(console(), lines)
    page.add(Text("title"))
    for n in range(8):
        page.gap()
        page.add(*(Text(f"{n}.{k}") for k in range(4)), keep=0, rank=1 + n % 3, left=Left(f"part {n}", f"parts {n}"))
    page.add(Text("caution"))
    shown = printed(page, capsys)
    assert shown[0] == "title"
    assert "caution" in shown
    assert len(shown) <= max(lines, 5)  # what is left out of eight parts takes three lines to say
