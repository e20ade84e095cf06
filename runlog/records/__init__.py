"""The plain records that the rooms of the house hand to each other.

All numbers are SI unless the name says otherwise; ``None`` means not known. Arrays are one-dimensional numpy float64.
"""

from typing import TYPE_CHECKING

from runlog.records.acts import Choice, Withdrawal
from runlog.records.car import (
    USUAL_TRAPS,
    Adjustable,
    Car,
    ChannelLimit,
    Credential,
    Driveshaft,
    Hole,
    Powertrain,
    RearSuspension,
    Track,
    Trap,
    Tyre,
    WheelieBars,
)
from runlog.records.crew import STEPS, CrewFact
from runlog.records.run import AirReading, Given, RunKey, Sheet, SheetEntry, Slip
from runlog.records.trace import (
    Alarm,
    CloseCall,
    Contender,
    LoggedChannel,
    LoggerFile,
    Rises,
    Samples,
    Shift,
    SplitBasis,
    TimeBase,
    TraceEvent,
    TraceFindings,
)

if TYPE_CHECKING:
    from runlog.records.trace import FloatArray as FloatArray

__all__ = [
    "STEPS",
    "USUAL_TRAPS",
    "Adjustable",
    "AirReading",
    "Alarm",
    "Car",
    "ChannelLimit",
    "Choice",
    "CloseCall",
    "Contender",
    "Credential",
    "CrewFact",
    "Driveshaft",
    "Given",
    "Hole",
    "LoggedChannel",
    "LoggerFile",
    "Powertrain",
    "RearSuspension",
    "Rises",
    "RunKey",
    "Samples",
    "Sheet",
    "SheetEntry",
    "Shift",
    "Slip",
    "SplitBasis",
    "TimeBase",
    "TraceEvent",
    "TraceFindings",
    "Track",
    "Trap",
    "Tyre",
    "WheelieBars",
    "Withdrawal",
]
