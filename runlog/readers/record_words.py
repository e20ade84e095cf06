"""What the crew records of a run beside its figures: the driver's report and the record at the start line."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from runlog.readers.crew_words import CrewModel, ItemName, Person, Words
from runlog.readers.fields import AnyTemperature, Duration, Mass, PositiveLength, Pressure

Side = Literal["left", "right", "straight"]
Wheels = Literal["down", "carried", "high"]
Bars = Literal["clear", "touched", "rode on them"]
Vibration = Literal["none", "some", "strong"]
Braking = Literal["good", "weak", "pulled left", "pulled right"]
Parachute = Literal["not used", "good", "late", "failed"]
Staging = Literal["shallow", "normal", "deep"]


class DriverReportModel(CrewModel):
    """What the driver felt, asked before any figure is shown."""

    what: Literal["driver_report"]
    run: int = Field(ge=1, le=9999)
    moved: Side | None = None
    moved_at_ft: int | None = Field(default=None, ge=0, le=5280)
    front_wheels: Wheels | None = None
    front_wheel_height: PositiveLength | None = None
    bars: Bars | None = None
    vibration: Vibration | None = None
    braking: Braking | None = None
    parachute: Parachute | None = None
    text: Words | None = None
    before_figures: bool = Field(default=True, description="whether the logbook held no figure of the run yet")


class StartRecordModel(CrewModel):
    """What was noted at the start line."""

    what: Literal["start_record"]
    run: int = Field(ge=1, le=9999)
    coolant: AnyTemperature | None = None
    oil: AnyTemperature | None = None
    transmission: AnyTemperature | None = None
    fuel: Mass | None = None
    driver: Person | None = None
    driver_weight: Mass | None = None
    tyre_set: ItemName | None = None
    tyre_runs: int | None = Field(default=None, ge=0, le=9999, description="runs on the tyre set before this one")
    rear_tyre_pressure: Pressure | None = None
    front_tyre_pressure: Pressure | None = None
    staging: Staging | None = None
    burnout: Duration | None = None
    surface: AnyTemperature | None = Field(default=None, description="temperature of the track's surface")
    text: Words | None = None
