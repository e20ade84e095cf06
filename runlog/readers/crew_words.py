"""What the crew can say, one model for each kind; together they are the schema ``schemas/crew.schema.json``."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import Field, PlainSerializer, PlainValidator, WithJsonSchema

from runlog.readers.fields import Name, StrictModel
from runlog.readers.keys import parse_date, parse_datetime

_LONGEST = 600
_LONGEST_NAME = 60


def _date(found: object) -> dt.date:
    date = parse_date(found) if isinstance(found, str) else None
    if date is None:
        raise ValueError("a date such as 2031-04-12")
    return date


def _moment(found: object) -> dt.datetime:
    moment = parse_datetime(found) if isinstance(found, str) else None
    if moment is None:
        raise ValueError("a local date and time such as 2031-04-12T10:05")
    return moment


def _words(found: object) -> str:
    if not isinstance(found, str) or not found.strip() or len(found) > _LONGEST:
        raise ValueError(f"words, at most {_LONGEST} characters")
    return " ".join(found.split())


def _person(found: object) -> str:
    if not isinstance(found, str) or not found.strip() or len(found) > _LONGEST_NAME:
        raise ValueError(f"a name, at most {_LONGEST_NAME} characters")
    return " ".join(found.split())


Date = Annotated[
    dt.date,
    PlainValidator(_date),
    PlainSerializer(dt.date.isoformat, return_type=str),
    WithJsonSchema({"type": "string", "format": "date"}),
]
Moment = Annotated[
    dt.datetime,
    PlainValidator(_moment),
    PlainSerializer(dt.datetime.isoformat, return_type=str),
    WithJsonSchema({"type": "string", "description": "local date and time, ISO 8601 without a zone"}),
]
Words = Annotated[
    str, PlainValidator(_words), WithJsonSchema({"type": "string", "minLength": 1, "maxLength": _LONGEST})
]
Person = Annotated[
    str, PlainValidator(_person), WithJsonSchema({"type": "string", "minLength": 1, "maxLength": _LONGEST_NAME})
]
ItemName = Annotated[str, Field(min_length=1, max_length=_LONGEST_NAME)]
"""an adjustable's name, as the car file has it"""
Step = Literal["fire-up", "burnout", "60", "330", "660", "full"]


class CrewModel(StrictModel):
    """What everything that is said has in common."""

    what: str
    car: Name
    date: Date = Field(description="the day that it is about")
    run: int | None = Field(default=None, ge=1, le=9999, description="the run of that day that it is about")
    at: Moment = Field(description="when it was said")
    by: Person | None = Field(default=None, description="who said it")


class ItemModel(CrewModel):
    """Something found that must be dealt with."""

    what: Literal["item"]
    text: Words
    due: Literal["stop", "before next run", "at the shop"] = "before next run"
    settings: list[ItemName] | None = Field(
        default=None,
        description="adjustables whose setting at that run is held to have caused a stop item, and is barred until "
        "released; left out: those changed since the last clean run; an empty list: none",
    )


class ItemClosedModel(CrewModel):
    """An open item that was dealt with."""

    what: Literal["item_closed"]
    item: str = Field(
        pattern="^[0-9a-f]{12}$",
        description="the identity of the item: the first twelve digits of the SHA-256 of its content as JSON, keys "
        "sorted, without what has its default, at with seconds",
    )
    text: Words | None = Field(default=None, description="what was done")


class CheckModel(CrewModel):
    """A check of a release step that was made and found good, or found to be no longer good."""

    what: Literal["check"]
    step: Step
    check: Words
    good: bool = True


class SignOffModel(CrewModel):
    """A release step passed, by someone who puts a name to it."""

    what: Literal["sign_off"]
    by: Person = Field(description="who signs")
    step: Step
    checks: list[Words] = Field(min_length=1, description="the step's checks, all found good")
    finish_ft: Literal[330, 660, 1000, 1320] | None = Field(default=None, description="of a full run: where it ended")
    text: Words | None = None


class StartAgainModel(CrewModel):
    """The car goes back to a release step: a repair, a replaced part, or doubt."""

    what: Literal["start_again"]
    step: Step = Field(description="the first step that has to be passed again")
    text: Words


class SettingReleasedModel(CrewModel):
    """A barred setting that may be run again, on the word of someone who puts a name to it."""

    what: Literal["setting_released"]
    by: Person = Field(description="who releases it")
    setting: ItemName
    value: str = Field(min_length=1, max_length=_LONGEST_NAME, description="the setting as the crew says it")
    text: Words


class EffectModel(StrictModel):
    """What an answer does to how a run's figures are taken."""

    do: Literal[
        "spoil", "pulled_on", "no_lift", "no_trace", "station_pressure", "slip_speed", "channel", "columns", "sheet"
    ]
    text: Words | None = Field(default=None, description="reason, lane, channel, item or header, as it needs one")
    value: float | None = Field(default=None, description="distance that still counts [ft], factor, or setting")
    unit: Words | None = Field(default=None, description="of a setting")
    slip: Words | None = Field(
        default=None, description="digest of the slip's times: it holds as long as the run's slip has these"
    )
    columns: dict[Words, Words] | None = Field(
        default=None, description="what columns of a logger's file with the header of that digest are, by their names"
    )


class OfferedModel(StrictModel):
    """An answer that could have been given."""

    key: str = Field(pattern="^[a-z]$")
    text: Words
    effect: EffectModel | None = None


class AnswerModel(CrewModel):
    """An answer to a question about a run, or about all runs of a day; the newest to a question holds."""

    what: Literal["answer"]
    question: Words = Field(description="the question's identity")
    key: str = Field(pattern="^[a-z]$", description="the answer's key")
    asked: Words = Field(description="the question as it was put")
    answered: Words = Field(description="what the key says")
    effect: EffectModel | None = None
    offered: list[OfferedModel] = Field(default=[], description="all answers, so that another can be given later")


class CombinationModel(CrewModel):
    """A part that makes the car another one: from this day, and from this run on, it is in the car."""

    what: Literal["combination"]
    part: Literal["engine", "converter", "clutch", "transmission", "gear set", "final drive", "tyre set", "chassis"]
    name: Words = Field(description="which one, such as a number stamped on it")
