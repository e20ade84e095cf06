"""Engine, driveshaft and tyre speed at the finish line of settings that a plan may propose."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from runlog.errors import RunlogError
from runlog.physics.atmosphere import STANDARD_AIR
from runlog.physics.longitudinal import simulate
from runlog.physics.vehicle_fit import fit_from
from runlog.store import facts, results
from runlog.workflows.setup import baseline
from runlog.workflows.suppose.answer import air_of, brought_up_to_now, own_values
from runlog.workflows.suppose.changes import Wish
from runlog.workflows.suppose.finish import GEARED, Ends, gearing_of, hold_to_limits
from runlog.workflows.suppose.physics import answer

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.records import Adjustable, Car, SheetEntry
    from runlog.results import RunResult
    from runlog.store.connection import Logbook
    from runlog.workflows.ahead.candidates import TooFast

FASTER: Final = "R"
"""caution letter of what raises engine, driveshaft or tyre speed"""


def finish_speeds(
    book: Logbook, car: Car, rows: Sequence[RunResult], setup: Mapping[str, SheetEntry], finish_ft: int
) -> TooFast | None:
    """Return what says why a setting would pass a limit at the finish line; None where the car has no model yet.

    ``rows``: its runs, of which the newest air is taken; ``setup``: in the car now.

    Only what the car file calls able to raise speeds is computed, by the car's fitted model in its newest air, else in
    standard air; the model has no opinion on a tyre set named in words, and then nor has this.
    """
    stored = results.car_result(book, car.name)
    fitted = fit_from(stored[0]) if stored else None
    state = next((row.air for row in reversed(rows) if row.air), None)
    if fitted is None:
        return None
    own = own_values(car, fitted.vehicle)
    sheet = baseline(facts.sheets(book, car.name))
    base = {**own, **{item: entry.value for item, entry in sheet.items() if entry.value is not None}}
    now = {**base, **{item: entry.value for item, entry in setup.items() if entry.value is not None}}
    vehicle, _ = brought_up_to_now(car, fitted.vehicle, base, now)
    air = STANDARD_AIR if state is None else air_of(state)
    before = simulate(vehicle, air)

    def too_fast(item: Adjustable, value: float) -> str | None:
        was = now.get(item.name)
        if FASTER not in item.cautions or was is None or value == was:
            return None
        wish = Wish(item.name, item.name, item.unit, was, value, value - was, (), adjustable=item)
        found = answer(car, vehicle, wish)
        if found.alter is None and item.name not in GEARED:
            return None
        after = before if found.alter is None else simulate(found.alter(vehicle), air)
        was_geared, geared = (gearing_of(car, vehicle, {**now, item.name: at}) for at in (was, value))
        try:
            hold_to_limits(car, finish_ft, Ends(before, after, (was_geared, geared)))
        except RunlogError as error:
            return str(error).removeprefix("refused: ")
        return None

    return too_fast
