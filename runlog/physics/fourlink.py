"""Side view of a live rear axle: instant centre, anti-squat and link forces.

x is forward of the rear axle, z up from the ground [m]; the driven tyre touches the ground at (0, 0). Every layout is
two lines along which the axle is held, so one interface serves all of them: a link holds along itself, a pivot in two
directions, a sliding mount across its slide. The instant centre is where the lines meet.

Statics behind the anti-squat: axle and wheels are one free body, since the driveshaft hands it torque about x only.
With tractive force F and load change ΔN at the contact patch, the two holding forces act through the instant centre
(x, z), so moments about the contact patch leave F z/x of the load to the links and ΔN − F z/x to the springs. ΔN = F
h/L gives

    anti-squat = 1 − (spring force change)/ΔN = (z/x)/(h/L).

T. D. Gillespie, *Fundamentals of Vehicle Dynamics*, SAE 1992, ch. 7, and W. F. and D. L. Milliken, *Race Car Vehicle
Dynamics*, SAE 1995, ch. 17, give the same (both from memory); the tests solve the three equilibrium equations
independently.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Point = tuple[float, float]
"""(x, z) [m]"""

LEAST_LENGTH: Final = 1e-6
"""[m] two pivots nearer to each other than this are one point"""
PARALLEL: Final = 1e-12
"""sine of the angle between two lines below which rounding can no longer tell where they meet"""


@dataclass(frozen=True)
class Line:
    """A line along which the axle is held: a point on it [m] and its unit direction."""

    point: Point
    direction: Point


@dataclass(frozen=True)
class Link:
    """A link in side view: its rear pivot on the axle and its front pivot on the frame [m].

    ValueError when the pivots are one point or not finite.
    """

    rear: Point
    front: Point

    def __post_init__(self) -> None:
        if not all(map(math.isfinite, (*self.rear, *self.front))):
            raise ValueError(f"a link from {_at(self.rear)} to {_at(self.front)} has a pivot that isn't a number")
        if self.length < LEAST_LENGTH:
            raise ValueError(f"a link has both pivots at {_at(self.rear)}: it has no length and no direction")

    @property
    def length(self) -> float:
        """[m] in side view; a link that is also splayed in plan is longer."""
        return math.dist(self.rear, self.front)

    @property
    def angle(self) -> float:
        """[rad] of the way from axle to frame, positive when the frame end is the higher one."""
        return math.atan2(self.front[1] - self.rear[1], self.front[0] - self.rear[0])

    @property
    def line(self) -> Line:
        """The line through both pivots, pointing from axle to frame."""
        return Line(self.rear, (math.cos(self.angle), math.sin(self.angle)))


class Layout(Protocol):
    """What holds the axle in side view."""

    def lines(self) -> tuple[Line, Line]:
        """Return the two lines along which the axle is held."""


@dataclass(frozen=True)
class FourLink:
    """Two links on a side, or two pairs that are alike."""

    upper: Link
    lower: Link

    def lines(self) -> tuple[Line, Line]:
        """Return the lines of the upper and of the lower link."""
        return self.upper.line, self.lower.line

    @property
    def separation_at_axle(self) -> float:
        """[m] height of the upper rear pivot over the lower one."""
        return self.upper.rear[1] - self.lower.rear[1]

    @property
    def separation_at_frame(self) -> float:
        """[m] height of the upper front pivot over the lower one."""
        return self.upper.front[1] - self.lower.front[1]


@dataclass(frozen=True)
class LadderBar:
    """A bar fixed to the axle with one pivot on the frame: the instant centre is that pivot."""

    pivot: Point

    def lines(self) -> tuple[Line, Line]:
        """Return the two directions in which the pivot holds."""
        return Line(self.pivot, (1.0, 0.0)), Line(self.pivot, (0.0, 1.0))


@dataclass(frozen=True)
class TorqueArm:
    """An arm fixed to the axle whose front mount slides along a direction, and lower links that hold fore and aft."""

    mount: Point
    slide_angle: float
    """[rad] direction in which the mount is free, 0 = fore and aft, positive upward to the front"""
    lower: Link

    def lines(self) -> tuple[Line, Line]:
        """Return the line across the slide and the line of the lower link."""
        across = (-math.sin(self.slide_angle), math.cos(self.slide_angle))
        return Line(self.mount, across), self.lower.line


@dataclass(frozen=True)
class InstantCentre:
    """Where the lines meet [m]; ahead of the axle when x is positive."""

    x: float
    z: float


@dataclass(frozen=True)
class AtInfinity:
    """The lines are parallel: the axle moves without turning, across this slope (rise over run forward)."""

    slope: float


Centre = InstantCentre | AtInfinity


def meet(point: FloatArray, along: FloatArray, other: FloatArray, other_along: FloatArray) -> FloatArray:
    """Return where pairs of lines meet, as (X, Z, W) with x = X/W and z = Z/W.

    Each line is given by points [m] and unit directions of shape (…, 2); returns shape (…, 3). W is the sine of the
    angle between the lines and goes to zero when they are parallel, while Z/X stays the slope from the origin:
    nothing blows up on the way. All three are zero where the two lines are one.
    """
    moment = _cross(point, along)
    other_moment = _cross(other, other_along)
    sine = _cross(along, other_along)
    found: FloatArray = np.stack(
        (
            along[..., 0] * other_moment - other_along[..., 0] * moment,
            along[..., 1] * other_moment - other_along[..., 1] * moment,
            sine,
        ),
        axis=-1,
    )
    return found


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    crossed: FloatArray = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return crossed


def instant_centre(layout: Layout) -> Centre:
    """Return the instant centre of a layout.

    ValueError where the lines are one and the same, so that the axle is free to turn about any point of it, and where
    they are parallel and upright, so that nothing holds the axle fore and aft.
    """
    first, second = layout.lines()
    found = meet(*(np.array(item) for line in (first, second) for item in (line.point, line.direction)))
    across, up, sine = map(float, found)
    if abs(sine) > PARALLEL:
        return InstantCentre(across / sine, up / sine)
    (x, z), (along, up) = first.point, first.direction
    apart = (second.point[0] - x) * up - (second.point[1] - z) * along
    if abs(apart) < LEAST_LENGTH:
        raise ValueError(
            "both links lie on one line: they don't meet in one point and can't hold the axle from turning"
        )
    if abs(along) < PARALLEL:
        raise ValueError("both links are upright and parallel: they don't meet and can't push the car forward")
    return AtInfinity(up / along)


def line_slope(centre: Centre) -> float:
    """Return the slope of the line from the contact patch through the instant centre (rise over run forward).

    A centre behind the axle and above the ground gives a negative slope: the springs are compressed under power.
    ValueError when the centre is straight above or below the axle, where the line is upright.
    """
    if isinstance(centre, AtInfinity):
        return centre.slope
    if abs(centre.x) < LEAST_LENGTH:
        raise ValueError(f"the instant centre is at x = {centre.x:g} m, in line with the axle: no anti-squat there")
    return centre.z / centre.x


def anti_squat(centre: Centre, height: float, wheelbase: float) -> float:
    """Return the anti-squat of a live axle, 1 = 100 %: the share of the load transfer that the links carry.

    ``height`` [m] of the centre of gravity, ``wheelbase`` [m], both above zero (ValueError). Over 1 the rear rises
    under power, under 1 it squats. The axle's own inertia is left out (see ``neutral_line``). Never for an
    independent suspension, where the torque isn't reacted by the links.
    """
    if not (height > 0 and wheelbase > 0):
        raise ValueError(f"height {height:g} m and wheelbase {wheelbase:g} m must be above zero")
    return line_slope(centre) * wheelbase / height


def height_at_front_axle(centre: Centre, wheelbase: float) -> float:
    """Return the height [m] of the line from the contact patch through the instant centre, at the front axle.

    Divided by the height of the centre of gravity it is the anti-squat.
    """
    return line_slope(centre) * wheelbase


@dataclass(frozen=True)
class NeutralLine:
    """Heights [m], at the rear and at the front axle, of the line of instant centres that give 100 % anti-squat."""

    at_rear: float
    at_front: float

    def height(self, x: float, wheelbase: float) -> float:
        """Return its height [m] at x [m] forward of the rear axle."""
        return self.at_rear + (self.at_front - self.at_rear) * x / wheelbase


def neutral_line(sprung_height: float, sprung_mass: float, axle_mass: float, axle_height: float) -> NeutralLine:
    """Return the 100 % line with the axle's own inertia: from (0, −m_axle R/m_sprung) to (L, h_sprung).

    Heights [m] of the sprung mass's centre of gravity and of the axle, masses [kg] above zero for the sprung
    (ValueError). Moment balance of axle and body under the same acceleration, with unchanged springs (exact).
    """
    if not sprung_mass > 0:
        raise ValueError(f"sprung mass {sprung_mass:g} kg must be above zero")
    return NeutralLine(-axle_mass * axle_height / sprung_mass, sprung_height)


@dataclass(frozen=True)
class AxleForces:
    """What holds the axle [N]: along each of the layout's lines on the axle, and the change of the spring force.

    Along a link positive pulls the axle towards the frame (tension). A positive spring change compresses the springs.
    """

    first: float
    second: float
    spring_change: float


def axle_forces(
    layout: Layout,
    traction: float,
    load_change: float,
    inertia: float = 0.0,
    axle_height: float = 0.0,
    spring_x: float = 0.0,
) -> AxleForces:
    """Solve the three equilibrium equations of the axle and wheels in side view.

    ``traction`` F [N] forward and ``load_change`` ΔN [N] upward at the contact patch; ``inertia`` [N] the axle's mass
    times acceleration, acting backward at ``axle_height`` [m]; ``spring_x`` [m] where the springs stand. Forces are
    for all links of a pair together. ValueError where the layout can't hold the axle (lines that are one, or meet in
    line with the springs).
    """
    lines = layout.lines()
    matrix = np.zeros((3, 3))
    for column, line in enumerate(lines):
        (x, z), (along, up) = line.point, line.direction
        matrix[:, column] = along, up, x * up - z * along
    matrix[:, 2] = 0.0, -1.0, -spring_x
    known = np.array([inertia - traction, -load_change, -inertia * axle_height])
    if abs(np.linalg.det(matrix)) < PARALLEL:
        raise ValueError("the links can't hold the axle in this position: no equilibrium of forces")
    first, second, spring = map(float, np.linalg.solve(matrix, known))
    return AxleForces(first, second, spring)


def _at(point: Point) -> str:
    return f"({point[0]:g}, {point[1]:g}) m"
