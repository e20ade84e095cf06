"""Track files: TOML with quantities written with their unit.

The models below are the published schema (``schemas/track.schema.json``).
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from runlog import units
from runlog.constants import FOOT
from runlog.readers.fields import Length, Name, PositiveLength, StrictModel, si
from runlog.readers.toml import read_file
from runlog.records import USUAL_TRAPS, Track, Trap

_LONGEST_TRAP = 200 * FOOT
"""[m] beyond which a length is taken for a mistake. Common practice, no source."""


class TrapModel(StrictModel):
    """A speed trap whose speed the slip prints at a beam: the average over its length."""

    beam_ft: Literal[660, 1320]
    length: PositiveLength = Field(default="66 ft", description="of the trap")
    past: Length = Field(default="0 ft", description="how far behind the beam the trap ends; 0 ft: at the beam")

    @model_validator(mode="after")
    def _holds_the_beam(self) -> TrapModel:
        length, past = (units.parse_quantity(text, "length") for text in (self.length, self.past))
        if not 0.0 <= past < length:
            raise ValueError("a past of 0 ft or more and less than the length: the trap begins before its beam")
        if length > _LONGEST_TRAP:
            raise ValueError(f"a trap length of {_LONGEST_TRAP / FOOT:.0f} ft or less")
        return self


class TrackModel(StrictModel):
    """A track file."""

    name: Name
    elevation: Length
    heading_deg: float | None = Field(default=None, ge=0, lt=360)
    finish_ft: Literal[330, 660, 1000, 1320] = 1320
    rollout: PositiveLength = "9 in"
    guard_beam: PositiveLength | None = Field(
        default=None, description="from rest to the guard beam, which starts the clock at the latest"
    )
    surface: str = Field(default="", max_length=400)
    trap: list[TrapModel] = Field(
        default=[], description="speed traps that aren't the usual 66 ft that end at their beam"
    )

    @model_validator(mode="after")
    def _each_trap_once(self) -> TrackModel:
        if len({trap.beam_ft for trap in self.trap}) < len(self.trap):
            raise ValueError("each trap's beam_ft once")
        return self

    @model_validator(mode="after")
    def _clock_starts_in_time(self) -> TrackModel:
        guard = si(self.guard_beam, "length")
        if guard is not None and guard < units.parse_quantity(self.rollout, "length"):
            raise ValueError("a guard_beam that is no nearer than the rollout: it starts the clock at the latest")
        return self


class TrackFileModel(StrictModel):
    """A track file: one table with everything that is known of the track."""

    track: TrackModel


def _trap(model: TrackModel, usual: Trap) -> Trap:
    """Return the trap at a beam as the track file has it, the usual one where it says nothing."""
    told = next((trap for trap in model.trap if trap.beam_ft == usual.beam_ft), None)
    if told is None:
        return usual
    return Trap(told.beam_ft, *(units.parse_quantity(text, "length") for text in (told.length, told.past)))


def read_track(content: bytes, file: str) -> Track:
    """Read a track file; ``FileFaults`` with every fault when it can't be accepted."""
    model = read_file(content, file, TrackFileModel).track
    return Track(
        name=model.name,
        elevation=units.parse_quantity(model.elevation, "length"),
        heading_deg=model.heading_deg,
        finish_ft=model.finish_ft,
        rollout=units.parse_quantity(model.rollout, "length"),
        guard_beam=si(model.guard_beam, "length"),
        surface=model.surface,
        traps=tuple(_trap(model, usual) for usual in USUAL_TRAPS),
    )
