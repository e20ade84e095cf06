"""Weights of a car from its sheets and its car file: corners, centre of gravity, and what ballast does to them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from runlog import units
from runlog.constants import POUND, STANDARD_GRAVITY
from runlog.errors import RunlogError
from runlog.physics.ballast import Ballast, add_ballast
from runlog.physics.launch_load import wheel_lift_acceleration
from runlog.physics.weights import CORNERS, CornerWeights, Footprint, WeighedCar, even_corners
from runlog.workflows.chassis.as_set import in_si
from runlog.workflows.chassis.scales import READINGS
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    from runlog.records import Adjustable, Car
    from runlog.workflows.chassis.as_set import Chassis

ROLL_SHARE_NOTE: Final = (
    "corner split and cross after ballast off the centre line rest on an assumed front share of roll stiffness of "
    "50 %; axle weights and centre of gravity don't"
)
_APART: Final = 0.01
"""share by which the scales may differ from the car file's race weight unnoticed. Common practice, no source."""


@dataclass(frozen=True)
class Weighed:
    """The car on the scales, as far as it is known, with what to say about it."""

    car: WeighedCar | None
    scaled: bool
    """the corners were read from scales, not taken from the car file's front share"""
    missing: tuple[str, ...]
    warnings: tuple[str, ...]
    sides: bool = True
    """left and right are known: False after ballast off the centre line of a car whose tracks aren't known"""

    @property
    def by_corner(self) -> bool:
        """Tell whether the four corners are known, and not only the axles."""
        return self.car is not None and self.scaled and self.sides


def weigh(chassis: Chassis) -> Weighed:
    """Return the weights with the ballast that is in now; ``RunlogError`` for weights that can't be."""
    car, missing, warnings = chassis.car, list[str](), list[str]()
    corners = _scaled(chassis, missing)
    scaled = corners is not None
    if corners is None and car.front_share is not None:
        corners = even_corners(car.race_mass, car.front_share)
    if corners is None:
        missing.append("car file: front_weight_pct, for the centre of gravity while there are no scale readings")
        return Weighed(None, False, tuple(missing), ())
    if car.centre_of_gravity_height is None:
        missing.append("car file: centre_of_gravity_height, for anti-squat and wheel lift")
    for name in ("front_track", "rear_track"):
        if getattr(car, name) is None:
            missing.append(f"car file: {name}, for the centre of gravity across the car")
    # where a track isn't known the wheelbase stands in: nothing that would depend on it is put in or shown
    footprint = Footprint(car.wheelbase, car.front_track or car.wheelbase, car.rear_track or car.wheelbase)
    weighed = WeighedCar(corners, footprint, car.centre_of_gravity_height)
    weighed, sides = _with_ballast(chassis, weighed, missing, warnings)
    _judge(chassis, weighed, scaled, warnings)
    return Weighed(weighed, scaled, tuple(missing), tuple(warnings), sides)


def _scaled(chassis: Chassis, missing: list[str]) -> CornerWeights | None:
    readings = [chassis.number(item, "mass") for item in READINGS]
    for item, reading in zip(READINGS, readings, strict=True):
        if reading is None:
            unitless = item in chassis.setup
            missing.append(f"setup sheet: {item}{' with a unit of mass' if unitless else ''}, for the corner weights")
    known = [reading for reading in readings if reading is not None]
    if len(known) < len(readings):
        return None
    try:
        return CornerWeights(*known)
    except ValueError as error:
        raise RunlogError(f"{chassis.car.name}, scale readings of the setup sheet: {error}") from None


def is_ballast(adjustable: Adjustable) -> bool:
    """Tell whether an adjustable is ballast in a mount."""
    unit = units.find_unit(adjustable.unit)
    return adjustable.name.startswith("ballast") and unit is not None and unit.dimension == "mass"


def tracks_known(car: Car) -> bool:
    """Tell whether what lies off the centre line can be shared between left and right."""
    return car.front_track is not None and car.rear_track is not None


