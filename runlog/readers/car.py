"""Car files: TOML with quantities written with their unit.

The models below are the published schema (``schemas/car.schema.json``).
"""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import Field, model_validator

from runlog import catalogue, units
from runlog.readers.car_credentials import CheckLists, CredentialModel, CredentialName, credentials_of
from runlog.readers.car_driveline import PowertrainModel, TyreModel, powertrain_of, tyre_of
from runlog.readers.fields import (
    AnyArea,
    AnyQuantity,
    Area,
    Cautions,
    Length,
    Mass,
    Name,
    Positive,
    PositiveLength,
    Power,
    Stiffness,
    StrictModel,
    Unit,
    check_quantity,
    si,
)
from runlog.readers.toml import read_file
from runlog.records import (
    Adjustable,
    Car,
    ChannelLimit,
    Driveshaft,
    Hole,
    RearSuspension,
    WheelieBars,
)
from runlog.vocabulary import CHANNEL_BY_NAME

if TYPE_CHECKING:
    from collections.abc import Iterator


class HoleModel(StrictModel):
    """A bracket hole; x forward of the rear axle, z up from the ground."""

    label: str = Field(min_length=1)
    x: Length | None = None
    z: Length | None = None


class AdjustableModel(StrictModel):
    """Something that can be changed at the track; what the built-in catalogue knows may be left out."""

    name: str = Field(min_length=1, max_length=60)
    unit: Unit | None = None
    step: Positive | None = None
    low: float | None = None
    high: float | None = None
    minutes: float | None = Field(default=None, ge=0)
    cautions: Cautions | None = None
    acts: Literal["launch", "early", "power"] | None = None
    curved: bool | None = None
    holes: list[HoleModel] = Field(default=[])
    prior_mean_s: list[float] = Field(default=[], max_length=5)
    prior_sd_s: list[Positive] = Field(default=[], max_length=5)
    prior_curvature_mean_s: list[float] = Field(
        default=[],
        max_length=5,
        description="expected bend on each increment: c of c (x² − x), x in steps from the baseline; if curved",
    )
    prior_curvature_sd_s: list[Positive] = Field(default=[], max_length=5)
    x: Length | None = Field(default=None, description="where ballast sits, forward of the rear axle")
    y: Length | None = Field(default=None, description="where ballast sits, left of the centre line")
    z: Length | None = Field(default=None, description="where ballast sits, up from the ground")
    at_hand: list[float] = Field(default=[], description="values of which a part is at hand, such as final drive sets")

    @model_validator(mode="after")
    def _complete(self) -> AdjustableModel:
        faults = []
        known = catalogue.BY_NAME.get(self.name.strip().lower())
        if known is None and not self.holes and (self.unit is None or self.step is None):
            faults.append("unit and step, since the built-in catalogue doesn't know it")
        if self.low is not None and self.high is not None and self.low >= self.high:
            faults.append(f"low {self.low:g} below high {self.high:g}")
        if len({hole.label.lower() for hole in self.holes}) != len(self.holes):
            faults.append("hole labels that differ from each other")
        if len(self.prior_mean_s) != len(self.prior_sd_s):
            faults.append("as many numbers in prior_mean_s as in prior_sd_s")
        if self.at_hand and self.holes:
            faults.append("at_hand or holes, not both")
        if len(self.prior_curvature_mean_s) != len(self.prior_curvature_sd_s):
            faults.append("as many numbers in prior_curvature_mean_s as in prior_curvature_sd_s")
        bends = self.curved if self.curved is not None else bool(known and known.curved)
        if self.prior_curvature_sd_s and not bends:
            faults.append("curved = true, since a prior of its curvature is given")
        if faults:
            raise ValueError(f"for {self.name!r}: {'; '.join(faults)}")
        return self


class LimitModel(StrictModel):
    """Limits of one logged channel, as quantities with their unit."""

    low: AnyQuantity | None = None
    high: AnyQuantity | None = None


class RearSuspensionModel(StrictModel):
    """What holds the rear axle; the links of a four-link, and a torque arm's lower ones, are adjustables with holes."""

    layout: Literal["four-link", "ladder bar", "torque arm"] = "four-link"
    pivot_x: Length | None = None
    pivot_z: PositiveLength | None = None
    slide_deg: float = Field(default=0.0, gt=-90, lt=90)

    @model_validator(mode="after")
    def _complete(self) -> RearSuspensionModel:
        if self.layout != "four-link" and (self.pivot_x is None or self.pivot_z is None):
            raise ValueError(f"pivot_x and pivot_z for a {self.layout}")
        return self


