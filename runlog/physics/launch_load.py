"""What the tyres carry while the car accelerates: load transfer, wheel lift, wheelie bars, driveshaft torque.

Quasi-static and rigid: the forces of a steady acceleration on level ground, without aerodynamics and rotating inertia,
and nothing of the first instants in which the body is still rising. Forces in N.

Left and right: the driveshaft turns the live axle against the chassis. Usual rotation is counter-clockwise seen from
behind, so it presses the left rear tyre down and lifts the right; the chassis rolls the other way. Of that torque the
rear springs and bar hand back their share of the roll stiffness; only the front axle's share reaches the rear tyres
(T. D. Gillespie, *Fundamentals of Vehicle Dynamics* (1992) ch. 2, from memory; solved anew in the tests). With the
front wheels in the air it reaches them no more. Anti-roll preload is a torque between axle and chassis and acts in the
same way, so preload equal to the driveshaft torque cancels it. Linear springs, rigid frame, both torques along the car.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from runlog.constants import STANDARD_GRAVITY
from runlog.physics.weights import check_positive

if TYPE_CHECKING:
    from runlog.physics.weights import WeighedCar


@dataclass(frozen=True)
class Balance:
    """What load transfer depends on. ValueError when the centre of gravity isn't between the axles."""

    mass: float
    """[kg]"""
    x: float
    """[m] centre of gravity forward of the rear axle"""
    height: float
    """[m] of the centre of gravity"""
    wheelbase: float
    """[m]"""

    def __post_init__(self) -> None:
        for name in ("mass", "height", "wheelbase"):
            check_positive(name, getattr(self, name))
        if not 0.0 <= self.x <= self.wheelbase:
            raise ValueError(f"centre of gravity {self.x:g} m before the rear axle can't be: it lies between the axles")


@dataclass(frozen=True)
class Bars:
    """Wheelie bars on the centre line, their wheels ``length`` [m] behind the rear axle."""

    length: float
    load: float = 0.0
    """[N] they carry while the front wheels still touch; what holds the car up once those don't comes by itself"""

    def __post_init__(self) -> None:
        check_positive("wheelie-bar length", self.length)
        if not self.load >= 0.0:
            raise ValueError(f"wheelie-bar load {self.load:g} N can't be: it is zero or more")


@dataclass(frozen=True)
class AxleLoads:
    """Loads [N] on the front axle, on the driven tyres and on the wheelie bars."""

    front: float
    rear: float
    bars: float = 0.0


@dataclass(frozen=True)
class TyreLoads:
    """Loads [N] on the four tyres and on the wheelie bars."""

    left_front: float
    right_front: float
    left_rear: float
    right_rear: float
    bars: float = 0.0


@dataclass(frozen=True)
class Launch:
    """The instant that tyre loads are asked for."""

    acceleration: float
    """[m/s²]"""
    driveshaft_torque: float = 0.0
    """[N·m] on the axle's pinion, positive in the usual rotation; see ``driveshaft_torque``"""
    preload_torque: float = 0.0
    """[N·m] wound into the anti-roll bar with the body held level; positive loads the right rear tyre at rest"""
    bars: Bars | None = None


@dataclass(frozen=True)
class LaunchChange:
    """A launch before and after a change of weights, each as (before, after)."""

    rear_load: tuple[float, float]
    """[N] on the driven tyres at the acceleration asked for"""
    rear_load_per_mass: tuple[float, float]
    """[m/s²] the same over the car's mass: what tyre friction multiplies into acceleration"""
    wheel_lift: tuple[float, float]
    """[m/s²] acceleration at which the front wheels leave the ground"""


def balance_of(car: WeighedCar) -> Balance:
    """Return the longitudinal balance of a weighed car; ValueError when its height isn't known."""
    if car.height is None:
        raise ValueError("the height of the centre of gravity isn't known: weigh the car with one axle raised")
    return Balance(car.corners.total, car.place[0], car.height, car.footprint.wheelbase)


def wheel_lift_acceleration(cg_to_rear_axle: float, cg_height: float) -> float:
    """Return the acceleration [m/s²] at which the front wheels carry nothing; over ``STANDARD_GRAVITY`` in g.

    Moments about the rear contact patch: a = g x / h, lengths in m. Rigid car: a body that rises while it is launched
    lifts its wheels earlier. ValueError when a length can't be.
    """
    check_positive("height of the centre of gravity", cg_height)
    if not cg_to_rear_axle >= 0.0:
        raise ValueError(
            f"centre of gravity {cg_to_rear_axle:g} m before the rear axle can't be: the car would tip over"
        )
    return STANDARD_GRAVITY * cg_to_rear_axle / cg_height


def load_transfer(balance: Balance, acceleration: float) -> float:
    """Return the load [N] that moves from the front to the rear axle: m a h / L.

    T. D. Gillespie, *Fundamentals of Vehicle Dynamics* ch. 1; R. N. Jazar, *Vehicle Dynamics* (2008) ch. 2.
    """
    return balance.mass * acceleration * balance.height / balance.wheelbase


