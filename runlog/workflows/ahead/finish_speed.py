"""Engine, driveshaft and tyre speed at the finish line of settings that a plan may propose."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from runlog.errors import RunlogError
from runlog.physics.longitudinal import simulate
from runlog.physics.vehicle_fit import fit_from
from runlog.store import facts, results
from runlog.workflows.setup import baseline
from runlog.workflows.suppose.answer import air_of, brought_up_to_now, own_values
from runlog.workflows.suppose.changes import Wish
from runlog.workflows.suppose.finish import hold_to_limits
from runlog.workflows.suppose.physics import answer

if TYPE_CHECKING:
    from runlog.records import Adjustable
    from runlog.store.connection import Logbook
    from runlog.workflows.ahead.candidates import TooFast
    from runlog.workflows.ahead.next_run import Standing

FASTER: Final = "R"
"""caution letter of what raises engine, driveshaft or tyre speed"""


def finish_speeds(book: Logbook, stand: Standing) -> TooFast | None:
    """Return what says why a setting would pass a limit at the finish line; None where the car has no model yet.

    Only what the car file calls able to raise speeds is computed, by the car's fitted model in its newest air; the
    model has no opinion on a tyre set named in words, and then nor has this.
    """
    stored = results.car_result(book, stand.car.name)
    fitted = fit_from(stored[0]) if stored else None
    state = next((row.air for row in reversed(stand.rows) if row.air), None)
    if fitted is None or state is None:
        return None
    own = own_values(stand.car, fitted.vehicle)
    sheet = baseline(facts.sheets(book, stand.car.name))
    base = {**own, **{item: entry.value for item, entry in sheet.items() if entry.value is not None}}
    now = {**base, **{item: entry.value for item, entry in stand.setup.items() if entry.value is not None}}
    vehicle, _ = brought_up_to_now(stand.car, fitted.vehicle, base, now)
    air = air_of(state)
    before = simulate(vehicle, air)

    def too_fast(item: Adjustable, value: float) -> str | None:
        was = now.get(item.name)
        if FASTER not in item.cautions or was is None or value == was:
            return None
        wish = Wish(item.name, item.name, item.unit, was, value, value - was, (), adjustable=item)
        found = answer(stand.car, vehicle, wish)
        if found.alter is None:
            return None
        try:
            hold_to_limits(stand.car, stand.finish_ft, before, simulate(found.alter(vehicle), air))
        except RunlogError as error:
            return str(error).removeprefix("refused: ")
        return None

    return too_fast
