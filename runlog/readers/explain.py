"""Why a logger file was understood as it was: what was weighed, what won, and what came next."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING, Final

from runlog.problems import FileFaults, Problems
from runlog.readers import binary, packed
from runlog.readers.cells import is_gap, split_line
from runlog.readers.channel_map import ChannelMap
from runlog.readers.lines import Layout, lines_of
from runlog.readers.logged import matched
from runlog.readers.logger import open_logger
from runlog.readers.recording import Opened, timing_of
from runlog.readers.timing import Timing, with_rate
from runlog.readers.understand import understand

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.readers.channels import Match

_LINES: Final = 20_000
"""lines in which words for missing samples are counted"""
_WORDS: Final = 5
NAMES: Final = {
    ",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", ".": "point", "": "none", '"': "double", "'": "single",
    " ": "blank",
}  # fmt: skip
_ENCODINGS: Final = {
    "utf-8": "its bytes are UTF-8, without a byte-order mark",
    "utf-8-sig": "it begins with the byte-order mark of UTF-8",
    "utf-16": "it begins with the byte-order mark of UTF-16",
    "utf-32": "it begins with the byte-order mark of UTF-32",
    "utf-16-le": "every second byte is zero, the high one last",
    "utf-16-be": "every second byte is zero, the high one first",
    "cp1252": "its bytes beyond ASCII are letters and signs in it, some where Latin-1 has none",
    "latin-1": "its bytes beyond ASCII are letters and signs in it",
    "cp850": "its bytes beyond ASCII are letters and signs in it",
    "mac-roman": "its bytes beyond ASCII are letters and signs in it",
}


@dataclass(frozen=True)
class Interpretation:
    """One whole interpretation of the file's bytes: its score 0…1 and what that is the product of."""

    encoding: str
    quote: str
    thousands: str
    time: str
    delimiter: str
    decimal: str
    score: float
    weights: tuple[tuple[str, float], ...]
    header_line: int
    first_data_line: int
    columns: int
    chosen: bool


@dataclass(frozen=True)
class Choice:
    """One thing that was decided, and why."""

    what: str
    chosen: str
    why: str


@dataclass(frozen=True)
class ChannelChoice:
    """What a column was taken for, how surely, what the numbers said, and the next-best candidate."""

    name: str
    canonical: str | None
    confidence: float
    unit: str
    unit_assumed: bool
    inverted: bool
    """its sign was changed"""
    why: str
    next_best: str | None
    next_confidence: float | None


@dataclass(frozen=True)
class Explanation:
    """How a logger file was understood. Interpretations are in order of their scores, empty for formats but text."""

    interpretations: tuple[Interpretation, ...]
    choices: tuple[Choice, ...]
    channels: tuple[ChannelChoice, ...]


def explain(
    content: bytes,
    file: str,
    channel_map: ChannelMap | None = None,
    rate_hz: float | None = None,
    day_first: bool | None = None,
    missing: frozenset[str] = frozenset(),
) -> Explanation:
    """Return how a logger file is understood, as far as reading it gets; it may be refused all the same."""
    choices: list[Choice] = []
    weighed: tuple[Interpretation, ...] = ()
    channels: tuple[ChannelChoice, ...] = ()
    problems = Problems(file)
    wish = with_rate(channel_map or ChannelMap(), rate_hz)
    try:
        opened_file = packed.unpack(content, file)
        if opened_file.form:
            choices.append(Choice("packing", opened_file.form, "by its first bytes"))
        content = opened_file.content
        form = binary.form_of(content)
        if form:
            choices.append(Choice("format", form, "by its first bytes"))
        else:
            weighed, about_text = _text(content, missing)
            choices += about_text
        opened = open_logger(content, problems, day_first, missing)
        timing = timing_of(opened, wish, problems)
        choices += _times(opened, timing, wish)
        columns = matched(opened.table, opened.block, timing, wish)
        channels = tuple(_channel(name, unit, match) for name, unit, match in columns)
    except FileFaults as faults:
        choices.append(Choice("refused", "here", faults.problems[0].found))
    return Explanation(weighed, tuple(choices), channels)


def _text(content: bytes, missing: frozenset[str]) -> tuple[tuple[Interpretation, ...], list[Choice]]:
    found = understand(content, missing)
    if found.text is None:
        return (), []
    best = found.layout
    weighed = tuple(_interpretation(layout, layout is best) for layout in found.weighed)
    if best is None:
        return weighed, [_encoding(found.text.encoding, ())]
    return weighed, [
        _encoding(found.text.encoding, found.weighed),
        *_table(found.text.data, best, found.weighed[1:], missing),
    ]


def _encoding(chosen: str, weighed: Sequence[Layout]) -> Choice:
    """Say why the encoding is this one, and the best score under the next one."""
    others: dict[str, float] = {}
    for layout in weighed:
        others.setdefault(layout.encoding, layout.score)
    own = others.pop(chosen, 0.0)
    nearest = max(others, key=lambda name: others[name], default=None)
    beside = f"; scores {own:.3f}, next: {nearest} with {others[nearest]:.3f}" if nearest else ""
    return Choice("encoding", chosen, _ENCODINGS.get(chosen, "") + beside)


