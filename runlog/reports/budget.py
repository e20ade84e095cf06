"""A page that fits one screen: every part says how much of it always stays and how early the rest makes room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rich.segment import Segment, Segments

from runlog.reports.console import line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console, RenderableType
    from rich.table import Table

LINES = 49
"""of a screen of 50, whose last is left to the prompt"""

Line = list[Segment]


@dataclass(frozen=True)
class Left:
    """What is said of entries that made room: one, several of them, and where they are to be seen."""

    one: str
    several: str
    where: str = "--full"

    def words(self, count: int) -> str:
        """Return what is said of so many."""
        return f"{count} {self.one if count == 1 else self.several} ({self.where})"


@dataclass(frozen=True)
class Part:
    """A part of a page: a heading that goes when nothing is left below it, and entries of one or more lines each."""

    head: tuple[Line, ...]
    entries: tuple[tuple[Line, ...], ...]
    keep: int
    """so many of its entries always stay, from the first on"""
    rank: int
    """parts of a lower rank make room first; of one rank, the later"""
    left: Left | None
    """what is said of entries that made room; None: nothing, for they hold nothing of their own"""

    def height(self, kept: int) -> int:
        """Return the lines that so many of its entries take."""
        lines = sum(len(entry) for entry in self.entries[:kept])
        return lines + len(self.head) if kept or not self.entries else 0


class Page:
    """Collects the parts of a page, then prints what fits into so many lines; all of it where ``lines`` is None."""

    def __init__(self, out: Console, lines: int | None = LINES) -> None:
        self.out = out
        self.lines = lines
        self.parts: list[Part] = []

    def add(
        self,
        *entries: RenderableType,
        head: RenderableType | None = None,
        keep: int | None = None,
        rank: int = 9,
        left: Left | None = None,
    ) -> None:
        """Add a part; without ``keep`` all of it stays. Nothing is added where there are no entries."""
        self._add([self._render(entry) for entry in entries], head, keep, rank, left)

    def add_rows(
        self,
        made: Table,
        *,
        head: RenderableType | None = None,
        keep: int | None = None,
        rank: int = 9,
        left: Left | None = None,
    ) -> None:
        """Add a table whose rows take one line each; its header stays with them. ``keep`` counts rows."""
        lines = self._render(made)
        titles = len(lines) - made.row_count
        if titles not in (0, 1):  # a row takes several lines: the table is one entry
            self._add([lines], head, None, rank, left)
            return
        above = (*(self._render(head) if head is not None else ()), *lines[:titles])
        rows: list[tuple[Line, ...]] = [(row,) for row in lines[titles:]]
        if rows:
            self.parts.append(Part(above, tuple(rows), len(rows) if keep is None else keep, rank, left))

    def gap(self) -> None:
        """Add an empty line, the first to make room."""
        self.parts.append(Part((), (([],),), 0, 0, None))

    def print(self) -> None:
        """Print what fits, then say what was left out and where it is to be seen."""
        kept, told = self.fit()
        for part, count in zip(self.parts, kept, strict=True):
            lines = [*(part.head if count or not part.entries else ()), *(x for e in part.entries[:count] for x in e)]
            for one in lines:
                self.out.print(Segments([*one, Segment.line()]), end="")
        if told:
            self.out.print(line((told, "dim")))

    def fit(self) -> tuple[list[int], str]:
        """Return how many entries of each part stay, and what is said of the others."""
        kept = [len(part.entries) for part in self.parts]
        while self.lines is not None and self._height(kept) > self.lines:
            yielding = [n for n, part in enumerate(self.parts) if kept[n] > part.keep]
            if not yielding:
                break
            kept[min(yielding, key=lambda n: (self.parts[n].rank, -n))] -= 1
        return kept, self._told(kept)

    def _height(self, kept: Sequence[int]) -> int:
        told = self._told(kept)
        own = sum(part.height(count) for part, count in zip(self.parts, kept, strict=True))
        return own + (len(self._render(line(told))) if told else 0)

    def _told(self, kept: Sequence[int]) -> str:
        counts: dict[Left, int] = {}
        for part, count in zip(self.parts, kept, strict=True):
            if part.left is not None and count < len(part.entries):
                counts[part.left] = counts.get(part.left, 0) + len(part.entries) - count
        return f"Not shown: {', '.join(left.words(count) for left, count in counts.items())}" if counts else ""

    def _add(
        self,
        entries: Sequence[Sequence[Line]],
        head: RenderableType | None,
        keep: int | None,
        rank: int,
        left: Left | None,
    ) -> None:
        if entries:
            above = tuple(self._render(head)) if head is not None else ()
            made = tuple(map(tuple, entries))
            self.parts.append(Part(above, made, len(made) if keep is None else keep, rank, left))

    def _render(self, item: RenderableType) -> list[Line]:
        return self.out.render_lines(item, pad=False)
