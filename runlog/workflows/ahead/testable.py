"""Whether an adjustable could be tested on a car as it stands: what keeps it from the shop's list of what is open."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runlog.workflows.ahead.candidates import never_proposed
from runlog.workflows.ahead.parts import lacking, near, needs_part
from runlog.workflows.release.limits import allowed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.records import Adjustable, SheetEntry
    from runlog.workflows.release.clearance import Clearance


def why_not(cleared: Clearance, setup: Mapping[str, SheetEntry], name: str) -> str | None:
    """Return why an adjustable can't be tested before the car's next run, in words; None where it can.

    ``setup``: what is in the car now. A test goes a step to either side, or to the next part at hand.
    """
    item = cleared.car.adjustable(name)
    if item is None:
        return "its car file doesn't have it"
    entry = setup.get(name)
    if cleared.to_ft == 0:
        return f"no next run: {cleared.reasons[0]}"
    if cleared.release.next is not None:
        return "it is still at a release step"
    never = never_proposed(item)
    if never is not None:
        return never
    if needs_part(item, {}) and not item.at_hand:
        return lacking(item)
    if entry is None or entry.value is None:
        return "no setup sheet tells its setting"
    if not _reachable(cleared, item, entry.value):
        return "a step to either side is barred or past its limits"
    return None


def _reachable(cleared: Clearance, item: Adjustable, now: float) -> bool:
    """Tell whether there is another setting next to the one in the car that is allowed and not barred."""
    low, high = allowed(cleared.car, item)
    steps = (now - item.step, now + item.step)
    wanted = near(item, now, {}, (low, high))[1:] if needs_part(item, {}) else steps
    return any(low - 1e-9 <= value <= high + 1e-9 and cleared.bars.of(item.name, value) is None for value in wanted)
