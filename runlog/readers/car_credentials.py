"""What a car file says of papers and parts with a date or a ceiling, and of the checks of its release steps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Final, Literal, get_args

from pydantic import Field, model_validator

from runlog import units
from runlog.readers.fields import Duration, LastDay, Speed, StrictModel, si
from runlog.records import Credential

if TYPE_CHECKING:
    from collections.abc import Mapping

_WITHOUT_FT: Final = {"parachute": 660}
"""[ft] how far a run may go without it; nothing for the others. Common practice, no source: the rules win."""


CredentialName = Literal["chassis certificate", "licence", "belts", "helmet", "fire system", "parachute", "tyres"]
CREDENTIALS: Final = get_args(CredentialName)
"""what a car file can date or limit, in the order of pages"""
Check = Annotated[str, Field(min_length=1, max_length=80)]
CheckLists = dict[
    Literal["fire-up", "burnout", "60", "330", "660", "full"], Annotated[list[Check], Field(min_length=1)]
]


class CredentialModel(StrictModel):
    """A dated paper or part: until when it holds, and how quick and how fast it lets the car be."""

    expires: LastDay | None = Field(default=None, description="the last day that it holds")
    quickest: Duration | None = Field(default=None, description="elapsed time that it allows")
    quickest_at_ft: Literal[330, 660, 1000, 1320] = 1320
    highest_speed: Speed | None = None
    without_it_ft: Literal[0, 60, 330, 660, 1000] | None = Field(
        default=None, description="how far a run may go once it has expired; left out: 660 for a parachute, else 0"
    )
    note: str = Field(default="", max_length=200)

    @model_validator(mode="after")
    def _says_something(self) -> CredentialModel:
        if self.expires is None and self.quickest is None and self.highest_speed is None:
            raise ValueError("expires, quickest or highest_speed")
        if self.quickest is not None and units.parse_quantity(self.quickest, "time") <= 0:
            raise ValueError("a quickest time above nothing")
        return self


def credentials_of(models: Mapping[CredentialName, CredentialModel]) -> tuple[Credential, ...]:
    """Return the credentials in the order of pages."""
    return tuple(
        Credential(
            kind=kind,
            expires=model.expires,
            quickest=si(model.quickest, "time"),
            quickest_at_ft=model.quickest_at_ft,
            highest_speed=si(model.highest_speed, "speed"),
            without_it_ft=_WITHOUT_FT.get(kind, 0) if model.without_it_ft is None else model.without_it_ft,
            note=model.note,
        )
        for kind, model in sorted(models.items(), key=lambda item: CREDENTIALS.index(item[0]))
    )
