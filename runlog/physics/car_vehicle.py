"""From a car file to the longitudinal model, as deep as the file allows.

With the least that a car file holds, power is constant at its mean from shift to shift and the tyres hold a constant
force per mass. Front weight and the height of the centre of gravity bring weight transfer and wheel lift; gear ratios,
with anything that tells where the engine works (a power curve, where its greatest power is, or a shift speed), bring
engine, converter or clutch and gears. Whatever is still missing is common practice without a source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.constants import STANDARD_GRAVITY
from runlog.physics import vehicle as defaults
from runlog.physics.grip import TYRE_FRICTION, held_by
from runlog.physics.power import rating_to_reference
from runlog.physics.powertrain import PEAK_TORQUE_AT, generic_curve, measured_curve, torque_at
from runlog.physics.vehicle import Converter, Driveline, Stance, Tyre, Vehicle
from runlog.records import Powertrain

if TYPE_CHECKING:
    from collections.abc import Mapping

    from runlog.physics.vehicle import EngineCurve
    from runlog.records import Car

CONVERTER_LOSS_TOO: Final = 0.82
"""power at the wheels over power at the engine, converter and all, where no driveline is known"""
BAND_SHARE: Final = 0.88
"""mean power from shift to shift over rated power, where no driveline is known"""
LAUNCH_ACCELERATION: Final = 1.4 * STANDARD_GRAVITY
"""[m/s²] where the centre of gravity is not known"""
SHIFT_PAST_PEAK: Final = 1.05
"""shift speed over the speed of greatest power"""
STALL_AT: Final = 0.75
"""stall speed of a converter over the speed of greatest power"""
CLUTCH_SHIFT_TIME: Final = 0.15
"""[s] without drive at a shift with a clutch"""

_RPM: Final = np.pi / 30.0


def vehicle_of(car: Car, rollout: float, settings: Mapping[str, float] | None = None) -> Vehicle:
    """Return the model of a car from its file and the track's rollout [m].

    ``settings``: adjustables of the setup sheet in the catalogue's units, by name; a shift speed, stall speed or final
    drive there goes before the file's. Rated power is brought to ``STANDARD_AIR`` from the standard it was stated to.
    """
    settings = settings or {}
    stance = _stance(car)
    line = _driveline(car, settings)
    power = car.power * rating_to_reference(car.power_standard)
    if line is None:
        power *= BAND_SHARE * (1.0 if car.power_at == "wheels" else CONVERTER_LOSS_TOO)
    elif car.power_at != "wheels":
        power *= line.efficiency
    friction = TYRE_FRICTION if car.tyre is None or car.tyre.friction is None else car.tyre.friction
    grip = LAUNCH_ACCELERATION if stance is None else float(held_by(friction, stance))
    return Vehicle(
        mass=car.race_mass,
        power=power,
        grip_acceleration=grip,
        drag_area=defaults.DRAG_AREA if car.drag_area is None else car.drag_area,
        rollout=rollout,
        aspiration=car.aspiration,
        stance=stance,
        tyre=_tyre(car),
        driveline=line,
    )


def _stance(car: Car) -> Stance | None:
    if car.front_share is None or car.centre_of_gravity_height is None:
        return None
    given = None if car.tyre is None else car.tyre.load_sensitivity
    return Stance(
        front_share=car.front_share,
        height=car.centre_of_gravity_height,
        wheelbase=car.wheelbase,
        load_sensitivity=defaults.LOAD_SENSITIVITY if given is None else given,
        downforce_front=car.downforce_area_front or 0.0,
        downforce_rear=car.downforce_area_rear or 0.0,
    )


def _tyre(car: Car) -> Tyre:
    given = car.tyre
    return Tyre(
        circumference=car.tyre_circumference,
        growth=defaults.TYRE_GROWTH if given is None or given.growth is None else given.growth,
        slip=defaults.TYRE_SLIP if given is None or given.slip is None else given.slip,
    )


def shift_speeds(car: Car, settings: Mapping[str, float]) -> tuple[float, ...]:
    """Return the engine speed [rad/s] of each shift by sheet or car file; empty when neither tells."""
    count = max(len(car.gear_ratios) - 1, 0)
    if "shift rpm" in settings:
        return (settings["shift rpm"] * _RPM,) * count
    given = car.powertrain.shift_speeds if car.powertrain else ()
    return given * count if len(given) == 1 else given


def _driveline(car: Car, settings: Mapping[str, float]) -> Driveline | None:
    """Return the driveline; None where nothing tells at which speeds the engine works."""
    file = car.powertrain or Powertrain()
    shifts = shift_speeds(car, settings)
    found = _engine(file, shifts)
    if not car.gear_ratios or found is None:
        return None
    engine, peak_at = found
    clutch = car.launch == "clutch" or file.clutch_release is not None
    efficiency = defaults.DRIVELINE_EFFICIENCY if file.efficiency is None else file.efficiency
    usual_shift = CLUTCH_SHIFT_TIME if clutch else defaults.SHIFT_TIME
    return Driveline(
        engine=engine,
        gears=car.gear_ratios,
        final_drive=settings.get("final drive", car.final_drive),
        shift_speeds=shifts or (SHIFT_PAST_PEAK * peak_at,) * (len(car.gear_ratios) - 1),
        converter=None if clutch else _converter(car, engine, (peak_at, efficiency), settings),
        release_speed=(file.clutch_release or PEAK_TORQUE_AT * peak_at) if clutch else None,
        shift_time=usual_shift if file.shift_time is None else file.shift_time,
        efficiency=efficiency,
        engine_inertia=defaults.ENGINE_INERTIA if file.engine_inertia is None else file.engine_inertia,
    )


def _engine(file: Powertrain, shifts: tuple[float, ...]) -> tuple[EngineCurve, float] | None:
    """Return the engine's curve and the speed [rad/s] of its greatest power."""
    if file.power_curve:
        curve = measured_curve([speed for speed, _ in file.power_curve], [power for _, power in file.power_curve])
        fine = np.linspace(curve.speeds[0], curve.speeds[-1], 2001)
        return curve, float(fine[np.argmax(fine * torque_at(curve, fine)[0])])
    peak_at = file.peak_power_at or (shifts[0] / SHIFT_PAST_PEAK if shifts else None)
    return None if peak_at is None else (generic_curve(peak_at), peak_at)


def _converter(
    car: Car, engine: EngineCurve, engine_facts: tuple[float, float], settings: Mapping[str, float]
) -> Converter:
    """Return the converter that holds this engine at its stall speed."""
    peak_at, efficiency = engine_facts
    file = car.powertrain or Powertrain()
    stall = file.converter_stall or STALL_AT * peak_at
    if "converter stall" in settings:
        stall = settings["converter stall"] * _RPM
    power = car.power * rating_to_reference(car.power_standard) / (efficiency if car.power_at == "wheels" else 1.0)
    torque = power * float(torque_at(engine, np.array([stall]))[0][0])
    ratio = defaults.CONVERTER_TORQUE_RATIO if file.converter_torque_ratio is None else file.converter_torque_ratio
    return Converter(capacity=torque / stall**2, torque_ratio=ratio)
