"""A car as the longitudinal model sees it, and what stands in for what its file leaves out.

Every default is common practice without a source; the car's own runs then correct grip, power and drag
(``vehicle_fit``), and a car file overrides the rest. Numbers are SI; a field said to vary may be an array that
broadcasts with the air's, for many variants at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from runlog.constants import FOOT, SPEED_DISTANCES_FT, SPEED_TRAP_LENGTH_FT

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

FloatArray: TypeAlias = NDArray[np.float64]
FloatOrArray: TypeAlias = float | FloatArray

DRAG_AREA: Final = 0.6
"""[m²]"""
ROLLING_COEFFICIENT: Final = 0.015
ROTATING_SHARE: Final = 0.05
"""of the mass, that the inertia of wheels and driveline (without the engine, where it is known) adds"""
LOAD_SENSITIVITY: Final = 0.1
"""friction of a tyre goes with its load to the power of minus this"""
TYRE_GROWTH: Final = 4.4e-6
"""[1/(m/s)²] gain of circumference, about 2 % at 150 mph"""
TYRE_SLIP: Final = 0.03
"""of the driven tyres under power, SAE J670 sense: ω/ω₀ − 1"""
CONVERTER_TORQUE_RATIO: Final = 1.9
"""at stall"""
COUPLING_RATIO: Final = 0.88
"""speed ratio from which a converter no longer multiplies torque"""
CAPACITY_EXPONENT: Final = 10.0
"""how late a converter's capacity falls off: share 1 − (speed ratio)^10 of that at stall"""
DRIVELINE_EFFICIENCY: Final = 0.90
"""power at the wheels over power into the transmission, without the converter's own loss"""
ENGINE_INERTIA: Final = 0.25
"""[kg m²] with flywheel, or flexplate and the driven half of the converter"""
SHIFT_TIME: Final = 0.05
"""[s] without drive at a shift under power"""


USUAL_SPANS: Final = tuple(((feet - SPEED_TRAP_LENGTH_FT) * FOOT, feet * FOOT) for feet in SPEED_DISTANCES_FT)
"""[m] the usual speed traps: they end at their beam"""


@dataclass(frozen=True)
class Stance:
    """How the car stands on its tyres: what weight transfer and wheel lift depend on."""

    front_share: FloatOrArray
    """0…1 of the weight at rest; may vary"""
    height: FloatOrArray
    """[m] of the centre of gravity, at which drag is taken to act too; may vary"""
    wheelbase: float
    load_sensitivity: FloatOrArray = LOAD_SENSITIVITY
    """may vary"""
    downforce_front: float = 0.0
    """[m²] lift coefficient times area, positive pressing down"""
    downforce_rear: float = 0.0


@dataclass(frozen=True)
class Tyre:
    """The driven tyre."""

    circumference: FloatOrArray
    """[m] rolling, at low speed; may vary"""
    growth: FloatOrArray = TYRE_GROWTH
    """[1/(m/s)²] share that the circumference gains per square of speed; may vary"""
    slip: FloatOrArray = TYRE_SLIP
    """may vary"""


@dataclass(frozen=True)
class EngineCurve:
    """Torque over engine speed as cubic pieces, per watt of the engine's greatest power."""

    speeds: tuple[float, ...]
    """[rad/s] rising, two or more"""
    torques: tuple[float, ...]
    """[s/rad] torque over greatest power"""
    slopes: tuple[float, ...]
    """[s²/rad²]"""


@dataclass(frozen=True)
class Converter:
    """A torque converter by its capacity at stall and generic curves over the speed ratio."""

    capacity: FloatOrArray
    """[N·m/(rad/s)²] torque taken at stall over the square of engine speed, 1/K² in SAE J643's terms; may vary"""
    torque_ratio: FloatOrArray = CONVERTER_TORQUE_RATIO
    """at stall, falling in a straight line to 1 at ``coupling_ratio``; may vary"""
    coupling_ratio: float = COUPLING_RATIO
    exponent: float = CAPACITY_EXPONENT


@dataclass(frozen=True)
class Driveline:
    """From the crankshaft to the axle. With neither converter nor release speed the engine turns with the wheels."""

    engine: EngineCurve
    gears: tuple[float, ...]
    final_drive: FloatOrArray
    """may vary"""
    shift_speeds: tuple[FloatOrArray, ...]
    """[rad/s] of the engine, one less than gears; may vary"""
    converter: Converter | None = None
    release_speed: FloatOrArray | None = None
    """[rad/s] engine speed at which a clutch is held slipping until the car has caught up; may vary"""
    shift_time: FloatOrArray = SHIFT_TIME
    """[s] without drive at each shift; may vary"""
    efficiency: float = DRIVELINE_EFFICIENCY
    engine_inertia: FloatOrArray = ENGINE_INERTIA
    """may vary"""


