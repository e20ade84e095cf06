"""The car and the track, as their files describe them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from runlog.constants import FOOT, SPEED_DISTANCES_FT, SPEED_TRAP_LENGTH_FT

if TYPE_CHECKING:
    import datetime as dt


@dataclass(frozen=True)
class Trap:
    """Where a slip's speed is measured: the average from ``length`` before the trap's end to there."""

    beam_ft: int
    length: float
    """[m]"""
    past: float = 0.0
    """[m] how far behind the beam it ends"""

    @property
    def end_ft(self) -> float:
        """Where it ends."""
        return self.beam_ft + self.past / FOOT

    @property
    def span(self) -> tuple[float, float]:
        """From where to where the speed is the average [m], from the start beam."""
        end = self.beam_ft * FOOT + self.past
        return end - self.length, end


USUAL_TRAPS: Final = tuple(Trap(feet, SPEED_TRAP_LENGTH_FT * FOOT) for feet in SPEED_DISTANCES_FT)
"""they end at their beam. Common practice, no source."""


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
    guard_beam: float | None = None
    """[m] from rest to the beam that starts the clock at the latest, where the track has one"""
    surface: str = ""
    traps: tuple[Trap, ...] = USUAL_TRAPS
    """one for each of ``SPEED_DISTANCES_FT``"""


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
    prior_curvature_mean_s: tuple[float, ...] = ()
    """[s] expected curvature on each increment: c of c (x² − x), x in steps from the baseline"""
    prior_curvature_sd_s: tuple[float, ...] = ()
    x: float | None = None
    """[m] where ballast sits: forward of the rear axle"""
    y: float | None = None
    """[m] left of the centre line"""
    z: float | None = None
    """[m] up from the ground"""
    at_hand: tuple[float, ...] = ()
    """values of which a part is at hand, such as final drive sets; empty: it can be set to any, or nobody said"""

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
class Credential:
    """A dated paper or part without which a car doesn't run, or not so fast: as the car file tells it."""

    kind: str
    """such as ``chassis certificate`` or ``belts``, see ``readers.car_credentials``"""
    expires: dt.date | None = None
    """the last day that it holds"""
    quickest: float | None = None
    """[s] elapsed time to ``quickest_at_ft`` that it allows"""
    quickest_at_ft: int = 1320
    highest_speed: float | None = None
    """[m/s]"""
    without_it_ft: int = 0
    """how far the car may go once it has expired; 0: not at all"""
    note: str = ""


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
    new: bool | None = None
    """whether it has to pass the release steps; None: the car's runs tell"""
    release_checks: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """(release step, its checks) where the car has a list of its own"""
    credentials: tuple[Credential, ...] = ()

    def adjustable(self, name: str) -> Adjustable | None:
        """Return the adjustable of this name, or None."""
        return next((item for item in self.adjustables if item.name == name), None)
