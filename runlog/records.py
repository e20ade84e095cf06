"""The plain records that the rooms of the house hand to each other.

All numbers are SI unless the name says otherwise; ``None`` means not known. Arrays are one-dimensional numpy float64.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    import numpy as np
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]


# --- what is known before a run -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Track:
    """A track: where it is and where its timing system measures."""

    name: str
    elevation: float
    """[m]"""
    heading_deg: float | None = None
    """direction of travel, degrees clockwise from true north"""
    finish_ft: int = 1320
    rollout: float = 0.2286
    """[m] from rest at the stage beam to where the clock starts"""
    surface: str = ""


@dataclass(frozen=True)
class Hole:
    """A bracket hole: its label and its place, x forward of the rear axle, z up from the ground [m]."""

    label: str
    x: float | None = None
    z: float | None = None


@dataclass(frozen=True)
class Adjustable:
    """Something that can be changed at the track. Values, limits and step are in ``unit``, what the crew speaks in."""

    name: str
    unit: str
    step: float
    low: float | None = None
    high: float | None = None
    minutes: float = 10.0
    cautions: str = ""
    """letters of ``catalogue.CAUTIONS``"""
    acts: str = "launch"
    """``launch``, ``early`` or ``power``, see ``catalogue``"""
    curved: bool = False
    holes: tuple[Hole, ...] = ()
    """in order; a setting is held as the position 0, 1, 2 … in this list"""
    prior_mean_s: tuple[float, ...] = ()
    """[s] expected effect of one step on each increment, where the shop knows better than the default"""
    prior_sd_s: tuple[float, ...] = ()
    x: float | None = None
    """[m] where ballast sits: forward of the rear axle"""
    y: float | None = None
    """[m] left of the centre line"""
    z: float | None = None
    """[m] up from the ground"""

    def label(self, value: float) -> str:
        """Return the value as the crew says it: a hole's label or the number."""
        if self.holes and value == int(value) and 0 <= int(value) < len(self.holes):
            return self.holes[int(value)].label
        return f"{value:g}"


@dataclass(frozen=True)
class ChannelLimit:
    """A limit of the car file for a logged channel [SI of the channel]."""

    channel: str
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class RearSuspension:
    """What holds the rear axle: ``four-link``, ``ladder bar`` or ``torque arm``."""

    layout: str = "four-link"
    pivot_x: float | None = None
    """[m] the ladder bar's front pivot or the torque arm's front mount, forward of the rear axle"""
    pivot_z: float | None = None
    """[m] up from the ground"""
    slide_deg: float = 0.0
    """direction in which a torque arm's mount slides, upward to the front"""


@dataclass(frozen=True)
class Driveshaft:
    """The driveshaft in side view."""

    length: float | None = None
    """[m] between the joints"""
    front_higher_by: float | None = None
    """[m] height of the front joint over the rear one at ride height"""
    transmission_deg: float | None = None
    """inclination of the transmission's output, positive when its front is higher"""


@dataclass(frozen=True)
class WheelieBars:
    """Wheelie bars on the centre line."""

    length: float
    """[m] their wheels behind the rear axle"""
    stiffness: float | None = None
    """[N/m] vertical, at their wheels; None: not known"""


@dataclass(frozen=True)
class Powertrain:
    """What a car file says of engine, converter or clutch, and shifts; None where it doesn't."""

    power_curve: tuple[tuple[float, float], ...] = ()
    """engine speed [rad/s] and power [W], as rated"""
    peak_power_at: float | None = None
    """[rad/s]"""
    converter_stall: float | None = None
    """[rad/s] engine speed at full throttle against a held output"""
    converter_torque_ratio: float | None = None
    """at stall"""
    clutch_release: float | None = None
    """[rad/s] engine speed that a clutch slips at until the car has caught up"""
    shift_speeds: tuple[float, ...] = ()
    """[rad/s] one for all shifts, or one each"""
    shift_time: float | None = None
    """[s] without drive at each shift"""
    engine_inertia: float | None = None
    """[kg m²]"""
    efficiency: float | None = None
    """0…1 of gears and axle"""


@dataclass(frozen=True)
class Tyre:
    """What a car file says of the driven tyres; None where it doesn't."""

    growth: float | None = None
    """[1/(m/s)²] share that the circumference gains per square of speed"""
    slip: float | None = None
    """0…1 under power, SAE J670 sense: ω/ω₀ − 1"""
    friction: float | None = None
    """under the load at rest"""
    load_sensitivity: float | None = None
    """friction goes with load to the power of minus this"""
    speed_limit: float | None = None
    """[m/s] the maker's, as road speed"""


