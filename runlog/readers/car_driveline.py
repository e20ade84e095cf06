"""What a car file says of engine, converter or clutch, shifts and driven tyres."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from runlog import units
from runlog.readers.fields import Duration, EngineSpeed, Positive, PositiveLength, Power, Speed, StrictModel, si
from runlog.records import Powertrain, Tyre


class PowertrainModel(StrictModel):
    """Engine, converter or clutch, and shifts; what is left out is filled with common practice."""

    power_curve: list[Annotated[tuple[EngineSpeed, Power], Field(strict=False)]] = Field(
        default=[], description="points of engine speed and power, rising in speed; three or more, or none"
    )
    peak_power_at: EngineSpeed | None = Field(default=None, description="where the engine has its greatest power")
    converter_stall: EngineSpeed | None = None
    converter_torque_ratio: float | None = Field(default=None, ge=1, lt=4, description="at stall")
    clutch_release: EngineSpeed | None = Field(
        default=None, description="engine speed that the clutch slips at until the car has caught up"
    )
    shift_rpm: EngineSpeed | list[EngineSpeed] | None = Field(default=None, description="one for all shifts, or each")
    shift_time: Duration | None = Field(default=None, description="without drive at each shift")
    engine_inertia_kg_m2: Positive | None = None
    efficiency_pct: float | None = Field(default=None, gt=50, le=100, description="of gears and axle")

    @model_validator(mode="after")
    def _fits(self) -> PowertrainModel:
        faults = []
        speeds = [units.parse_quantity(speed, "angular_speed") for speed, _ in self.power_curve]
        if len(speeds) in (1, 2) or sorted(set(speeds)) != speeds:
            faults.append("three or more points in power_curve, each at a higher engine speed than the one before")
        if self.converter_stall is not None and self.clutch_release is not None:
            faults.append("converter_stall or clutch_release, not both")
        if faults:
            raise ValueError("; ".join(faults))
        return self


class TyreModel(StrictModel):
    """The driven tyres; what is left out is filled with common practice."""

    growth: PositiveLength | None = Field(
        default=None, description="what the circumference gains at the speed growth_at"
    )
    growth_at: Speed = "150 mph"
    slip_pct: float | None = Field(default=None, ge=0, lt=30, description="under power, against the free wheel's speed")
    friction: float | None = Field(default=None, gt=0.3, lt=8, description="under the load at rest")
    load_sensitivity: float | None = Field(default=None, ge=0, lt=1)
    speed_limit: Speed | None = Field(default=None, description="the maker's, as road speed")


def powertrain_of(model: PowertrainModel | None) -> Powertrain | None:
    """Return the powertrain as a record; None for none."""
    if model is None:
        return None
    curve = [(si(speed, "angular_speed"), si(power, "power")) for speed, power in model.power_curve]
    shifts = [model.shift_rpm] if isinstance(model.shift_rpm, str) else model.shift_rpm or []
    return Powertrain(
        power_curve=tuple((speed, power) for speed, power in curve if speed is not None and power is not None),
        peak_power_at=si(model.peak_power_at, "angular_speed"),
        converter_stall=si(model.converter_stall, "angular_speed"),
        converter_torque_ratio=model.converter_torque_ratio,
        clutch_release=si(model.clutch_release, "angular_speed"),
        shift_speeds=tuple(units.parse_quantity(text, "angular_speed") for text in shifts),
        shift_time=si(model.shift_time, "time"),
        engine_inertia=model.engine_inertia_kg_m2,
        efficiency=None if model.efficiency_pct is None else model.efficiency_pct / 100,
    )


def tyre_of(model: TyreModel | None, circumference: str) -> Tyre | None:
    """Return the driven tyres as a record, their growth as a share of the circumference at rest; None for none."""
    if model is None:
        return None
    gain, at = si(model.growth, "length"), units.parse_quantity(model.growth_at, "speed")
    return Tyre(
        growth=None if gain is None else gain / units.parse_quantity(circumference, "length") / at**2,
        slip=None if model.slip_pct is None else model.slip_pct / 100,
        friction=model.friction,
        load_sensitivity=model.load_sensitivity,
        speed_limit=si(model.speed_limit, "speed"),
    )
