"""What is told of one usual step of an adjustable, of one car or across cars."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class StepEffect:
    """The effect [s] of one usual step upwards on one increment, or on the elapsed time."""

    adjustable: str
    step: float
    unit: str
    from_ft: int
    to_ft: int
    mean_s: float
    sd_s: float
    lo50_s: float
    hi50_s: float
    lo90_s: float
    hi90_s: float
    probability_helps: float
    """that the step makes the time shorter"""
    verdict: str
    inseparable_from: tuple[str, ...]
