"""Taking a timing slip question by question: what was so last time is offered, and each answer is checked at once.

The rules are the slip reader's own: an answer is read together with those before it, as the line of a slips file that
they make so far.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from runlog.constants import SPLIT_DISTANCES_FT
from runlog.problems import FileFaults
from runlog.readers.slip import read_slips
from runlog.store import facts
from runlog.units import find_unit, split_quantity, unit_of
from runlog.workflows.results.counting import planned_ft

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.store.connection import Logbook

FIGURES: Final = tuple(f"t{feet}_s" for feet in SPLIT_DISTANCES_FT)
BACK, BLANK = "<", "-"
"""answers that go back a question, and that leave blank what is offered"""


@dataclass(frozen=True)
class Question:
    """What is asked, and what Enter means."""

    column: str
    text: str
    offered: str = ""


_SPEED: Final = ("v660_mph", "v1320_mph")
_TEXTS: Final = {
    "car": "Car",
    "date": "Date",
    "run": "Run of the day",
    "time": "Clock time (10:05)",
    "track": "Track",
    "lane": "Lane (left, right)",
    "purpose": "Planned distance (60, 330, 660, full)",
    "reaction_s": "Reaction [s]",
    "t60_s": "60 ft [s]",
    "t330_s": "330 ft [s]",
    "t660_s": "660 ft [s]",
    "v660_mph": "Speed at 660 ft [{speed}]",
    "t1000_s": "1000 ft [s]",
    "t1320_s": "1320 ft [s]",
    "v1320_mph": "Speed at 1320 ft [{speed}]",
    "true_to_ft": "Figures count up to [ft], Enter for all",
    "spoiled": "Spoiled by, Enter if clean",
    "note": "Note",
}


@dataclass
class LastTime:
    """What a logbook offers as answers: its cars, the runs of each day, and what a car's last slip said."""

    cars: tuple[str, ...]
    usual_car: str | None
    numbers: dict[tuple[str, str], int]
    """(car, date) → the highest number of a run"""
    slips: dict[str, dict[str, str]]
    """car → track, lane and planned distance of its newest slip"""

    @classmethod
    def of(cls, book: Logbook, usual_car: str | None) -> LastTime:
        """Gather it from a logbook."""
        slips = facts.slips(book)
        numbers: dict[tuple[str, str], int] = {}
        last: dict[str, dict[str, str]] = {}
        for key, slip in sorted(slips.items()):
            day = (key.car, key.date.isoformat())
            numbers[day] = max(key.number, numbers.get(day, 0))
            said = {"track": slip.track, "lane": slip.lane, "purpose": slip.purpose}
            last[key.car] = {name: value for name, value in said.items() if value}
        cars = tuple(sorted({*facts.cars(book), *last}))
        return cls(cars, usual_car, numbers, last)


class SlipTalk:
    """The questions about a slip, one after the other; ``said`` holds the answers as a slips file has them."""

    def __init__(
        self, said: Mapping[str, str | None], last: LastTime, today: str, now: str = "", speed_unit: str = "mph"
    ) -> None:
        self.said: dict[str, str | None] = dict(said)
        self._last = last
        self._today, self._now = today, now
        self._speed_unit = speed_unit
        self._columns = [name for name in _TEXTS if said.get(name) is None]
        self._place = 0

    def question(self) -> Question | None:
        """Return what is to be asked now; None when all has been."""
        while self._place < len(self._columns) and self._needless(self._columns[self._place]):
            self._place += 1
        if self._place >= len(self._columns):
            return None
        column = self._columns[self._place]
        return Question(column, _TEXTS[column].format(speed=self._speed_unit), self._offered(column))

    def answer(self, text: str) -> str | None:
        """Take an answer and go on; return what is wrong with it, and ask again."""
        question = self.question()
        if question is None:
            return None
        text = text.strip()
        if text == BACK:
            return self._back()
        given = None if text in ("", BLANK) else text
        if text == "" and question.offered:
            given = question.offered
        try:
            read = self._as_written(question.column, given)
        except ValueError as error:
            return str(error)
        wrong = self._wrong(question.column, read)
        if wrong is None:
            self.said[question.column] = read
            self._place += 1
        return wrong

    def _back(self) -> str | None:
        place = self._place - 1
        while place >= 0 and self._needless(self._columns[place]):
            place -= 1
        if place < 0:
            return "this is the first question"
        self._place = place
        self.said[self._columns[place]] = None
        return None

    def _needless(self, column: str) -> bool:
        """Tell whether a figure lies beyond the distance that was planned: what a slip prints there doesn't count."""
        feet = next((feet for feet in SPLIT_DISTANCES_FT if column in (f"t{feet}_s", f"v{feet}_mph")), None)
        return feet is not None and feet > planned_ft(self.said.get("purpose"), SPLIT_DISTANCES_FT[-1])

    def _offered(self, column: str) -> str:
        car = self.said.get("car") or ""
        match column:
            case "car":
                return self._last.usual_car or ""
            case "date":
                return self._today
            case "run":
                return str(self._last.numbers.get((car, self.said.get("date") or ""), 0) + 1)
            case "time":
                return self._now if self.said.get("date") == self._today else ""
            case _:
                return self._last.slips.get(car, {}).get(column, "")

    def _as_written(self, column: str, given: str | None) -> str | None:
        """Return an answer as the file has it: a speed in miles per hour, a car in small letters."""
        if given is None:
            return None
        if column == "car":
            return given.lower()
        if column not in _SPEED:
            return given
        value, spelling = split_quantity(given.replace(",", "."))
        unit = find_unit(spelling or self._speed_unit, "speed")
        if unit is None:
            raise ValueError(f"{given!r} is no speed; accepted: a number in {self._speed_unit}, or one with its unit")
        if unit.symbol == "mph":
            return f"{value:.10g}"
        return f"{unit_of('mph').from_si(unit.to_si(value)):.10g}"

    def _wrong(self, column: str, given: str | None) -> str | None:
        if given is None:
            return f"a slip needs it: {_TEXTS[column].lower()}" if column in ("car", "date", "run") else None
        if column == "car" and self._last.cars and given not in self._last.cars:
            return f"no car {given!r} in the logbook; there are: {', '.join(self._last.cars)}"
        so_far = {**self.said, column: given}
        # what is asked later is stood in for, so that only this answer can be at fault
        stand_in = {"car": "x", "date": self._today, "run": "1"}
        try:
            read_slips(as_file({**stand_in, **{name: text for name, text in so_far.items() if text}}), "slip")
        except FileFaults as faults:
            own = [problem for problem in faults.problems if problem.place.endswith(f"column {column}")]
            told = own or faults.problems
            return "; ".join(f"found {problem.found}; accepted: {problem.accepted}" for problem in told)
        return None


def as_file(said: Mapping[str, str | None]) -> bytes:
    """Return the slip as the CSV that would have said the same: the original that is kept."""
    given = {name: value for name, value in said.items() if value is not None}
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(given)
    writer.writerow(given.values())
    return text.getvalue().encode()