def axle_loads(balance: Balance, acceleration: float, bars: Bars | None = None) -> AxleLoads:
    """Return the axle loads at an acceleration [m/s²].

    A load on the bars, a length b behind the axle, takes (1 + b/L) times itself off the driven tyres and puts b/L of it
    on the front ones. Where the front wheels have left the ground the bars carry m (a h − g x)/b. ValueError when
    nothing holds the car up: no bars beyond wheel lift, or driven tyres that would carry less than nothing.
    """
    weight = balance.mass * STANDARD_GRAVITY
    front = weight * balance.x / balance.wheelbase - load_transfer(balance, acceleration)
    carried = 0.0
    if bars is not None:
        carried = max(bars.load, -front * balance.wheelbase / bars.length)
        front += carried * bars.length / balance.wheelbase
    rounding = 1e-12 * weight
    if front < -rounding:
        lift = wheel_lift_acceleration(balance.x, balance.height)
        raise ValueError(f"at {acceleration:g} m/s² the front wheels are off the ground: they lift at {lift:.4g} m/s²")
    front = max(front, 0.0)
    rear = weight - front - carried
    if rear < -rounding:
        raise ValueError(f"{acceleration:g} m/s² with {carried:.0f} N on the wheelie bars lifts the driven tyres")
    return AxleLoads(front, max(rear, 0.0), carried)


def bar_limited_acceleration(balance: Balance, friction: float, bar_length: float) -> float:
    """Return the acceleration [m/s²] that tyres allow with the front wheels up and the car on its wheelie bars.

    From axle_loads with a = μ N_rear / m: a = μ g (b + x)/(b + μ h). Meets wheel lift at μ = x/h; below that the front
    wheels are down and ``longitudinal.grip_limit`` applies. ValueError when a figure isn't positive.
    """
    check_positive("friction", friction)
    check_positive("wheelie-bar length", bar_length)
    return friction * STANDARD_GRAVITY * (bar_length + balance.x) / (bar_length + friction * balance.height)


def driveshaft_torque(tractive_force: float, tyre_radius: float, final_drive: float) -> float:
    """Return the torque [N·m] in the driveshaft for a force [N] at the tyres: F R / i, without inertia and losses.

    ``tyre_radius`` [m] loaded. ValueError when radius or ratio isn't positive.
    """
    check_positive("tyre radius", tyre_radius)
    check_positive("final drive", final_drive)
    return tractive_force * tyre_radius / final_drive


def tyre_loads(car: WeighedCar, launch: Launch) -> TyreLoads:
    """Return the load on each tyre, from the corners as weighed with the anti-roll link disconnected.

    Transfer goes to the rear tyres alike. Torque T less preload P rolls the chassis to the right. The front tyres take
    the front's share s of it, 2 s (T − P)/t_front between them, bounded by what the front axle carries; the rear tyres
    take what closes the moments about the centre line. ValueError as in ``axle_loads``, and when a rear tyre
    would leave the ground.
    """
    footprint, corners = car.footprint, car.corners
    axles = axle_loads(balance_of(car), launch.acceleration, launch.bars)
    rolling = footprint.front_roll_share * (launch.driveshaft_torque - launch.preload_torque)
    front_across = STANDARD_GRAVITY * (corners.left_front - corners.right_front) - 2.0 * rolling / footprint.front_track
    front_across = min(max(front_across, -axles.front), axles.front)
    moment = corners.total * STANDARD_GRAVITY * car.place[1]
    rear_across = (2.0 * moment - front_across * footprint.front_track) / footprint.rear_track
    if abs(rear_across) > axles.rear * (1.0 + 1e-12):
        side = "right" if rear_across > 0.0 else "left"
        raise ValueError(f"the {side} rear tyre would leave the ground: the two differ by {abs(rear_across):.0f} N")
    return TyreLoads(
        0.5 * (axles.front + front_across),
        0.5 * (axles.front - front_across),
        0.5 * (axles.rear + rear_across),
        0.5 * (axles.rear - rear_across),
        axles.bars,
    )


def compare_launch(before: Balance, after: Balance, acceleration: float, bars: Bars | None = None) -> LaunchChange:
    """Return what a change of weights does to the driven tyres at an acceleration [m/s²] and to wheel lift.

    More mass on the driven tyres is also more mass to move: look at the load per mass. ValueError as in ``axle_loads``.
    """
    states = (before, after)
    loads = [axle_loads(state, acceleration, bars).rear for state in states]
    lifts = [wheel_lift_acceleration(state.x, state.height) for state in states]
    return LaunchChange(
        rear_load=(loads[0], loads[1]),
        rear_load_per_mass=(loads[0] / before.mass, loads[1] / after.mass),
        wheel_lift=(lifts[0], lifts[1]),
    )
