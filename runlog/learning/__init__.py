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
    from runlog.learning.design import Lever, Runs
    from runlog.learning.effects import Change, Effect
    from runlog.learning.forecast import Forecast
    from runlog.learning.planning import Candidate, Plan, Request, plan
    from runlog.learning.priors import Settings, default_lever
    from runlog.learning.repeatability import Repeatability

_HOME = {
    "CarFit": "car",
    "fit_car": "car",
    "Lever": "design",
    "Runs": "design",
    "Change": "effects",
    "Effect": "effects",
    "Forecast": "forecast",
    "Candidate": "planning",
    "Plan": "planning",
    "Request": "planning",
    "plan": "planning",
    "Settings": "priors",
    "default_lever": "priors",
    "Repeatability": "repeatability",
}

__all__ = [
    "Candidate",
    "CarFit",
    "Change",
    "Effect",
    "Forecast",
    "Lever",
    "Plan",
    "Repeatability",
    "Request",
    "Runs",
    "Settings",
    "default_lever",
    "fit_car",
    "plan",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