def _with_ballast(
    chassis: Chassis, weighed: WeighedCar, missing: list[str], warnings: list[str]
) -> tuple[WeighedCar, bool]:
    """Return the car with the ballast put in or taken out since it was weighed, and whether its sides are known."""
    sides = True
    for adjustable in filter(is_ballast, chassis.car.adjustables):
        now = chassis.number(adjustable.name, "mass")
        then = in_si(chassis.weighed_with.get(adjustable.name), "mass")
        if now is not None and then is None:
            then = 0.0
            warnings.append(f"{adjustable.name} wasn't noted when the car was weighed: taken as none")
        if now is None or then is None or now == then:
            continue
        if adjustable.x is None:
            missing.append(f"car file: x, y and z of {adjustable.name}, for what it does to the weights")
            warnings.append(f"{adjustable.name} has changed since the car was weighed: these weights are without it")
            continue
        if adjustable.z is None:
            missing.append(f"car file: z of {adjustable.name}, for the height of the centre of gravity")
        across = adjustable.y or 0.0
        if adjustable.y is None:
            missing.append(f"car file: y of {adjustable.name}, taken as on the centre line")
        if across and not tracks_known(chassis.car):
            sides, across = False, 0.0
            warnings.append(
                f"{adjustable.name} sits off the centre line and a track isn't known: no left, right or cross"
            )
        elif across:
            warnings.append(ROLL_SHARE_NOTE)
        piece = Ballast(now - then, adjustable.x, across, adjustable.z)
        try:
            weighed = add_ballast(weighed, piece)
        except ValueError as error:
            raise RunlogError(f"{chassis.car.name}, {adjustable.name}: {error}") from None
        warnings.append(
            f"computed, not weighed: {adjustable.name} {(now - then) / POUND:+g} lb since the car was on the scales"
        )
    return weighed, sides


def _judge(chassis: Chassis, weighed: WeighedCar, scaled: bool, warnings: list[str]) -> None:
    total, car = weighed.corners.total, chassis.car
    if scaled and abs(total - car.race_mass) > _APART * car.race_mass:
        warnings.append(
            f"the scales say {total / POUND:.0f} lb and the car file's race weight {car.race_mass / POUND:.0f} lb: "
            "were driver and fuel the same?"
        )
    if car.minimum_mass is not None and total < car.minimum_mass:
        warnings.append(f"{(car.minimum_mass - total) / POUND:.0f} lb below the minimum weight in the car file")


def weights_part(chassis: Chassis, weighed: Weighed) -> dict[str, Any]:
    """Return the weights in the shape of the page."""
    car, minimum = weighed.car, chassis.car.minimum_mass
    corners = car.corners if car else None
    scaled = corners if weighed.by_corner else None
    names = [corner.replace(" ", "_") for corner in CORNERS]
    return {
        "corner_weights_kg": {name: rounded(getattr(scaled, name), 3) if scaled else None for name in names},
        "total_kg": rounded(corners.total, 3) if corners else None,
        "front_pct": rounded(100 * corners.front_share, 4) if corners else None,
        "left_pct": rounded(100 * scaled.left_share, 4) if scaled else None,
        "cross_pct": rounded(100 * scaled.cross_share, 4) if scaled else None,
        "centre_of_gravity_m": centre_part(chassis, weighed),
        "wheel_lift_acceleration_g": rounded(_lift(car), 4),
        "minimum_weight_kg": rounded(minimum, 3),
        "over_minimum_kg": rounded(corners.total - minimum, 3) if corners and minimum is not None else None,
    }


def centre_part(chassis: Chassis, weighed: Weighed) -> dict[str, float | None]:
    """Return the centre of gravity [m]; y only where the corners were scaled and both tracks are known."""
    car = weighed.car
    if car is None:
        return {"x": None, "y": None, "z": rounded(chassis.car.centre_of_gravity_height, 5)}
    x, y = car.place
    across = weighed.by_corner and tracks_known(chassis.car)
    return {"x": rounded(x, 5), "y": rounded(y, 5) if across else None, "z": rounded(car.height, 5)}


def _lift(car: WeighedCar | None) -> float | None:
    if car is None or car.height is None:
        return None
    return wheel_lift_acceleration(car.place[0], car.height) / STANDARD_GRAVITY