@dataclass(frozen=True)
class Car:
    """A car file. The first six fields are the least that is needed; the rest makes more of the program work."""

    name: str
    race_mass: float
    """[kg] with driver and fuel, as raced"""
    wheelbase: float
    """[m]"""
    power: float
    """[W]"""
    tyre_circumference: float
    """[m] driven tyre"""
    final_drive: float
    power_at: str = "engine"
    """``engine`` or ``wheels``"""
    power_standard: str = "SAE J1349"
    aspiration: str = "natural"
    """``natural``, ``supercharged``, ``turbocharged`` or ``nitrous``"""
    launch: str = "transmission brake"
    """``transmission brake``, ``foot brake`` or ``clutch``"""
    description: str = ""
    gear_ratios: tuple[float, ...] = ()
    front_share: float | None = None
    """share of the weight on the front wheels, 0…1"""
    centre_of_gravity_height: float | None = None
    """[m]"""
    drag_area: float | None = None
    """[m²] drag coefficient times frontal area"""
    adjustables: tuple[Adjustable, ...] = ()
    limits: tuple[ChannelLimit, ...] = ()
    front_track: float | None = None
    """[m] between the middles of the tyres"""
    rear_track: float | None = None
    """[m]"""
    loaded_tyre_radius: float | None = None
    """[m] height of the rear axle over the ground at ride height"""
    minimum_mass: float | None = None
    """[kg] that the class asks for"""
    rear_suspension: RearSuspension | None = None
    driveshaft: Driveshaft | None = None
    powertrain: Powertrain | None = None
    tyre: Tyre | None = None
    downforce_area_front: float | None = None
    """[m²] lift coefficient times area, positive pressing down"""
    downforce_area_rear: float | None = None
    wheelie_bars: WheelieBars | None = None

    def adjustable(self, name: str) -> Adjustable | None:
        """Return the adjustable of this name, or None."""
        return next((item for item in self.adjustables if item.name == name), None)


# --- what a run leaves ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, order=True)
class RunKey:
    """Identity of a run, written ``car/date/number``."""

    car: str
    date: dt.date
    number: int

    def __str__(self) -> str:
        return f"{self.car}/{self.date.isoformat()}/{self.number}"


@dataclass(frozen=True)
class SheetEntry:
    """One line of a setup sheet, valid from a run on. ``value`` is in ``unit``; holes are held by position."""

    item: str
    value: float | None
    """None where the sheet wrote words, such as the name of a tyre set"""
    unit: str
    text: str
    """the value as the crew says it: a hole's label, a number, or the words of the sheet"""


@dataclass(frozen=True)
class Sheet:
    """A setup sheet: full, or only what changed, valid from run ``number`` of ``date`` on."""

    car: str
    date: dt.date | None
    """None: valid before the first test day, the baseline that the car left the shop with"""
    number: int
    full: bool
    entries: tuple[SheetEntry, ...]


@dataclass(frozen=True)
class Slip:
    """A timing slip with what was noted beside it. ``times`` [s] and ``speeds`` [m/s] are keyed by distance in feet."""

    key: RunKey
    time: dt.time | None = None
    track: str | None = None
    lane: str | None = None
    purpose: str | None = None
    reaction: float | None = None
    times: Mapping[int, float] = field(default_factory=dict)
    speeds: Mapping[int, float] = field(default_factory=dict)
    true_to_ft: int | None = None
    """the distance up to which the figures count; None: all"""
    spoiled: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class AirReading:
    """The air at a time: temperature [K], humidity 0…1, station pressure [Pa], wind [m/s, degrees it comes from]."""

    time: dt.datetime
    temperature: float
    relative_humidity: float
    station_pressure: float
    wind_speed: float | None = None
    wind_from_deg: float | None = None
    track_temperature: float | None = None
    source: str = ""


@dataclass(frozen=True)
class Given:
    """What the user said about files beside what is in them; None: not said."""

    kind: str | None = None
    car: str | None = None
    run: RunKey | None = None
    track: str | None = None
    full: bool | None = None
    elevation: float | None = None
    """[m] for air readings given as altimeter setting"""
    rate_hz: float | None = None
    part: int | None = None
    """of a logger file with several recordings, counted from 1"""


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


# --- what is computed from a trace ----------------------------------------------------------------------------------


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


@dataclass(frozen=True)
class Alarm:
    """A limit that was passed: ``kind`` is ``low`` or ``high``; ``time`` [s] after launch; value and limit in SI."""

    channel: str
    kind: str
    time: float
    value: float
    limit: float


@dataclass(frozen=True)
class TraceEvent:
    """Something that happened, seen in a trace: ``name`` is one word of ``signals.happenings``.

    ``time`` [s] after launch, negative before it; ``distance`` [m] from rest; ``confidence`` 0…1 that it happened.
    """

    name: str
    time: float
    distance: float | None
    confidence: float
    text: str


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


@dataclass(frozen=True)
class TraceFindings:
    """What a trace tells of a run. Times are seconds after launch unless stated."""

    launch_time: float | None = None
    """[s] on the logger's own clock"""
    launch_time_sd: float | None = None
    launch_engine_speed: float | None = None
    """[rad/s]"""
    peak_acceleration: float | None = None
    """[m/s²]"""
    peak_slip: float | None = None
    """driven tyre, SAE J670 sense: ω/ω₀ − 1"""
    lift_time: float | None = None
    lift_distance: float | None = None
    """[m]"""
    shake_suspected: bool | None = None
    """None: the rate doesn't allow to tell"""
    shifts: tuple[Shift, ...] = ()
    alarms: tuple[Alarm, ...] = ()
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
    warnings: tuple[str, ...] = ()
