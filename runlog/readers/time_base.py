"""Finding the time of each sample: time columns, clocks, dates, or a sample rate."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog import units
from runlog.readers.cells import Kind, word_set
from runlog.readers.clock import DAY
from runlog.readers.headers import find_unit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from runlog.readers.headers import Heading

TIME_WORDS: Final = word_set(
    "time zeit t timestamp elapsed clock uhrzeit temps tiempo tempo tijd seconds secs sec millis milliseconds msec "
    "zeitstempel timecode"
)
"""Words for the time of a sample, in lower case."""
_NOT_TIME: Final = word_set(
    "lap shift injector injection ignition dwell reaction pulse on off open duty burn delay response lag coil spark "
    "charge opening closing fuel gap"
)
_COUNTERS: Final = word_set("x sample samples index no nr number point points record row count counter sequence n i")
_COARSEST_CLOCK: Final = 1.05
"""[s] a clock that shows whole seconds is behind by up to one"""
_DAYS: Final = (20_000.0, 80_000.0)
_DAY_STEP: Final = 1e-4
_LONG_GONE: Final = 1e8
"""[s] three years: no recording lasts so long"""


@dataclass(frozen=True)
class Timeline:
    """Seconds of each row by one time column; nan where the column is empty. ``column`` is None for a sample rate."""

    column: int | None
    unit: str
    seconds: NDArray[np.float64]
    is_clock: bool = False
    assumed: str = ""
    """what was taken for granted, for a warning"""


def wording(heading: Heading) -> float:
    """Say from 0 to 1 how much a heading sounds like the time of the samples."""
    words = [word for word in re.split(r"[^a-zäöü]+", heading.name.lower()) if word]
    unit = units.find_unit(heading.unit) if heading.unit else None
    in_time = unit is not None and unit.dimension == "time"
    if not words:
        return 0.9 if in_time else 0.3
    if set(words) & _NOT_TIME:
        return 0.0
    hits = [word for word in words if word in TIME_WORDS or units.find_unit(word, "time")]
    if not hits:
        return 0.0
    if len(hits) == len(words) or in_time:
        return 1.0
    return 0.7 if words[0] in TIME_WORDS or words[-1] in TIME_WORDS else 0.0


def is_milliseconds(heading: Heading) -> bool:
    """Tell whether a column is of milliseconds, by its name or its unit."""
    names = [heading.unit, *re.split(r"[^a-z]+", heading.name.lower())]
    found = [unit for name in names if name and (unit := units.find_unit(name, "time")) is not None]
    return bool(found) and all(unit.symbol == "ms" for unit in found)


def is_counter(heading: Heading, values: NDArray[np.float64]) -> bool:
    """Tell whether a column counts the samples."""
    words = set(re.split(r"[^a-z]+", heading.name.lower())) - {""}
    steps = np.diff(values[np.isfinite(values)])
    return bool(words) and words <= _COUNTERS and steps.size > 0 and bool(np.all(steps >= 1) and np.all(steps % 1 == 0))


def increases(values: NDArray[np.float64]) -> bool:
    """Tell whether the numbers never fall and mostly rise."""
    steps = np.diff(values[np.isfinite(values)])
    return steps.size > 0 and bool(np.all(steps >= 0)) and float(np.mean(steps > 0)) > 0.05


def from_numbers(column: int, heading: Heading, values: NDArray[np.float64], unit: str = "") -> Timeline:
    """Turn a column of numbers into seconds by its unit, or by the most plausible one, which is said."""
    written = unit or heading.unit
    known = find_unit(written) if written else None
    written_unit, assumed = known is not None, ""
    if known is None or known.dimension != "time":
        symbol, why = _plausible_unit(heading, values)
        remark = f" ({written!r} is not a unit of time)" if written else ""
        assumed = f"column {heading.name or column + 1!r}: no unit of time is written{remark}; taken as {symbol}{why}"
        written, known = symbol, units.unit_of(symbol)
    finite = values[np.isfinite(values)]
    if finite.size > 1 and not written_unit and _are_days(finite):
        assumed = f"column {heading.name or column + 1!r} counts in days; times are from the first sample"
        return Timeline(column, "days", (values - finite[0]) * DAY, assumed=assumed)
    if finite.size and known.to_si(float(finite[0])) > _LONG_GONE:
        remark = f"column {heading.name or column + 1!r} counts from a day long gone; times are from the first sample"
        assumed = f"{assumed}; {remark}" if assumed else remark
        values = values - finite[0]
    return Timeline(column, written, values if known.symbol == "s" else known.to_si(values), assumed=assumed)


def _are_days(finite: NDArray[np.float64]) -> bool:
    """Tell whether a time counts in days, as spreadsheets do: no logger takes ten thousand samples a second for hours.

    Days since 1900 that far on are dates from 1954 to 2119.
    """
    step = float(np.median(np.diff(finite)))
    return bool(_DAYS[0] < finite[0] and finite[-1] < _DAYS[1]) and 0.0 < step < _DAY_STEP


def _plausible_unit(heading: Heading, values: NDArray[np.float64]) -> tuple[str, str]:
    """Loggers sample faster than once in two seconds, so whole steps above one are not seconds."""
    for word in reversed(re.split(r"[^a-zµ]+", heading.name.lower())):
        unit = units.find_unit(word, "time") if word else None
        if unit is not None:
            return unit.symbol, ", after its name"
    finite = values[np.isfinite(values)]
    step = float(np.median(np.diff(finite))) if finite.size > 1 else 0.0
    whole = bool(np.all(finite % 1 == 0))
    if not whole or step < 2:
        return "s", ""
    return ("ms" if step <= 1000 else "us"), f", because it rises in steps of {step:g}"


def from_clock(column: int, kind: Kind, seconds: NDArray[np.float64], days: NDArray[np.float64]) -> Timeline:
    """Turn clock times or date-times into seconds from the first sample.

    A clock without dates that falls by more than half a day has passed midnight.
    """
    total = seconds.copy()
    dated = np.isfinite(days)
    if dated.any():
        total += DAY * (np.nan_to_num(days) - days[dated][0])
    else:
        valid = np.flatnonzero(np.isfinite(total))
        passed = np.cumsum(np.diff(total[valid], prepend=total[valid[:1]]) < -DAY / 2)
        total[valid] += DAY * passed
    finite = total[np.isfinite(total)]
    return Timeline(column, kind.value, total - (finite[0] if finite.size else 0.0), is_clock=True)


def from_rate(rows: int, rate_hz: float, start: float = 0.0, counter: NDArray[np.float64] | None = None) -> Timeline:
    """Give each row its time by a sample rate; a column that counts the samples keeps lost ones lost."""
    places = np.arange(rows, dtype=float) if counter is None else counter - counter[np.isfinite(counter)][0]
    return Timeline(None, "s", start + places / rate_hz)


def same_base(one: Timeline, other: Timeline) -> bool:
    """Tell whether two time columns tell the same time, apart from where they begin and how finely they are written."""
    both = np.isfinite(one.seconds) & np.isfinite(other.seconds)
    if both.sum() < 0.9 * max(np.isfinite(one.seconds).sum(), np.isfinite(other.seconds).sum()) or both.sum() < 2:
        return False
    difference = one.seconds[both] - other.seconds[both]
    if one.is_clock or other.is_clock:
        return bool(np.ptp(difference) <= max(_COARSEST_CLOCK, 1e-3 * np.ptp(one.seconds[both])))
    step = float(np.median(np.diff(one.seconds[both])))
    offset = 0.0 if abs((one.column or 0) - (other.column or 0)) > 1 else float(difference[0])
    return bool(np.max(np.abs(difference - offset)) <= 0.2 * step)


def named_after(heading: Heading, time_heading: Heading) -> bool:
    """Tell whether a time column carries a channel's name (``Time-Axial Accel`` beside ``Axial Accel``)."""
    own = re.sub(r"[\W_]+", " ", time_heading.name.lower()).strip()
    channel = re.sub(r"[\W_]+", " ", heading.name.lower()).strip()
    left = " ".join(word for word in own.split() if word not in TIME_WORDS)
    return bool(left) and left == channel


def usual_rate(seconds: Sequence[float] | NDArray[np.float64]) -> float:
    """Return the rate [Hz] of the median step; 0 for fewer than two samples."""
    steps = np.diff(np.asarray(seconds, dtype=float))
    step = float(np.median(steps)) if steps.size else 0.0
    return float(f"{1.0 / step:.9g}") if step > 0 else 0.0
