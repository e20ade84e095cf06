"""The page of ``runlog release``: where a car stands before its next run, and what has to be ticked and signed."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any, Final

from runlog.constants import SPLIT_DISTANCES_FT
from runlog.errors import NotFound
from runlog.readers.car_credentials import CREDENTIALS
from runlog.records import RunKey
from runlog.store import facts, reached, results
from runlog.workflows.release.clearance import clearance
from runlog.workflows.release.holds import credential_part, quick_of
from runlog.workflows.release.steps import BETWEEN_RUNS, part

if TYPE_CHECKING:
    from runlog.records import Car
    from runlog.store.connection import Logbook
    from runlog.workflows.release.clearance import Clearance

CAUTIONS: Final = (
    "A sign-off says that someone looked, not that the car is safe: rules, licensed inspection and makers come first.",
    "Nobody in or under a raised car that isn't on stands; nobody in front of or behind it while it is fired up.",
)


def release_page(book: Logbook, name: str) -> dict[str, Any]:
    """Return where a car stands in the shape of ``release --json``. ``NotFound`` without a car file."""
    found = stands(book, name)
    day = max(found.key.date, dt.date.today())
    known = {item.kind for item in found.car.credentials}
    return {
        "car": name,
        "clearance": found.part(),
        "finish_ft": found.finish_ft,
        **part(found.release),
        "open_items": [item.part() for item in found.items],
        "credentials": [credential_part(item, day) for item in found.car.credentials],
        "not_in_car_file": [kind for kind in CREDENTIALS if kind not in known],
        "between_runs": list(BETWEEN_RUNS),
        "cautions": list(CAUTIONS),
    }


def stands(book: Logbook, name: str) -> Clearance:
    """Return what stands before a car's next run, with the ceilings that its newest day's runs come near to.

    ``NotFound`` without a car file.
    """
    car = facts.car(book, name)
    if car is None:
        raise NotFound(f"no car file for {name} in the logbook: import it first")
    key, finish_ft = upcoming(book, car)
    found = clearance(book, car, key, finish_ft)
    newest = reached.newest(book, name)
    if newest is None:
        return found
    rows = results.run_results(book, name, newest[0].date)
    found = found.for_quick(quick_of(rows, f"its runs of {newest[0].date}"))
    return found.for_setup({entry.item: entry for entry in rows[-1].setup})


def upcoming(book: Logbook, car: Car) -> tuple[RunKey, int]:
    """Return a car's next run of its newest day, and where it ends [ft]: as on the track of its newest run."""
    newest, tracks = reached.newest(book, car.name), facts.tracks(book)
    if newest is None:
        finishes = {track.finish_ft for track in tracks.values()}
        finish = finishes.pop() if len(finishes) == 1 else SPLIT_DISTANCES_FT[-1]
        return RunKey(car.name, dt.date.today(), 1), finish
    key, name = newest
    track = tracks.get(name) if name else None
    return RunKey(car.name, key.date, key.number + 1), track.finish_ft if track else SPLIT_DISTANCES_FT[-1]
