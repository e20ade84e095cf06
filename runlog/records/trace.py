"""What a logger leaves, and what its traces tell."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    import numpy as np
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class LoggedChannel:
    """One logged channel with its own sample times [s]; values in SI where the unit is known, else as logged."""

    name: str
    """as in the file, made unique where the file repeats it"""
    canonical: str | None
    unit: str
    """as the file wrote it; empty if it didn't"""
    confidence: float
    """0…1 that ``canonical`` is right"""
    time: FloatArray
    values: FloatArray


@dataclass(frozen=True)
class Contender:
    """A column that may be a canonical channel: how surely, 0…1, and what speaks for it in words."""

    name: str
    confidence: float
    why: str


@dataclass(frozen=True)
class CloseCall:
    """A canonical channel that several columns may be, nearly as surely; the first of them was taken."""

    canonical: str
    contenders: tuple[Contender, ...]


@dataclass(frozen=True)
class TimeBase:
    """A time column of a logger file: where it begins and ends [s] and its usual rate [Hz]."""

    column: str
    unit: str
    start: float
    end: float
    rate_hz: float


@dataclass(frozen=True)
class LoggerFile:
    """What a logger export was understood to be."""

    encoding: str
    delimiter: str
    decimal: str
    header_line: int
    """counted from 1; 0: the file has no header"""
    first_data_line: int
    rows: int
    times: tuple[TimeBase, ...]
    channels: tuple[LoggedChannel, ...]
    started_at: dt.datetime | None
    """local start of the recording, where the file tells it"""
    fingerprint: str
    """of the header: a channel map is remembered by it"""
    warnings: tuple[str, ...] = ()
    order_guessed: bool = False
    """whether day and month of the start may be the other way round"""
    close_calls: tuple[CloseCall, ...] = ()


@dataclass(frozen=True)
class Samples:
    """A channel as the signal functions see it: times [s] strictly increasing, values [SI], no gaps written as nan."""

    time: FloatArray
    values: FloatArray


@dataclass(frozen=True)
class Shift:
    """A gear change: when after launch [s], engine speed just before [rad/s], distance [m]."""

    time: float
    engine_speed: float
    distance: float | None


SHAKING: Final = "tyre shake suspected"
"""the condition of an alarm that names what was seen"""


def alarm_name(channel: str, condition: str) -> str:
    """Return an alarm in words: the channel and its condition; what names itself stands without its channel."""
    return condition if condition == SHAKING else f"{channel.replace('_', ' ')} {condition}".rstrip()


@dataclass(frozen=True)
class Alarm:
    """A limit that was passed: ``time`` [s] after launch; value and limit in SI, None where there is no number.

    ``kind`` is ``low``, ``high`` or ``seen``: something that shouldn't happen was. ``condition`` says when the limit
    holds, written to follow the channel's name; ``action`` what to do.
    """

    channel: str
    kind: str
    time: float
    value: float | None
    limit: float | None
    condition: str = ""
    action: str = ""


@dataclass(frozen=True)
class TraceEvent:
    """Something that happened, seen in a trace: ``name`` is one word of ``signals.happenings``.

    ``time`` [s] after launch, negative before it; ``distance`` [m] from rest, 0 before the launch, None where the trace
    shows no motion; ``confidence`` 0…1 that it happened.
    """

    name: str
    time: float
    distance: float | None
    confidence: float
    text: str
    until: float | None = None
    """[m] from rest where it ended, of what lasts"""


@dataclass(frozen=True)
class SplitBasis:
    """What a run's trace tells of its k splits, whatever is known of the car's six calibration parameters θ.

    The split times given θ are normal about ``times + slopes @ θ``; of θ itself the trace has the normal likelihood
    with ``information`` (inverse variance) and ``score`` (information times mean).
    """

    feet: tuple[int, ...]
    times: FloatArray
    """[s] (k,)"""
    slopes: FloatArray
    """(k, 6)"""
    covariance: FloatArray
    """[s²] (k, k)"""
    information: FloatArray
    """(6, 6)"""
    score: FloatArray
    """(6,)"""
    speeds: FloatArray
    """[m/s] (k,) at the splits"""
    ground_time: float | None = None
    """[s] from first motion until 60 ft of ground are covered, if θ were zero; None: never covered"""
    ground_slopes: FloatArray | None = None
    """(6,) of that time"""
    ground_variance: float = 0.0
    """[s²] of that time given θ, the doubt of the first motion included"""


@dataclass(frozen=True)
class Rises:
    """What a launch is by each of the S shapes in which its push may have risen, S of each.

    ``likelihood`` of the samples up to a factor; the instant of first motion and its sd [s].
    """

    likelihood: tuple[float, ...]
    times: tuple[float, ...]
    sds: tuple[float, ...]


@dataclass(frozen=True)
class TraceFindings:
    """What a trace tells of a run. Times are seconds after launch unless stated."""

    launch_time: float | None = None
    """[s] of the first motion on the logger's own clock"""
    launch_time_sd: float | None = None
    rises: Rises | None = None
    """the first motion by each shape of the rise, about ``launch_time``, so that other launches of the car can be
    brought in; None where no accelerometer shows it"""
    release_time: float | None = None
    """when the launch switch was released, about the first motion"""
    shaft_time: float | None = None
    """when the driveshaft began to turn, about the first motion: the tyre's wrap turns it before the car moves"""
    beam_time: float | None = None
    """when the car had covered the rollout that the track file tells, about the first motion"""
    beam_time_sd: float | None = None
    launch_engine_speed: float | None = None
    """[rad/s]"""
    peak_acceleration: float | None = None
    """[m/s²]"""
    peak_slip: float | None = None
    """driven tyre, SAE J670 sense: ω/ω₀ − 1"""
    lift_time: float | None = None
    lift_distance: float | None = None
    """[m from rest]"""
    shake_suspected: bool | None = None
    """None: the rate doesn't allow to tell"""
    shifts: tuple[Shift, ...] = ()
    alarms: tuple[Alarm, ...] = ()
    braking: tuple[float, float] | None = None
    """strongest deceleration over a second after the pull [m/s²], and the speed that it began at [m/s]"""
    last_gear_ratio: float | None = None
    """engine over driveshaft speed after the last shift; None where one of them wasn't logged"""
    levels: Mapping[str, float] = field(default_factory=dict)
    """median of each known channel during the pull, in SI: another unit shows in it"""
    not_logged: tuple[str, ...] = ()
    """watched channels that the file didn't hold"""
    splits: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    """distance in feet → (time from the beam [s], its standard deviation [s])"""
    basis: SplitBasis | None = None
    """what the splits rest on, so that what other runs teach of the car can be brought in"""
    events: tuple[TraceEvent, ...] = ()
    distance: FloatArray | None = None
    """[m] from rest, on the common time below"""
    speed: FloatArray | None = None
    time: FloatArray | None = None
    distance_sd: FloatArray | None = None
    """[m] of the distance at every step, and [m/s] of the speed"""
    speed_sd: FloatArray | None = None
    warnings: tuple[str, ...] = ()
