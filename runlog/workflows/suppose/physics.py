"""What the longitudinal model has to say to a change, and what it doesn't."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from runlog import units
from runlog.physics import what_if

if TYPE_CHECKING:
    from collections.abc import Callable

    from runlog.physics.vehicle import Vehicle
    from runlog.physics.what_if import Alter
    from runlog.records import Adjustable, Car
    from runlog.workflows.suppose.changes import Wish

RUNS_TELL: Final = "only runs can tell, see 'runlog effects'"
_INSTANTS: Final = "acts in the first instants of the launch, which the model leaves out; " + RUNS_TELL
_LINKS: Final = (
    "moves the instant centre, and with it how the tyres are hit in the first instants; beyond them it has no effect "
    "that physics knows of: see 'runlog chassis' for the geometry, 'runlog effects' for the runs"
)
_SILENT: Final[tuple[tuple[str, str], ...]] = (
    # beginning or part of an item's name → why physics has no opinion of it
    (
        "tyre pressure",
        f"what pressure does to grip and rolling resistance follows no law that fits every tyre; {RUNS_TELL}",
    ),
    ("tyre set", f"what other tyres grip isn't known before they have run; {RUNS_TELL}"),
    ("link", _LINKS),
    ("shock", _INSTANTS),
    ("spring", _INSTANTS),
    ("launch rpm", _INSTANTS),
    ("ignition", f"what it does to power isn't known here; with a dynamometer's figure write power +…hp; {RUNS_TELL}"),
    ("fuel jet", f"what it does to power isn't known here; with a dynamometer's figure write power +…hp; {RUNS_TELL}"),
    ("boost", f"what it does to power isn't known here; with a dynamometer's figure write power +…hp; {RUNS_TELL}"),
    ("nitrous", f"when and how much power comes with it isn't known here; {RUNS_TELL}"),
    ("wing", f"what it adds in drag and downforce isn't known here; with a figure write drag area +…m²; {RUNS_TELL}"),
)
_GEARING: Final = (
    "needs the driveline: gear_ratios in the car file, and a shift rpm or what [car.powertrain] says of the engine"
)
_HEIGHT_UNKNOWN: Final = 0.3  # [m] of ballast over the ground, and its doubt: common practice, no source
_HEIGHT_DOUBT: Final = 0.15
_PLACE_DOUBT: Final = 0.4  # [m] along the car, where only front or rear is known: common practice, no source


@dataclass(frozen=True)
class Answer:
    """What to do to the vehicle, or why physics has no opinion."""

    alter: Alter | None = None
    otherwise: tuple[Alter, ...] = ()
    why_not: str | None = None
    assumptions: tuple[str, ...] = ()


def answer(car: Car, vehicle: Vehicle, wish: Wish) -> Answer:
    """Return what the model makes of a change."""
    if is_ballast(wish):
        return _ballast(car, vehicle, wish)
    ask = _SPEAKS.get(wish.item)
    if ask is not None:
        return ask(car, vehicle, wish)
    why = next((text for words, text in _SILENT if words in wish.item), f"the model doesn't know it; {RUNS_TELL}")
    return Answer(why_not=why)


def is_ballast(wish: Wish) -> bool:
    """Tell whether the change is one of ballast."""
    unit = units.find_unit(wish.unit, "mass")
    return wish.item.startswith("ballast") and unit is not None


def _si(wish: Wish, value: float) -> float:
    return units.unit_of(wish.unit).to_si(value)


def _unknown(wish: Wish) -> Answer:
    return Answer(why_not=f"what {wish.item} is now isn't known; write it as a change, such as {wish.item} +…")


def _ballast(car: Car, vehicle: Vehicle, wish: Wish) -> Answer:
    if wish.amount is None:
        return _unknown(wish)
    mass = _si(wish, wish.amount)
    item = wish.adjustable
    x, doubt_x = _place(car, item, wish)
    z = _HEIGHT_UNKNOWN if item is None or item.z is None else item.z
    said = []
    if doubt_x:
        said.append(f"its place isn't in the car file: taken as {x:.2f} ± {doubt_x:.1f} m before the rear axle")
    if vehicle.stance is None:
        said.append("front weight and centre of gravity aren't in the car file: grip per weight is taken as unchanged")
    elif item is None or item.z is None:
        said.append(f"its height isn't in the car file: taken as {z:.1f} ± {_HEIGHT_DOUBT:.2f} m")
    others: list[Alter] = []
    if doubt_x:
        others.append(lambda car_: what_if.with_ballast(car_, mass, x + doubt_x, z))
    if vehicle.stance is not None and (item is None or item.z is None):
        others.append(lambda car_: what_if.with_ballast(car_, mass, x, z + _HEIGHT_DOUBT))
    return Answer(lambda car_: what_if.with_ballast(car_, mass, x, z), tuple(others), None, tuple(said))


def _place(car: Car, item: Adjustable | None, wish: Wish) -> tuple[float, float]:
    """Return where ballast sits [m] before the rear axle, and the doubt of it."""
    if item is not None and item.x is not None:
        return item.x, 0.0
    if "rear" in wish.item:
        return 0.0, _PLACE_DOUBT
    if "front" in wish.item:
        return car.wheelbase, _PLACE_DOUBT
    return 0.5 * car.wheelbase, 0.5 * car.wheelbase


def _race_weight(_car: Car, _vehicle: Vehicle, wish: Wish) -> Answer:
    if wish.amount is None:
        return _unknown(wish)
    mass = _si(wish, wish.amount)
    said = ("spread like the rest of the car's weight; ballast with a place is a 'ballast …' of the car file",)
    return Answer(lambda car: what_if.with_mass(car, mass), assumptions=said)


def _power(car: Car, _vehicle: Vehicle, wish: Wish) -> Answer:
    if wish.amount is None:
        return _unknown(wish)
    factor = 1.0 + _si(wish, wish.amount) / car.power
    said = (f"the same share more at every engine speed, {100 * (factor - 1):+.2f} % of the rated power",)
    return Answer(lambda car_: what_if.with_power(car_, factor), assumptions=said)


def _drag_area(car: Car, vehicle: Vehicle, wish: Wish) -> Answer:
    if wish.amount is None:
        return _unknown(wish)
    area = float(vehicle.drag_area) if car.drag_area is None else car.drag_area
    factor = 1.0 + _si(wish, wish.amount) / area
    return Answer(lambda car_: what_if.with_drag(car_, factor))


def _circumference(car: Car, vehicle: Vehicle, wish: Wish) -> Answer:
    if vehicle.driveline is None:
        return Answer(why_not=_GEARING)
    if wish.amount is None:
        return _unknown(wish)
    factor = 1.0 + _si(wish, wish.amount) / car.tyre_circumference
    said = ("the same grip, growth and weight; ride height and the height of the centre of gravity left as they are",)
    return Answer(lambda car_: what_if.with_circumference(car_, factor), assumptions=said)


def _final_drive(_car: Car, vehicle: Vehicle, wish: Wish) -> Answer:
    if vehicle.driveline is None:
        return Answer(why_not=_GEARING)
    if wish.after is None:
        return _unknown(wish)
    ratio = wish.after
    return Answer(lambda car: what_if.with_final_drive(car, ratio))


def _shift_rpm(_car: Car, vehicle: Vehicle, wish: Wish) -> Answer:
    if vehicle.driveline is None:
        return Answer(why_not=_GEARING)
    if len(vehicle.driveline.gears) < 2:
        return Answer(why_not="the car has a single gear")
    if wish.amount is None:
        return _unknown(wish)
    change = _si(wish, wish.amount)
    return Answer(lambda car: what_if.with_shift_speed(car, change), assumptions=("every shift alike",))


def _stall(_car: Car, vehicle: Vehicle, wish: Wish) -> Answer:
    if vehicle.driveline is None or vehicle.driveline.converter is None:
        return Answer(why_not=_GEARING if vehicle.driveline is None else "the car has no converter")
    if wish.before is None or wish.after is None:
        return Answer(why_not="the stall speed of the converter that is in isn't known: give it in [car.powertrain]")
    before, after = _si(wish, wish.before), _si(wish, wish.after)
    said = ("the same torque ratio at stall; what the engine does before the brake is let go is left out",)
    return Answer(lambda car: what_if.with_stall_speed(car, before, after), assumptions=said)


_SPEAKS: Final[dict[str, Callable[[Car, Vehicle, Wish], Answer]]] = {
    "race weight": _race_weight,
    "power": _power,
    "drag area": _drag_area,
    "tyre circumference": _circumference,
    "final drive": _final_drive,
    "shift rpm": _shift_rpm,
    "converter stall": _stall,
}