def _interpretation(layout: Layout, chosen: bool) -> Interpretation:
    return Interpretation(
        encoding=layout.encoding,
        quote=layout.quote,
        thousands=layout.thousands,
        time=layout.time,
        delimiter=layout.delimiter,
        decimal=layout.decimal,
        score=round(layout.score, 4),
        weights=tuple((name, round(weight, 4)) for name, weight in layout.weights),
        header_line=layout.header_line,
        first_data_line=layout.first_data_line,
        columns=layout.width,
        chosen=chosen,
    )


def _table(data: bytes, best: Layout, others: Sequence[Layout], told: frozenset[str]) -> list[Choice]:
    nearest = max(others, key=lambda layout: layout.score, default=None)
    beside = f"; next: {_marks(nearest)} with {nearest.score:.3f}" if nearest else "; nothing else finds numbers"
    scored = f"scores {best.score:.3f}{beside}"
    if best.header_line:
        header = Choice("header", f"line {best.header_line}", "the line of names that scores best above the samples")
    else:
        header = Choice("header", "none", "no line of names above the samples")
    units = [cell for cell in best.unit_row if cell]
    unit_why = f"{len(units)} cells beside the header, such as {units[0]!r}" if units else "no line of units"
    words = Counter(_gap_words(data, best)).most_common(_WORDS)
    counted = ", ".join(f"{word!r} ({count})" for word, count in words)
    return [
        Choice("delimiter", NAMES[best.delimiter], scored),
        Choice("decimal mark", NAMES[best.decimal], scored),
        Choice("thousands mark", NAMES[best.thousands], "as scored with the decimal mark"),
        Choice("quotation mark", NAMES[best.quote], "as scored with the delimiter"),
        header,
        Choice("units row", "yes" if units else "none", unit_why),
        Choice("first samples", f"line {best.first_data_line}", "first line of numbers and times in the table"),
        Choice("missing-value words", counted or "none", f"{_said_of_gaps(best, told)}, in the first {_LINES:,} lines"),
    ]


def _marks(layout: Layout) -> str:
    grouped = f", thousands {NAMES[layout.thousands]}" if layout.thousands else ""
    quoted = ", single quotes" if layout.quote == "'" else ""
    return f"{NAMES[layout.delimiter]} and decimal {NAMES[layout.decimal]}{grouped}{quoted}, {layout.encoding}"


def _gap_words(data: bytes, layout: Layout) -> list[str]:
    lines = islice(lines_of(data, layout.data_start, quote=layout.quote), _LINES)
    cells = (cell for line in lines for cell in split_line(line.text, layout.delimiter, layout.quote))
    return [cell for cell in cells if cell and (is_gap(cell) or cell.lower() in layout.missing)]


def _said_of_gaps(layout: Layout, told: frozenset[str]) -> str:
    own = sorted(layout.missing - told)
    return "; ".join(
        [
            "cells that are known for gaps",
            *([f"told: {', '.join(map(repr, sorted(told)))}"] if told else []),
            *([f"again and again among numbers: {', '.join(map(repr, own))}"] if own else []),
        ]
    )


def _times(opened: Opened, timing: Timing, wish: ChannelMap) -> list[Choice]:
    choices = []
    for timeline in timing.timelines:
        if timeline.column is None:
            source = "the user" if wish.rate_hz else opened.preamble.rate_from or "the header"
            choices.append(Choice("time base", "sample rate", f"told by {source}; no column is the time"))
            continue
        heading = opened.table.headings[timeline.column]
        if wish.is_time(heading.name, heading.cell):
            why = "named by the channel map"
        elif opened.timing is not None:
            why = "the format says so"
        else:
            why = timeline.assumed or (
                "holds clock times" if timeline.is_clock else f"named so and rises; {timeline.unit}"
            )
        choices.append(Choice("time base", heading.name or f"column {timeline.column + 1}", why))
    if timing.breaks:
        choices.append(Choice("recordings", str(len(timing.breaks) + 1), "the clock begins anew"))
    return choices


def _channel(name: str, unit: str, match: Match) -> ChannelChoice:
    other = match.others[0] if match.others else (None, None)
    if match.canonical is None and match.why:
        why = match.why
    elif match.canonical is None:
        why = "nothing it sounds like fits" if match.others else "sounds like no known channel"
    elif match.confidence == 1.0:
        why = "by the channel map"
    else:
        why = match.why or "by its wording, unit and range"
    return ChannelChoice(
        name=name,
        canonical=match.canonical,
        confidence=round(match.confidence, 3),
        unit=match.unit.spoken if match.unit is not None else unit,
        unit_assumed=match.assumed,
        inverted=match.inverted,
        why=why,
        next_best=other[0],
        next_confidence=None if other[1] is None else round(other[1], 3),
    )
