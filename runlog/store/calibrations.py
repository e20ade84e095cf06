"""What slips have taught of a car's sensors and tyres: one row for each run with a trace."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from runlog.records import RunKey

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from runlog.store.connection import Logbook


@dataclass(frozen=True)
class CalibrationRow:
    """A run's row: ``known`` before it and ``after`` it, as plain values."""

    key: RunKey
    tyres: str
    learned: bool
    known: dict[str, Any]
    after: dict[str, Any]


def save(book: Logbook, row: CalibrationRow) -> None:
    """Replace the row of one run."""
    book.rows(
        "delete from book.main.calibration_result where car = ? and date = ? and number = ?",
        [row.key.car, row.key.date, row.key.number],
    )
    _insert(book, [row])


def replace_all(book: Logbook, car: str, rows: Sequence[CalibrationRow]) -> None:
    """Replace the rows of a car."""
    book.rows("delete from book.main.calibration_result where car = ?", [car])
    _insert(book, rows)


def _insert(book: Logbook, rows: Sequence[CalibrationRow]) -> None:
    book.insert(
        "calibration_result",
        [
            (row.key.car, row.key.date, row.key.number, row.tyres, row.learned, json.dumps(row.known),
             json.dumps(row.after))
            for row in rows
        ],
    )  # fmt: skip


def of_run(book: Logbook, key: RunKey) -> CalibrationRow | None:
    """Return the row of a run, or None where it has no trace."""
    rows = book.rows(
        f"{_SELECT} where car = ? and date = ? and number = ?",
        [key.car, key.date, key.number],
    )
    return next(iter(_rows(rows)), None)


def before(book: Logbook, key: RunKey) -> list[CalibrationRow]:
    """Return, of the car's earlier runs, the last of each set of driven tyres, in order."""
    rows = book.rows(
        f"{_SELECT} where car = ? and (date, number) < (?, ?) "
        "qualify row_number() over (partition by tyres order by date desc, number desc) = 1 order by date, number",
        [key.car, key.date, key.number],
    )
    return _rows(rows)


def any_after(book: Logbook, key: RunKey) -> bool:
    """Tell whether a later run of the car rests on what this one teaches."""
    found = book.row(
        "select 1 from book.main.calibration_result where car = ? and (date, number) > (?, ?) limit 1",
        [key.car, key.date, key.number],
    )
    return found is not None


_SELECT = "select car, date, number, tyres, learned, known, after from book.main.calibration_result"


def _rows(rows: Iterable[Sequence[Any]]) -> list[CalibrationRow]:
    return [CalibrationRow(RunKey(*row[:3]), row[3], row[4], json.loads(row[5]), json.loads(row[6])) for row in rows]
