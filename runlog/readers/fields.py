"""Types of the fields of car and track files: quantities with their unit, names, caution letters.

Each says in its own words what it accepts, and carries its JSON Schema.
"""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, PlainValidator, WithJsonSchema

from runlog import catalogue, units
from runlog.readers.keys import CAR, parse_date

_QUANTITY = r"^\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,2})?\s*[^\s\d.].*$"
_LONGEST_NAME = 40


class StrictModel(BaseModel):
    """A part of a file: no key that isn't known, no value of another type."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


def si(text: str | None, dimension: str) -> float | None:
    """Return a quantity in SI; None where there is none."""
    return None if text is None else units.parse_quantity(text, dimension)


def check_quantity(found: object, dimension: str, example: str, *, positive: bool) -> str:
    """Raise ValueError that says what is accepted, unless ``found`` is a quantity of this dimension."""
    words = f"{'an' if dimension[0] in 'aeiou' else 'a'} {dimension.replace('_', ' ')}"
    accepted = f'{words} with its unit ({", ".join(units.units_for(dimension))}), such as "{example}"'
    if not isinstance(found, str) or not re.fullmatch(_QUANTITY, found):
        raise ValueError(accepted)
    try:
        value = units.parse_quantity(found, dimension)
    except ValueError:
        raise ValueError(accepted) from None
    if positive and value <= 0:
        raise ValueError(f"{accepted}, and more than nothing")
    return found


def _reads(dimension: str, example: str, *, positive: bool = True) -> PlainValidator:
    def check(found: object) -> str:
        return check_quantity(found, dimension, example, positive=positive)

    return PlainValidator(check)


def _written(dimension: str, example: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "pattern": _QUANTITY, "description": dimension, "examples": [example]})


def _check_name(found: object) -> str:
    if not isinstance(found, str) or not re.fullmatch(CAR, found) or len(found) > _LONGEST_NAME:
        raise ValueError(f"at most {_LONGEST_NAME} lower-case letters, digits, - and _, a letter or digit first")
    return found


def _reads_day(example: str) -> BeforeValidator:
    def check(found: object) -> object:
        date = parse_date(found) if isinstance(found, str) else found
        if not isinstance(date, dt.date) or isinstance(date, dt.datetime):
            raise ValueError(f"a date such as {example}")
        return date

    return BeforeValidator(check)


def _check_unit(found: str) -> str:
    if units.find_unit(found) is None:
        raise ValueError("a unit that runlog knows, such as psi, lb, in, rpm, deg, click, hole")
    return found


def _check_cautions(found: str) -> str:
    if set(found) - set(catalogue.CAUTIONS):
        raise ValueError(f"letters of {', '.join(catalogue.CAUTIONS)}")
    return found


Length = Annotated[str, _reads("length", "19.5 in", positive=False), _written("length", "19.5 in")]
PositiveLength = Annotated[str, _reads("length", "105 in"), _written("length", "105 in")]
Mass = Annotated[str, _reads("mass", "2650 lb"), _written("mass", "2650 lb")]
Power = Annotated[str, _reads("power", "820 hp"), _written("power", "820 hp")]
Area = Annotated[str, _reads("area", "0.62 m²"), _written("area", "0.62 m²")]
AnyArea = Annotated[str, _reads("area", "0.1 m²", positive=False), _written("area", "0.1 m²")]
Speed = Annotated[str, _reads("speed", "150 mph"), _written("speed", "150 mph")]
EngineSpeed = Annotated[str, _reads("angular_speed", "7200 rpm"), _written("angular_speed", "7200 rpm")]
Stiffness = Annotated[str, _reads("stiffness", "250 lb/in"), _written("stiffness", "250 lb/in")]
AnyTemperature = Annotated[str, _reads("temperature", "165 °F", positive=False), _written("temperature", "165 °F")]
Pressure = Annotated[str, _reads("pressure", "7 psi"), _written("pressure", "7 psi")]
Duration = Annotated[str, _reads("time", "0.05 s"), _written("time", "0.05 s")]
AnyQuantity = Annotated[str, _written("a quantity of the channel's own dimension", "30 psi")]
Name = Annotated[
    str,
    PlainValidator(_check_name),
    WithJsonSchema({"type": "string", "pattern": f"^{CAR}$", "maxLength": _LONGEST_NAME, "examples": ["heron"]}),
]
_DATE = WithJsonSchema({"type": "string", "format": "date"})
Day = Annotated[dt.date, _reads_day("2031-04-12"), _DATE]
LastDay = Annotated[dt.date, _reads_day("2032-03-31"), _DATE]
"""of something that holds until then"""
Unit = Annotated[str, AfterValidator(_check_unit), Field(examples=["psi"])]
Cautions = Annotated[
    str,
    AfterValidator(_check_cautions),
    WithJsonSchema({"type": "string", "pattern": f"^[{''.join(catalogue.CAUTIONS)}]*$", "examples": ["WR"]}),
]
Positive = Annotated[float, Field(gt=0)]