class DriveshaftModel(StrictModel):
    """The driveshaft in side view."""

    length: PositiveLength | None = None
    front_higher_by: Length | None = None
    transmission_deg: float | None = Field(default=None, gt=-45, lt=45)

    @model_validator(mode="after")
    def _fits(self) -> DriveshaftModel:
        length, rise = si(self.length, "length"), si(self.front_higher_by, "length")
        if length is not None and rise is not None and abs(rise) >= length:
            raise ValueError("front_higher_by less than the driveshaft's length")
        return self


class WheelieBarsModel(StrictModel):
    """Wheelie bars; left out for a car that has none."""

    length: PositiveLength = Field(description="from the rear axle back to the bars' wheels")
    stiffness: Stiffness | None = Field(default=None, description="vertical, at the bars' wheels")


class CarModel(StrictModel):
    """A car file."""

    name: Name
    race_weight: Mass
    wheelbase: PositiveLength
    power: Power
    tyre_circumference: PositiveLength
    final_drive: float = Field(gt=0.5, lt=15)
    power_at: Literal["engine", "wheels"] = "engine"
    power_standard: str = "SAE J1349"
    aspiration: Literal["natural", "supercharged", "turbocharged", "nitrous"] = "natural"
    launch: Literal["transmission brake", "foot brake", "clutch"] = "transmission brake"
    description: str = Field(default="", max_length=400)
    gear_ratios: list[Positive] = Field(default=[])
    front_weight_pct: float | None = Field(default=None, gt=5, lt=95)
    centre_of_gravity_height: PositiveLength | None = None
    drag_area: Area | None = None
    front_track: PositiveLength | None = None
    rear_track: PositiveLength | None = None
    loaded_tyre_radius: PositiveLength | None = None
    minimum_weight: Mass | None = None
    rear_suspension: RearSuspensionModel | None = None
    driveshaft: DriveshaftModel | None = None
    wheelie_bars: WheelieBarsModel | None = None
    powertrain: PowertrainModel | None = None
    tyre: TyreModel | None = None
    downforce_area_front: AnyArea | None = Field(default=None, description="lift coefficient times area, pressing down")
    downforce_area_rear: AnyArea | None = None
    new: bool | None = Field(
        default=None,
        description="whether it has to pass the release steps; left out: until it has run cleanly to the finish twice",
    )
    release_checks: CheckLists = Field(default={}, description="checks of a release step in place of the usual ones")
    credentials: dict[CredentialName, CredentialModel] = Field(default={})
    adjustable: list[AdjustableModel] = Field(default=[])
    limits: dict[Annotated[str, Field(json_schema_extra={"enum": list(CHANNEL_BY_NAME)})], LimitModel] = Field(
        default={}
    )

    @model_validator(mode="after")
    def _shifts_fit(self) -> CarModel:
        shifts = self.powertrain.shift_rpm if self.powertrain else None
        if isinstance(shifts, list) and len(shifts) != len(self.gear_ratios) - 1:
            raise ValueError("one shift_rpm for all shifts, or as many as gear_ratios less one")
        return self


class CarFileModel(StrictModel):
    """A car file: one table with everything that is known of the car."""

    car: CarModel


def _adjustable_name(name: str) -> str:
    """Return the name that an adjustable goes by: the catalogue's where it knows it."""
    known = catalogue.BY_NAME.get(name.strip().lower())
    return known.name if known else name.strip().lower()


def _check_twice(found: dict[str, Any]) -> Iterator[tuple[str, object, str]]:
    """Yield the adjustables that go by a name that another one goes by already."""
    seen: set[str] = set()
    for n, item in enumerate(_part(found, "car", "adjustable", list)):
        name = item.get("name") if isinstance(item, dict) else None
        if isinstance(name, str):
            own = _adjustable_name(name)
            if own in seen:
                yield f"car.adjustable.{n}.name", name, f"each adjustable once; {own!r} was given above"
            seen.add(own)


def _check_limits(found: dict[str, Any]) -> Iterator[tuple[str, object, str]]:
    """Yield what is wrong with the limits of logged channels: the channel says which quantities are accepted."""
    for channel, limit in _part(found, "car", "limits", dict).items():
        key = f"car.limits.{channel}"
        word = CHANNEL_BY_NAME.get(channel)
        if word is None:
            close = difflib.get_close_matches(channel, CHANNEL_BY_NAME, n=3, cutoff=0.5) or list(CHANNEL_BY_NAME)
            yield key, channel, f"a channel that runlog knows, such as {', '.join(close[:3])}"
            continue
        texts = {end: limit[end] for end in ("low", "high") if isinstance(limit, dict) and end in limit}
        values = []
        for end, text in texts.items():
            try:
                check_quantity(text, word.dimension, f"100 {units.SI_UNITS[word.dimension]}", positive=False)
                values.append(units.parse_quantity(text, word.dimension))
            except ValueError as error:
                yield f"{key}.{end}", text, str(error)
        if len(values) == 2 and values[0] >= values[1]:
            yield key, limit, "a low below its high"


