"""From runs to effects, verdicts, forecasts and plans. Pure: arrays and records in, records out.

``fit_car`` is the way in. The model is explained in ``priors`` (what is assumed), ``regression`` (how it is learned)
and ``verdicts`` (what may be said). A command pays only for the modules it uses: names are looked up when first needed.
``runlog.learning.forecast`` is the module; its function of the same name is imported from there.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from runlog.learning.car import CarFit, fit_car
    from runlog.learning.columns import fleet_levers
    from runlog.learning.design import Lever, Runs
    from runlog.learning.effects import Change, Effect
    from runlog.learning.fleet import FleetFit, fit_fleet, fleet_lever
    from runlog.learning.forecast import Forecast
    from runlog.learning.frames import runs_from_frame
    from runlog.learning.planning import Candidate, Plan, Request, plan
    from runlog.learning.pooled_effects import Disagreement, PooledEffect
    from runlog.learning.pooling import Pooling
    from runlog.learning.priors import Settings, default_lever
    from runlog.learning.repeatability import Repeatability
    from runlog.learning.shared import Shared
    from runlog.learning.spoils import SpoilRate, spoil_rates
    from runlog.learning.sufficient import CarRuns, CarStatistics, car_statistics, map_cars

_HOME = {
    "CarFit": "car",
    "fit_car": "car",
    "Lever": "design",
    "Runs": "design",
    "Change": "effects",
    "Effect": "effects",
    "fleet_levers": "columns",
    "FleetFit": "fleet",
    "fit_fleet": "fleet",
    "fleet_lever": "fleet",
    "Forecast": "forecast",
    "runs_from_frame": "frames",
    "Candidate": "planning",
    "Plan": "planning",
    "Request": "planning",
    "plan": "planning",
    "Settings": "priors",
    "default_lever": "priors",
    "Disagreement": "pooled_effects",
    "PooledEffect": "pooled_effects",
    "Pooling": "pooling",
    "Repeatability": "repeatability",
    "Shared": "shared",
    "SpoilRate": "spoils",
    "spoil_rates": "spoils",
    "CarRuns": "sufficient",
    "CarStatistics": "sufficient",
    "car_statistics": "sufficient",
    "map_cars": "sufficient",
}

__all__ = [
    "Candidate",
    "CarFit",
    "CarRuns",
    "CarStatistics",
    "Change",
    "Disagreement",
    "Effect",
    "FleetFit",
    "Forecast",
    "Lever",
    "Plan",
    "PooledEffect",
    "Pooling",
    "Repeatability",
    "Request",
    "Runs",
    "Settings",
    "Shared",
    "SpoilRate",
    "car_statistics",
    "default_lever",
    "fit_car",
    "fit_fleet",
    "fleet_lever",
    "fleet_levers",
    "map_cars",
    "plan",
    "runs_from_frame",
    "spoil_rates",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
