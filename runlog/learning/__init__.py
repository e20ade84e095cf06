"""From runs to effects, verdicts, forecasts and plans. Pure: arrays and records in, records out.

``fit_car`` is the way in. The model is explained in ``priors`` (what is assumed), ``regression`` (how it is learned)
and ``verdicts`` (what may be said).
"""

from runlog.learning.car import CarFit, fit_car
from runlog.learning.design import Lever, Runs
from runlog.learning.effects import Change, Effect
from runlog.learning.forecast import Forecast, forecast
from runlog.learning.planning import Candidate, Plan, Request, plan
from runlog.learning.priors import Settings, default_lever

__all__ = [
    "Candidate",
    "CarFit",
    "Change",
    "Effect",
    "Forecast",
    "Lever",
    "Plan",
    "Request",
    "Runs",
    "Settings",
    "default_lever",
    "fit_car",
    "forecast",
    "plan",
]
