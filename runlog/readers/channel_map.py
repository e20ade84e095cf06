"""Channel maps: TOML written by the user that settles what the columns of a logger export are.

``ChannelMapModel`` is the published schema (``schemas/channel_map.schema.json``).
"""

from __future__ import annotations

import hashlib
import tomllib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Final

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from runlog import units
from runlog.problems import Problems
from runlog.vocabulary import CHANNEL_BY_NAME

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

IGNORE: Final = "ignore"
KEEP: Final = "keep"
"""no canonical channel: the column keeps its own name"""
_WORDS: Final = (IGNORE, KEEP)
_OTHER_FORM: Final[dict[str, type]] = {"string_type": dict, "model_type": str}


def _known_channel(name: str) -> str:
    if name not in _WORDS and name not in CHANNEL_BY_NAME:
        raise ValueError(f"unknown channel {name!r}; known: {', '.join((*_WORDS, *CHANNEL_BY_NAME))}")
    return name


def _known_unit(spelling: str) -> str:
    if units.find_unit(spelling) is None:
        raise ValueError(f"unknown unit {spelling!r}")
    return spelling


def _time_unit(spelling: str) -> str:
    if units.find_unit(spelling, "time") is None:
        raise ValueError(f"{spelling!r} is not a unit of time; accepted: {', '.join(units.units_for('time'))}")
    return spelling


ChannelName = Annotated[str, AfterValidator(_known_channel), Field(examples=["driveshaft_speed"])]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class ChannelRuleModel(_Model):
    """What a column is: its channel, and if need be its unit, a factor on the numbers as logged, and their sign.

    For a channel there may stand ``ignore``, which leaves the column out, or ``keep``: it keeps its own name.
    """

    channel: ChannelName | None = None
    unit: Annotated[str, AfterValidator(_known_unit)] | None = None
    scale: float = Field(default=1.0, gt=0)
    invert: bool = False


class TimeRuleModel(_Model):
    """Which column is the time and in which unit, or the sample rate where there is none."""

    column: str | None = None
    unit: Annotated[str, AfterValidator(_time_unit)] | None = None
    rate_hz: float | None = Field(default=None, gt=0)


class ChannelMapModel(_Model):
    """A channel map. Keys of ``channels`` are column names as the file writes them."""

    fingerprint: Annotated[str, Field(pattern="^[0-9a-f]{32}$")] | None = None
    """Of the only header that the map is for; without it the first file that has one of its columns."""
    channels: dict[str, ChannelName | ChannelRuleModel] = {}
    time: TimeRuleModel = TimeRuleModel()


@dataclass(frozen=True)
class ChannelRule:
    """The rule for one column; ``channel`` is None where only unit or sign are settled."""

    channel: str | None = None
    unit: str = ""
    scale: float = 1.0
    invert: bool = False

    @property
    def ignored(self) -> bool:
        """Tell whether the column is to be left out."""
        return self.channel == IGNORE

    @property
    def keeps_its_name(self) -> bool:
        """Tell whether the column is none of the canonical channels."""
        return self.channel == KEEP


@dataclass(frozen=True)
class ChannelMap:
    """A channel map ready for use."""

    rules: Mapping[str, ChannelRule] = field(default_factory=dict)
    time_column: str | None = None
    time_unit: str = ""
    rate_hz: float | None = None
    fingerprint: str = ""
    """of the only header that the map is for; empty: any"""

    @property
    def is_empty(self) -> bool:
        """Tell whether the map settles nothing."""
        return not self.rules and self.time_column is None and self.rate_hz is None

    def rule_for(self, *names: str) -> ChannelRule | None:
        """Return the rule for the first of a column's names that has one; case and how many blanks don't matter."""
        if not self.rules:
            return None
        by_name = {folded(name): rule for name, rule in self.rules.items()}
        return next((by_name[folded(name)] for name in names if folded(name) in by_name), None)

    def is_time(self, *names: str) -> bool:
        """Tell whether a column of these names is the one that the map calls the time."""
        wanted = folded(self.time_column or "")
        return bool(wanted) and wanted in map(folded, names)


def folded(name: str) -> str:
    """Return a column's name as names are compared: without case and without what blanks there are more than one."""
    return " ".join(name.split()).lower()


def read_channel_map(content: bytes, file: str) -> ChannelMap:
    """Read a channel map; ``FileFaults`` with every fault when it can't be accepted."""
    problems = Problems(file)
    try:
        table = tomllib.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        problems.add(f"byte {error.start}", "bytes that aren't UTF-8", "a TOML file in UTF-8")
    except tomllib.TOMLDecodeError as error:
        problems.add("", f"a fault in the TOML: {error}", "TOML 1.0")
    problems.raise_if_any()
    try:
        model = ChannelMapModel.model_validate(table)
    except ValidationError as error:
        for fault in error.errors(include_url=False):
            if isinstance(fault["input"], _OTHER_FORM.get(fault["type"], ())):
                continue  # a rule has two forms; this is the fault of not having the other one
            place = ".".join(str(part) for part in fault["loc"] if not str(part).startswith(("function", "Channel")))
            problems.add(f"key {place}", repr(fault["input"])[:60], fault["msg"].removeprefix("Value error, "))
    problems.raise_if_any()
    return ChannelMap(
        rules={name: _rule(rule) for name, rule in model.channels.items()},
        time_column=model.time.column,
        time_unit=model.time.unit or "",
        rate_hz=model.time.rate_hz,
        fingerprint=model.fingerprint or "",
    )


def _rule(rule: str | ChannelRuleModel) -> ChannelRule:
    if isinstance(rule, str):
        return ChannelRule(rule)
    return ChannelRule(rule.channel, rule.unit or "", rule.scale, rule.invert)


def fingerprint(names: Iterable[str], written_units: Iterable[str]) -> str:
    """Return what a header is recognised by: the same for the same names and units in the same order, case aside.

    >>> fingerprint(["Time", "RPM"], ["s", ""]) == fingerprint(["time ", "rpm"], ["S", ""])
    True
    """
    pairs = ("\x1f".join(map(folded, pair)) for pair in zip(names, written_units, strict=True))
    return hashlib.sha256("\x1e".join(pairs).encode()).hexdigest()[:32]
