"""A run's trace analysed with what car, track and earlier slips tell."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runlog.constants import DEFAULT_ROLLOUT, SPLIT_DISTANCES_FT
from runlog.signals.sources import Setting

if TYPE_CHECKING:
    from runlog.records import Car, Track


def setting_of(car: Car, track: Track | None) -> Setting:
    """Return what the analysis of a trace needs to know of car and track."""
    return Setting(
        tyre_circumference=car.tyre_circumference,
        final_drive=car.final_drive,
        gear_ratios=car.gear_ratios,
        rollout=track.rollout if track else DEFAULT_ROLLOUT,
        finish_ft=track.finish_ft if track else SPLIT_DISTANCES_FT[-1],
        limits=car.limits,
        tyre_growth=car.tyre.growth if car.tyre else None,
    )
