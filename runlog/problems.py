"""Collecting the faults of a file so that all of them are reported at once."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from runlog.errors import RunlogError

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True)
class Problem:
    """One fault: where it is, what was found there, what is accepted, and what would settle it."""

    file: str
    place: str
    found: str
    accepted: str
    remedy: str = ""

    def __str__(self) -> str:
        where = f"{self.file}, {self.place}" if self.place else self.file
        text = f"{where}: found {self.found}; accepted: {self.accepted}"
        return f"{text}. {self.remedy}" if self.remedy else text


class FileFaults(RunlogError):  # noqa: N818 - reads as what happened
    """A file was refused. ``problems`` holds every fault found, in file order."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


@dataclass
class Problems:
    """The faults of one file, collected while it is read.

    >>> faults = Problems("slips.csv")
    >>> faults.add("line 3, column t60_s", "'abc'", "a time in seconds such as 1.412")
    >>> faults.raise_if_any()
    Traceback (most recent call last):
    ...
    runlog.problems.FileFaults: slips.csv, line 3, column t60_s: found 'abc'; accepted: a time in seconds such as 1.412
    """

    file: str
    found: list[Problem] = field(default_factory=list)

    def add(self, place: str, found: str, accepted: str, remedy: str = "") -> None:
        """Note one fault and go on reading."""
        self.found.append(Problem(self.file, place, found, accepted, remedy))

    def raise_if_any(self) -> None:
        """Raise ``FileFaults`` with everything collected, if anything was."""
        if self.found:
            raise FileFaults(self.found)