@dataclass(frozen=True)
class Vehicle:
    """A car as the longitudinal model sees it.

    With the first three fields alone, power is constant and so is what the tyres hold: a plain model that fits any car.
    Stance, tyre and driveline each make more of it.
    """

    mass: FloatOrArray
    """[kg] as raced; may vary"""
    power: FloatOrArray
    """[W] at the driven wheels in ``STANDARD_AIR``: with a driveline the engine's greatest less the driveline's loss,
    in which a converter isn't counted; without one the mean from shift to shift; may vary"""
    grip_acceleration: FloatOrArray
    """[m/s²] tractive force per mass that the tyres hold at the launch, were there no wheel lift; may vary"""
    drag_area: FloatOrArray = DRAG_AREA
    """[m²]; may vary"""
    rolling_coefficient: FloatOrArray = ROLLING_COEFFICIENT
    """may vary"""
    rotating_share: FloatOrArray = ROTATING_SHARE
    """may vary"""
    rollout: float = 0.2286
    """[m] from rest to where the clock starts"""
    aspiration: str = "natural"
    stance: Stance | None = None
    tyre: Tyre | None = None
    driveline: Driveline | None = None
    """needs a tyre"""
    traps: tuple[tuple[float, float], ...] = USUAL_SPANS
    """[m] from the start beam, from where to where each of ``SPEED_DISTANCES_FT``'s speeds is the average"""

    def __post_init__(self) -> None:
        if self.driveline is not None and self.tyre is None:
            raise ValueError("a driveline needs a tyre: without it engine speed isn't known")
        if self.driveline is not None and len(self.driveline.shift_speeds) != len(self.driveline.gears) - 1:
            raise ValueError("one shift speed less than gears is needed")


def vehicle_from(plain: Mapping[str, Any]) -> Vehicle:
    """Return the vehicle that ``dataclasses.asdict`` made plain; KeyError or TypeError when it isn't one."""
    rest = {name: value for name, value in plain.items() if name not in ("stance", "tyre", "driveline", "traps")}
    return Vehicle(
        **rest,
        traps=tuple((start, end) for start, end in plain.get("traps", USUAL_SPANS)),
        stance=_part(Stance, plain.get("stance")),
        tyre=_part(Tyre, plain.get("tyre")),
        driveline=_driveline(plain.get("driveline")),
    )


def _part(kind: Any, plain: Mapping[str, Any] | None) -> Any:
    return None if plain is None else kind(**plain)


def _driveline(plain: Mapping[str, Any] | None) -> Driveline | None:
    if plain is None:
        return None
    engine = EngineCurve(**{name: tuple(values) for name, values in plain["engine"].items()})
    made = {
        **plain,
        "engine": engine,
        "gears": tuple(plain["gears"]),
        "shift_speeds": tuple(plain["shift_speeds"]),
        "converter": _part(Converter, plain["converter"]),
    }
    return Driveline(**made)


# --- figures that may vary --------------------------------------------------------------------------------------------

_VARY: Final = {
    Vehicle: ("mass", "power", "grip_acceleration", "drag_area", "rolling_coefficient", "rotating_share"),
    Stance: ("front_share", "height", "load_sensitivity"),
    Tyre: ("circumference", "growth", "slip"),
    Driveline: ("final_drive", "release_speed", "shift_time", "engine_inertia"),
    Converter: ("capacity", "torque_ratio"),
}


def map_varying(vehicle: Vehicle, change: Callable[[FloatOrArray], FloatOrArray]) -> Vehicle:
    """Return the vehicle with a function applied to every figure that may vary."""
    made: Vehicle = _mapped(vehicle, change)
    line = vehicle.driveline
    if line is not None:
        converter = None if line.converter is None else _mapped(line.converter, change)
        shifts = tuple(change(speed) for speed in line.shift_speeds)
        made = replace(made, driveline=replace(_mapped(line, change), converter=converter, shift_speeds=shifts))
    stance = None if vehicle.stance is None else _mapped(vehicle.stance, change)
    tyre = None if vehicle.tyre is None else _mapped(vehicle.tyre, change)
    return replace(made, stance=stance, tyre=tyre)


def _mapped(part: Any, change: Callable[[FloatOrArray], FloatOrArray]) -> Any:
    values = {name: getattr(part, name) for name in _VARY[type(part)]}
    return replace(part, **{name: change(value) for name, value in values.items() if value is not None})


def varying_shapes(vehicle: Vehicle) -> list[tuple[int, ...]]:
    """Return the shapes of all figures that may vary."""
    found: list[tuple[int, ...]] = []

    def note(value: FloatOrArray) -> FloatOrArray:
        found.append(np.shape(value))
        return value

    map_varying(vehicle, note)
    return found