def _part(found: dict[str, Any], table: str, key: str, kind: type[Any]) -> Any:
    """Return a part of a file whose shape hasn't been checked; an empty one where it has another shape."""
    outer = found.get(table)
    inner = outer.get(key) if isinstance(outer, dict) else None
    return inner if isinstance(inner, kind) else kind()


def _adjustable(model: AdjustableModel) -> Adjustable:
    known = catalogue.BY_NAME.get(model.name.strip().lower())
    unit = model.unit or (known.unit if known else "hole")
    found = units.find_unit(unit)
    holes = tuple(Hole(hole.label, si(hole.x, "length"), si(hole.z, "length")) for hole in model.holes)
    return Adjustable(
        name=_adjustable_name(model.name),
        unit=found.symbol if found else unit,
        step=model.step or (known.step if known else 1.0),
        low=model.low if model.low is not None else (0.0 if holes else None),
        high=model.high if model.high is not None else (len(holes) - 1.0 if holes else None),
        minutes=model.minutes if model.minutes is not None else (known.minutes if known else 10.0),
        cautions=model.cautions if model.cautions is not None else (known.cautions if known else ""),
        acts=model.acts or (known.acts if known else catalogue.LAUNCH),
        curved=model.curved if model.curved is not None else (known.curved if known else False),
        holes=holes,
        prior_mean_s=tuple(model.prior_mean_s),
        prior_sd_s=tuple(model.prior_sd_s),
        prior_curvature_mean_s=tuple(model.prior_curvature_mean_s),
        prior_curvature_sd_s=tuple(model.prior_curvature_sd_s),
        x=si(model.x, "length"),
        y=si(model.y, "length"),
        z=si(model.z, "length"),
        at_hand=tuple(sorted(model.at_hand)),
    )


def _rear_suspension(model: RearSuspensionModel | None) -> RearSuspension | None:
    if model is None:
        return None
    pivot_x, pivot_z = si(model.pivot_x, "length"), si(model.pivot_z, "length")
    return RearSuspension(model.layout, pivot_x, pivot_z, model.slide_deg)


def _driveshaft(model: DriveshaftModel | None) -> Driveshaft | None:
    if model is None:
        return None
    return Driveshaft(si(model.length, "length"), si(model.front_higher_by, "length"), model.transmission_deg)


def _wheelie_bars(model: WheelieBarsModel | None) -> WheelieBars | None:
    if model is None:
        return None
    return WheelieBars(units.parse_quantity(model.length, "length"), si(model.stiffness, "stiffness"))


def read_car(content: bytes, file: str) -> Car:
    """Read a car file; ``FileFaults`` with every fault when it can't be accepted."""
    model = read_file(content, file, CarFileModel, _check_twice, _check_limits).car
    limits = tuple(
        ChannelLimit(channel, *(si(text, CHANNEL_BY_NAME[channel].dimension) for text in (limit.low, limit.high)))
        for channel, limit in model.limits.items()
    )
    return Car(
        name=model.name,
        race_mass=units.parse_quantity(model.race_weight, "mass"),
        wheelbase=units.parse_quantity(model.wheelbase, "length"),
        power=units.parse_quantity(model.power, "power"),
        tyre_circumference=units.parse_quantity(model.tyre_circumference, "length"),
        final_drive=model.final_drive,
        power_at=model.power_at,
        power_standard=model.power_standard,
        aspiration=model.aspiration,
        launch=model.launch,
        description=model.description,
        gear_ratios=tuple(model.gear_ratios),
        front_share=None if model.front_weight_pct is None else model.front_weight_pct / 100,
        centre_of_gravity_height=si(model.centre_of_gravity_height, "length"),
        drag_area=si(model.drag_area, "area"),
        adjustables=tuple(_adjustable(item) for item in model.adjustable),
        limits=limits,
        front_track=si(model.front_track, "length"),
        rear_track=si(model.rear_track, "length"),
        loaded_tyre_radius=si(model.loaded_tyre_radius, "length"),
        minimum_mass=si(model.minimum_weight, "mass"),
        rear_suspension=_rear_suspension(model.rear_suspension),
        driveshaft=_driveshaft(model.driveshaft),
        powertrain=powertrain_of(model.powertrain),
        tyre=tyre_of(model.tyre, model.tyre_circumference),
        downforce_area_front=si(model.downforce_area_front, "area"),
        downforce_area_rear=si(model.downforce_area_rear, "area"),
        wheelie_bars=_wheelie_bars(model.wheelie_bars),
        new=model.new,
        release_checks=tuple((step, tuple(checks)) for step, checks in model.release_checks.items()),
        credentials=credentials_of(model.credentials),
    )
