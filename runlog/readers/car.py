"""Car files and track files: TOML with quantities written with their unit.

The models below are the published schema (``schemas/car.schema.json``, ``schemas/track.schema.json``).
"""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from runlog import catalogue, units
from runlog.problems import Problems
from runlog.records import Adjustable, Car, ChannelLimit, Hole, Track
from runlog.vocabulary import CHANNEL_BY_NAME

if TYPE_CHECKING:
    from collections.abc import Callable

_PATTERN = r"^\s*[+-]?(\d+\.?\d*|\.\d+)\s*\S.*$"


def _quantity(dimension: str, low: float | None = None) -> AfterValidator:
    def check(text: str) -> str:
        value = units.parse_quantity(text, dimension)
        if low is not None and value <= low:
            raise ValueError(f"{text!r} must be more than {low:g} {units.SI_UNITS[dimension]}")
        return text

    return AfterValidator(check)


def _field(example: str) -> Any:
    return Field(pattern=_PATTERN, examples=[example])


Length = Annotated[str, _field("105 in"), _quantity("length")]
PositiveLength = Annotated[str, _field("105 in"), _quantity("length", 0.0)]
Mass = Annotated[str, _field("2650 lb"), _quantity("mass", 0.0)]
Power = Annotated[str, _field("820 hp"), _quantity("power", 0.0)]
Area = Annotated[str, _field("0.62 m²"), _quantity("area", 0.0)]
Name = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_-]*$", max_length=40, examples=["heron"])]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class HoleModel(_Model):
    """A bracket hole; x forward of the rear axle, z up from the ground."""

    label: str = Field(min_length=1)
    x: Length | None = None
    z: Length | None = None


class AdjustableModel(_Model):
    """Something that can be changed at the track; what the built-in catalogue knows may be left out."""

    name: str = Field(min_length=1, max_length=60)
    unit: str | None = None
    step: float | None = Field(default=None, gt=0)
    low: float | None = None
    high: float | None = None
    minutes: float | None = Field(default=None, ge=0)
    cautions: str | None = Field(default=None, pattern=r"^[WTRDJFB]*$")
    acts: Literal["launch", "early", "power"] | None = None
    curved: bool | None = None
    holes: list[HoleModel] = []
    prior_mean_s: list[float] = Field(default=[], max_length=5)
    prior_sd_s: list[Annotated[float, Field(gt=0)]] = Field(default=[], max_length=5)

    @model_validator(mode="after")
    def _complete(self) -> AdjustableModel:
        known = catalogue.BY_NAME.get(self.name.lower())
        if known is None and (self.unit is None or self.step is None):
            if self.holes:
                return self
            raise ValueError(f"{self.name!r} isn't in the built-in catalogue, so it needs unit and step")
        if self.unit is not None and units.find_unit(self.unit) is None:
            raise ValueError(f"unknown unit {self.unit!r}")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError(f"low {self.low:g} must be below high {self.high:g}")
        if len({hole.label for hole in self.holes}) != len(self.holes):
            raise ValueError("hole labels must differ from each other")
        if len(self.prior_mean_s) != len(self.prior_sd_s):
            raise ValueError("prior_mean_s and prior_sd_s need the same number of increments")
        return self


class LimitModel(_Model):
    """Limits of one logged channel, as quantities with their unit."""

    low: str | None = None
    high: str | None = None


class CarModel(_Model):
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
    gear_ratios: list[Annotated[float, Field(gt=0)]] = []
    front_weight_pct: float | None = Field(default=None, gt=5, lt=95)
    centre_of_gravity_height: PositiveLength | None = None
    drag_area: Area | None = None
    adjustable: list[AdjustableModel] = []
    limits: dict[str, LimitModel] = {}

    @model_validator(mode="after")
    def _channels(self) -> CarModel:
        for channel, limit in self.limits.items():
            word = CHANNEL_BY_NAME.get(channel)
            if word is None:
                raise ValueError(f"limits: unknown channel {channel!r}; known: {', '.join(CHANNEL_BY_NAME)}")
            for text in filter(None, (limit.low, limit.high)):
                units.parse_quantity(text, word.dimension)
        names = [item.name.lower() for item in self.adjustable]
        for name in sorted({name for name in names if names.count(name) > 1}):
            raise ValueError(f"adjustable {name!r} is given twice")
        return self


class TrackModel(_Model):
    """A track file."""

    name: Name
    elevation: Length
    heading_deg: float | None = Field(default=None, ge=0, lt=360)
    finish_ft: Literal[330, 660, 1000, 1320] = 1320
    rollout: PositiveLength = "9 in"
    surface: str = Field(default="", max_length=400)


def _parse(text: bytes, file: str, model: Callable[..., BaseModel], table: str) -> Any:
    problems = Problems(file)
    try:
        content = tomllib.loads(text.decode("utf-8"))
    except UnicodeDecodeError as error:
        problems.add(f"byte {error.start}", "bytes that aren't UTF-8", "a TOML file in UTF-8")
    except tomllib.TOMLDecodeError as error:
        problems.add("", f"a fault in the TOML: {error}", "TOML 1.0")
    problems.raise_if_any()
    if set(content) != {table} or not isinstance(content.get(table), dict):
        problems.add("top level", ", ".join(sorted(content)) or "nothing", f"one table [{table}]")
        problems.raise_if_any()
    try:
        return model(**content[table])
    except ValidationError as error:
        for fault in error.errors(include_url=False):
            place = ".".join(str(part) for part in (table, *fault["loc"]))
            message = fault["msg"].removeprefix("Value error, ")
            if fault["type"] == "missing":
                problems.add(f"key {place}", "nothing", "a value, it can't be left out")
            elif fault["type"] == "extra_forbidden":
                problems.add(f"key {place}", "an unknown key", "the keys of the published schema")
            else:
                problems.add(f"key {place}", _shown(fault["input"]), message)
        problems.raise_if_any()


def _shown(found: object) -> str:
    text = repr(found)
    return text if len(text) <= 60 else text[:57] + "…"


def _si(text: str | None, dimension: str) -> float | None:
    return None if text is None else units.parse_quantity(text, dimension)


def _adjustable(model: AdjustableModel) -> Adjustable:
    known = catalogue.BY_NAME.get(model.name.lower())
    unit = model.unit or (known.unit if known else "hole")
    found = units.find_unit(unit)
    holes = tuple(Hole(hole.label, _si(hole.x, "length"), _si(hole.z, "length")) for hole in model.holes)
    return Adjustable(
        name=known.name if known else model.name.lower(),
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
    )


def read_car(content: bytes, file: str) -> Car:
    """Read a car file; ``FileFaults`` with every fault when it can't be accepted."""
    model: CarModel = _parse(content, file, CarModel, "car")
    limits = tuple(
        ChannelLimit(channel, *(_si(text, CHANNEL_BY_NAME[channel].dimension) for text in (limit.low, limit.high)))
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
        centre_of_gravity_height=_si(model.centre_of_gravity_height, "length"),
        drag_area=_si(model.drag_area, "area"),
        adjustables=tuple(_adjustable(item) for item in model.adjustable),
        limits=limits,
    )


def read_track(content: bytes, file: str) -> Track:
    """Read a track file; ``FileFaults`` with every fault when it can't be accepted."""
    model: TrackModel = _parse(content, file, TrackModel, "track")
    return Track(
        name=model.name,
        elevation=units.parse_quantity(model.elevation, "length"),
        heading_deg=model.heading_deg,
        finish_ft=model.finish_ft,
        rollout=units.parse_quantity(model.rollout, "length"),
        surface=model.surface,
    )
