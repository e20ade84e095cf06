"""From columns with a time to logged channels: gaps, repeated times, units, canonical names."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.readers import channels
from runlog.readers.cells import to_number
from runlog.readers.channel_map import folded
from runlog.readers.channels import Candidate, Match
from runlog.readers.headers import as_written
from runlog.readers.missing import without_marks
from runlog.readers.timing import REMEDY
from runlog.readers.witnesses import signs_and_axes
from runlog.records import CloseCall, LoggedChannel

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from runlog.problems import Problems
    from runlog.readers.channel_map import ChannelMap, ChannelRule
    from runlog.readers.columns import Block
    from runlog.readers.timing import Table, Timing

_FEW: Final = 0.1
"""share of samples that may fall on a time already taken and be left out"""
_STRAY: Final = 0.01
"""share of the lines that may hold a cell more than the header before it counts as a column"""
_BEYOND: Final = 1e30
"""A number further from nought is a fault of the file, in any unit; its square and products would overflow."""
_SHOWN: Final = 12
"""warnings about single columns before they are summed up"""


_MISSING: Final = "; with --missing WORD a word means no sample"


@dataclass(frozen=True)
class _Source:
    """A column that becomes a channel."""

    place: int
    name: str
    unit: str
    rule: ChannelRule | None
    values: NDArray[np.float64]
    written: str
    """the name without a number that it was given to be told from another"""


def make_channels(
    table: Table, block: Block, timing: Timing, wish: ChannelMap, problems: Problems
) -> tuple[tuple[LoggedChannel, ...], tuple[CloseCall, ...], tuple[str, ...]]:
    """Return the channels, the close calls among them, and what the user should know about them."""
    sources, remarks = _sources(table, block, timing, wish)
    if not sources:
        beside = f" ({'; '.join(remarks[:_SHOWN])})" if remarks else ""
        problems.add("", f"no column of numbers beside the time{beside}", "at least one logged channel")
        return (), (), ()
    matches, close, warnings = _matches(sources, timing)
    _check_map(wish, table, warnings)
    strict = [_strictly_rising(timeline.seconds) for timeline in timing.timelines]
    made = [_channel(timing, source, match, strict) for source, match in zip(sources, matches, strict=True)]
    _check_repeats(made, problems, warnings)
    warnings += [
        f"column {source.name!r}: {_written(source.unit)}; taken as {match.unit.spoken} for {match.canonical}"
        for source, match in zip(sources, matches, strict=True)
        if match.assumed and match.unit is not None and match.unit.symbol != "1"
    ]
    said = (*_shortened(remarks), *_rows_without_time(timing, table), *warnings)
    return tuple(channel for channel, _ in made), tuple(close), said


def _written(unit: str) -> str:
    return f"the unit {unit!r} isn't known" if unit else "no unit is written"


def matched(table: Table, block: Block, timing: Timing, wish: ChannelMap) -> list[tuple[str, str, Match]]:
    """Return name, unit as written, and match of every column that becomes a channel."""
    sources, _ = _sources(table, block, timing, wish)
    matches, *_ = _matches(sources, timing)
    return [(source.name, source.unit, match) for source, match in zip(sources, matches, strict=True)]


def _sources(table: Table, block: Block, timing: Timing, wish: ChannelMap) -> tuple[list[_Source], list[str]]:
    sources, remarks = [], []
    told = _told_numbers(table)
    names = {folded(heading.name) for heading in table.headings} if wish.rules else ()
    for place, (heading, column) in enumerate(zip(table.headings, block.columns, strict=True)):
        if place in timing.used:
            continue
        # a cell that is another column's name means that one
        rule = wish.rule_for(heading.name, "" if folded(heading.cell) in names else heading.cell)
        if rule is not None and rule.ignored:
            continue
        name = heading.name or f"column {place + 1}"
        values, beyond = _within_reason(table.values[place])
        if beyond:
            remarks.append(f"column {name!r}: {beyond} numbers beyond {_BEYOND:g}, as no sensor shows: taken as gaps")
        values, marks = without_marks(values, told)
        if marks:
            shown = ", ".join(f"{value:.10g} ({count} times)" for value, count in marks)
            remarks.append(f"column {name!r} reads {shown}, as loggers do without a sample: taken as gaps")
        count = int(np.count_nonzero(np.isfinite(values)))
        words = values.size - column.empty - count - beyond - sum(times for _, times in marks)
        if count == 0 and not words:
            if heading.name and not table.layout.unit_row[place]:
                remarks.append(f"column {name!r} is empty and was left out")
            continue
        if not heading.name and count <= max(1.0, _STRAY * values.size):
            remarks.append(f"{name!r} has no name and hardly a cell ({count} of {values.size}): left out")
            continue
        if count <= column.odd:
            some = f", such as {column.example!r}, beside {count} numbers" if count and column.example else ""
            remarks.append(f"column {name!r} holds words{some} and was left out{_MISSING if some else ''}")
            continue
        if words:
            example = column.example or column.gap_word
            shown = f", such as {example!r}" if example else ""
            remarks.append(
                f"column {name!r}: {words} of {values.size} cells hold words, not numbers{shown}: taken as gaps"
            )
        unit = rule.unit if rule is not None and rule.unit else heading.unit
        sources.append(_Source(place, name, unit, rule, values, as_written(name, heading.cell)))
    return sources, remarks


def _told_numbers(table: Table) -> frozenset[float]:
    """Return the numbers among the words that the user says mean no sample."""
    numbers = (to_number(word, table.layout.decimal) for word in table.layout.missing)
    return frozenset(number for number in numbers if number is not None)


def _within_reason(values: NDArray[np.float64]) -> tuple[NDArray[np.float64], int]:
    """Return the numbers with a gap where one is beyond anything, and how many were."""
    beyond = np.abs(values) > _BEYOND
    count = int(np.count_nonzero(beyond & np.isfinite(values))) if beyond.any() else 0
    return (np.where(beyond, np.nan, values), count) if count else (values, 0)


def _matches(sources: Sequence[_Source], timing: Timing) -> tuple[list[Match], list[CloseCall], list[str]]:
    candidates = [_candidate(source, timing) for source in sources]
    system = channels.usual_system(source.unit for source in sources)
    warnings: list[str] = []
    ordered: dict[int, Match] = {}
    taken: set[str] = set()
    for place, source in enumerate(sources):
        if source.rule is None or source.rule.channel is None:
            continue
        if source.rule.keeps_its_name:
            ordered[place] = channels.kept(candidates[place], source.rule.unit)
            continue
        if source.rule.channel in taken:
            warnings.append(f"the channel map names {source.rule.channel} twice; {source.name!r} keeps its own name")
            continue
        taken.add(source.rule.channel)
        ordered[place] = channels.overrule(candidates[place], source.rule.channel, source.rule.unit, system)
    rest = [place for place in range(len(sources)) if place not in ordered]
    matched, close, odd = channels.match_all([candidates[place] for place in rest], frozenset(taken))
    found = dict(zip(rest, matched, strict=True)) | ordered
    matches, remarks = signs_and_axes(candidates, [found[place] for place in range(len(sources))], ordered.keys())
    said = (text for call in close for text in channels.warning_of(call))
    return matches, close, [*warnings, *said, *odd, *remarks]


def _candidate(source: _Source, timing: Timing) -> Candidate:
    """Return the column with its numbers as the user says they are to be taken."""
    factor = 1.0
    if source.rule is not None:
        factor = -source.rule.scale if source.rule.invert else source.rule.scale
    values = source.values if factor == 1.0 else source.values * factor
    seconds = timing.timelines[timing.owner[source.place]].seconds
    return Candidate(source.name, source.unit, values, seconds, source.written)


def _strictly_rising(seconds: NDArray[np.float64]) -> bool:
    return bool(np.all(np.diff(seconds[np.isfinite(seconds)]) > 0))


def _channel(timing: Timing, source: _Source, match: Match, strict: Sequence[bool]) -> tuple[LoggedChannel, int]:
    """Return the channel and how many samples were left out because their time was taken."""
    values, rule = source.values, source.rule
    if rule is not None and (rule.scale != 1.0 or rule.invert):
        values = values * (-rule.scale if rule.invert else rule.scale)
    if match.inverted:
        values = -values
    if match.unit is not None and (match.unit.factor != 1.0 or match.unit.offset != 0.0):
        values = match.unit.to_si(values)
    owner = timing.owner[source.place]
    time = timing.timelines[owner].seconds
    valid = np.isfinite(values) & np.isfinite(time)
    if not valid.all():
        time, values = time[valid], values[valid]
    lost = 0
    if not strict[owner]:
        fresh = np.diff(time, prepend=-np.inf) > 0
        lost = int(time.size - np.count_nonzero(fresh))
        time, values = time[fresh], values[fresh]
    return LoggedChannel(source.name, match.canonical, source.unit, match.confidence, time, values), lost


def _check_repeats(made: Sequence[tuple[LoggedChannel, int]], problems: Problems, warnings: list[str]) -> None:
    """Say how many samples fell on a time already taken; too many mean that the clock is too coarse for the rate."""
    worst, lost = max(made, key=lambda pair: pair[1])
    if not lost:
        return
    total = worst.time.size + lost
    if lost > max(_FEW * total, 1):
        problems.add(
            f"column {worst.name!r}",
            f"{lost} of {total} samples at a time that the sample before them already has",
            "a time for each sample",
            f"The time is written too coarsely. {REMEDY}",
        )
    warnings.append(
        f"repeated times: up to {lost} of {total} samples of a channel left out, the first at each time kept"
    )


def _check_map(wish: ChannelMap, table: Table, warnings: list[str]) -> None:
    names = {folded(name) for heading in table.headings for name in (heading.name, heading.cell)}
    missing = [name for name in wish.rules if folded(name) not in names]
    if missing:
        warnings.append(f"the channel map names columns that are not in the file: {', '.join(map(repr, missing))}")


def _rows_without_time(timing: Timing, table: Table) -> list[str]:
    if any(timeline.seconds.size != table.rows for timeline in timing.timelines):
        return []  # each time base has lines of its own
    timed = np.zeros(table.rows, dtype=bool)
    for timeline in timing.timelines:
        timed |= np.isfinite(timeline.seconds)
    missing = int(table.rows - np.count_nonzero(timed)) - timing.repeated
    return [f"{missing} line(s) without a time left out"] if missing else []


def _shortened(remarks: Sequence[str]) -> list[str]:
    more = len(remarks) - _SHOWN
    return [*remarks[:_SHOWN], f"… and {more} more remarks on columns"] if more > 1 else list(remarks)
