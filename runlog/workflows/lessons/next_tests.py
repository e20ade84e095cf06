"""What is worth testing next in the shop: little known, in many cars, for the time and the runs that it costs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from runlog import catalogue
from runlog.learning.spoils import spoil_rate
from runlog.workflows.ahead.candidates import never_proposed

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from runlog.learning import FleetFit, PooledEffect
    from runlog.records import Adjustable, Car

    Handle = tuple[str, str]
    WhyNot = Callable[[str, str], str | None]

MOST_PROPOSED: Final = 5
TURNAROUND: Final = 45.0
"""[min] from run to run, work on the car included. Common practice, no source"""
_RUNS: Final = 3
"""of a there and back: as it is, changed, changed back"""
_SETTLED: Final = ("helped", "hurt", "no_difference")


def worth_testing(
    fit: FleetFit,
    having: Mapping[Handle, Sequence[str]],
    cars: Mapping[str, Car],
    lost: Mapping[Handle, tuple[int, int]],
    why_not: WhyNot | None = None,
) -> list[dict[str, Any]]:
    """Return what is worth testing next, the most first.

    The unknown share of its effect on the elapsed time, times the cars that could test it, times the chance that no run
    of a there and back is lost, over the hours that one takes. ``lost``: runs at other settings than the baseline, and
    how many of them the car itself lost. What is settled for the shop isn't proposed, nor what risks the engine, nor
    what no car could test. ``why_not``: why a car can't test an adjustable as it stands, by both names; None: it can.
    Without it only the car files speak.
    """
    why_not = why_not or (lambda car, name: _by_file(cars.get(car), name))
    adjustables = {(lever.name, lever.unit) for lever in fit.levers[: len(fit.carried)]}
    rows = []
    for effect in fit.effects:
        handle = effect.adjustable, effect.unit
        whole = effect.from_ft == 0 and effect.to_ft == fit.effects[-1].to_ft
        if handle not in adjustables or not whole or effect.verdict in _SETTLED:
            continue
        owners = {name: why_not(name, handle[0]) for name in having[handle]}
        items = [item for name in owners if name in cars and (item := cars[name].adjustable(handle[0]))]
        letters = "".join(dict.fromkeys(letter for item in items for letter in item.cautions))
        if "F" not in letters and None in owners.values():
            rows.append(_row(effect, owners, items, letters, lost.get(handle, (0, 0))))
    return sorted(rows, key=lambda row: (-row["worth"], row["adjustable"]))[:MOST_PROPOSED]


def _by_file(car: Car | None, name: str) -> str | None:
    """Return why a car can't test an adjustable by its car file alone."""
    item = None if car is None else car.adjustable(name)
    return "its car file doesn't have it" if item is None else never_proposed(item)


def there_and_back_hours(minutes: float) -> float:
    """Return the hours of a there and back of a change that takes so many minutes: work may delay a run."""
    return (TURNAROUND + (_RUNS - 1) * max(TURNAROUND, minutes)) / 60.0


def _row(
    effect: PooledEffect,
    owners: Mapping[str, str | None],
    items: Sequence[Adjustable],
    letters: str,
    lost: tuple[int, int],
) -> dict[str, Any]:
    free = [name for name, why in owners.items() if why is None]
    minutes = max((item.minutes for item in items), default=0.0)
    rate = spoil_rate(*lost).rate
    hours = there_and_back_hours(minutes)
    worth = (1.0 - effect.share_learned) * len(free) * (1.0 - rate) ** _RUNS / hours
    return {
        "adjustable": effect.adjustable,
        "step": effect.step,
        "unit": effect.unit,
        "share_learned": effect.share_learned,
        "cars_with": list(owners),
        "cars_free": free,
        "held": [{"car": name, "why": why} for name, why in owners.items() if why is not None],
        "cars_tried": effect.cars,
        "minutes": minutes,
        "hours": hours,
        "runs_away": lost[0],
        "runs_lost": lost[1],
        "lost_rate": rate,
        "worth": worth,
        "cautions": list(catalogue.cautions_for(letters)),
    }
