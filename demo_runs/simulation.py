"""A straight-line run, stepped through time: engine, converter, gears, tyres, weight transfer, drag and wind.

This stands apart from the program on purpose: it shares no code with it, so that what the program finds in the
demo runs is checked against something it didn't compute itself. SI units; x forward from rest. Coefficients of tyre,
converter and losses are plausible inventions, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

G = 9.80665
STEP_S = 0.002
ROLLING = 0.016
DRIVELINE_EFFICIENCY = 0.88
IDLE = 105.0  # [rad/s]


@dataclass(frozen=True)
class Air:
    temperature_c: float = 15.0
    humidity: float = 0.0  # 0…1
    pressure_pa: float = 101325.0
    head_wind: float = 0.0  # [m/s] against the car

    @property
    def vapour_pressure(self) -> float:
        """[Pa] Magnus form, coefficients of Alduchov & Eskridge (1996)."""
        t = self.temperature_c
        return self.humidity * 610.94 * math.exp(17.625 * t / (243.04 + t))

    @property
    def density(self) -> float:
        """[kg/m³] ideal mixture of dry air and water vapour."""
        kelvin = self.temperature_c + 273.15
        dry = self.pressure_pa - self.vapour_pressure
        return dry / (287.05 * kelvin) + self.vapour_pressure / (461.5 * kelvin)

    def power_factor(self, sensitivity: float) -> float:
        """Engine power against 99 kPa dry and 25 °C: dry pressure, root of temperature, times ``sensitivity``."""
        dry = self.pressure_pa - self.vapour_pressure
        factor = dry / 99000.0 * math.sqrt(298.15 / (self.temperature_c + 273.15))
        return 1.0 + sensitivity * (factor - 1.0)


STANDARD_AIR = Air()


@dataclass(frozen=True)
class Parameters:
    """What the simulation needs of a car with its settings."""

    mass: float
    wheelbase: float
    front_share: float
    height: float  # centre of gravity [m]
    torque: float  # peak [N·m]
    torque_rpm: float  # where
    torque_span_rpm: float  # torque falls to zero this far from its peak
    air_sensitivity: float
    gears: tuple[float, ...]
    final_drive: float
    circumference: float  # [m] at rest
    drag_area: float
    grip: float  # friction of the driven tyres
    launch_rpm: float
    shift_rpm: float
    stall_rpm: float  # engine speed against a held output at full throttle
    growth: float = 6.0e-6  # circumference gain per (m/s)²
    rolling: float = ROLLING
    lift_area: float = 0.0  # [m²] downforce area on the driven axle
    hit: float = 1.0  # grip factor of the first 0.4 s, from links and shocks
    settle: float = 1.0  # grip factor from 0.4 to 1.2 s
    pitch_lag: float = 0.11  # [s]
    retard: float = 0.0  # share of torque taken out at launch, gone after 0.7 s
    nitrous_torque: float = 0.0  # [N·m] added once its delay has passed
    nitrous_delay: float = 0.0  # [s]
    engine_inertia: float = 0.28
    limiter_rpm: float = 8200.0
    shift_time: float = 0.10


@dataclass(frozen=True)
class Plan:
    """What the driver and the ground do in this run."""

    lift_m: float  # throttle lift at this distance from rest
    brake: bool = True  # brakes 0.5 s after the lift, or coasts on
    stop_m: float = 1e9  # the recording ends 2 s after this distance
    shake: tuple[float, float] | None = None  # [s] tyre shake from, to


@dataclass(frozen=True)
class Motion:
    """Lists of equal length, one entry a step."""

    time: list[float]
    x: list[float]
    v: list[float]
    engine: list[float]  # [rad/s]
    shaft: list[float]  # driveshaft [rad/s]
    throttle: list[float]
    lift_time: float | None
    shift_times: tuple[float, ...]


def simulate(car: Parameters, air: Air, plan: Plan) -> Motion:
    """Run from rest at the stage beam, brake released at time 0, until 2 s after ``stop_m`` or 2.5 s after the lift."""
    density, power = air.density, air.power_factor(car.air_sensitivity)
    stall = car.stall_rpm * math.pi / 30
    capacity = engine_torque(car, stall, 0.0) / stall**2
    radius = car.circumference / (2 * math.pi)
    time = x = v = accel = transfer = before = 0.0
    engine, shaft, gear_ratio, gear = car.launch_rpm * math.pi / 30, 0.0, car.gears[0], 0
    shift_speed, shift_from, shift_times = car.shift_rpm * math.pi / 30, -1.0, []
    lift_time: float | None = None
    stop_time = 1e9
    rows: list[tuple[float, ...]] = []
    while time < min(stop_time, 25.0):
        if lift_time is None and x >= plan.lift_m:
            lift_time = time - (x - plan.lift_m) / v
        throttle = 1.0 if lift_time is None else max(0.0, 1.0 - (time - lift_time) / 0.12)
        rows.append((time, x, v, engine, shaft, throttle))
        # converter and gears
        if shift_from >= 0.0:
            done = min(1.0, (time - shift_from) / car.shift_time)
            gear_ratio = car.gears[gear - 1] + (car.gears[gear] - car.gears[gear - 1]) * done * done * (3 - 2 * done)
            shift_from = -1.0 if done >= 1.0 else shift_from
        elif engine >= shift_speed and gear + 1 < len(car.gears) and throttle > 0.5:
            gear, shift_from = gear + 1, time - STEP_S * (engine - shift_speed) / max(engine - before, 1e-9)
            shift_times.append(shift_from)
        turbine = shaft * gear_ratio
        ratio = turbine / engine
        pump, gain = converter(ratio, capacity, engine)
        drive = pump * gain * gear_ratio * car.final_drive * DRIVELINE_EFFICIENCY / radius
        # engine
        before = engine
        torque = engine_torque(car, engine, time) * power * throttle - 45.0 * (1.0 - throttle)
        if engine < IDLE:
            torque = max(torque, pump + 20.0)
        engine += STEP_S * (torque - pump) / car.engine_inertia
        # tyre: load, grip, slip
        transfer += STEP_S / car.pitch_lag * (accel - transfer)
        weight = car.mass * G
        load = weight * (1.0 - car.front_share) + car.mass * transfer * car.height / car.wheelbase
        load = min(load, weight) + 0.5 * density * car.lift_area * v * v
        limit = car.grip * grip_factor(car, plan, time) * load * min(1.0, (time + 0.004) / 0.03)
        thrust, slip = tyre(drive, limit)
        # body
        wind = v + air.head_wind
        drag = 0.5 * density * car.drag_area * wind * abs(wind) + car.rolling * weight * min(1.0, v)
        if plan.brake and lift_time is not None and time > lift_time + 0.5 and v > 2.0:
            drag += 0.55 * weight
        spinning = car.mass * (1.035 + 0.012 * gear_ratio**2)
        accel = (thrust - drag) / spinning
        x += STEP_S * (v + 0.5 * STEP_S * accel)
        v = max(0.0, v + STEP_S * accel)
        wheel = v + slip * (v + 1.5)
        shaft += STEP_S / 0.012 * (wheel / (radius * (1.0 + car.growth * v * v)) * car.final_drive - shaft)
        time += STEP_S
        if stop_time > 1e8 and (x >= plan.stop_m or (plan.brake and lift_time is not None)):
            stop_time = time + (2.0 if x >= plan.stop_m else 2.5)
    columns = [list(column) for column in zip(*rows, strict=True)]
    return Motion(*columns, lift_time=lift_time, shift_times=tuple(shift_times))  # type: ignore[arg-type]


def engine_torque(car: Parameters, speed: float, time: float) -> float:
    """[N·m] at full throttle in reference air; a parabola about its peak, cut by the limiter."""
    rpm = speed * 30 / math.pi
    torque = car.torque * (1.0 - ((rpm - car.torque_rpm) / car.torque_span_rpm) ** 2)
    if car.nitrous_torque and time > car.nitrous_delay:
        torque += car.nitrous_torque * min(1.0, (time - car.nitrous_delay) / 0.15)
    if car.retard:
        torque *= 1.0 - car.retard * max(0.0, 1.0 - time / 0.7)
    return torque * max(0.0, min(1.0, (car.limiter_rpm - rpm) / 150.0))


def converter(ratio: float, capacity: float, engine: float) -> tuple[float, float]:
    """Return pump torque [N·m] and torque ratio at a speed ratio; torque falls off towards equal speeds."""
    if ratio >= 1.0:
        return -capacity * engine**2 * min(0.15, 3.0 * (ratio - 1.0)), 1.0
    fill = 1.0 - ratio**9
    return capacity * engine**2 * fill, 1.0 + max(0.0, 0.85 * (1.0 - ratio / 0.86))


def grip_factor(car: Parameters, plan: Plan, time: float) -> float:
    """Grip against the tyre's usual: how the axle is hit first, how it settles then, tyre shake."""
    early = 1.0 / (1.0 + math.exp((time - 0.4) / 0.05))
    late = 1.0 / (1.0 + math.exp((time - 1.2) / 0.1))
    factor = 1.0 + (car.hit - 1.0) * early + (car.settle - 1.0) * (late - early)
    if plan.shake is not None and plan.shake[0] < time < plan.shake[1]:
        factor *= 0.62
    return factor


def tyre(drive: float, limit: float) -> tuple[float, float]:
    """Return thrust [N] and slip: near what is asked below the limit, sliding and a little less beyond it."""
    use = drive / limit
    if use <= 0.0:
        return max(drive, -0.3 * limit), 0.0
    thrust = limit * use / (1.0 + use**8) ** 0.125
    thrust *= 1.0 - 0.06 * min(1.5, max(0.0, use - 1.0))
    slip = 0.025 * min(use, 1.0) + min(0.35, 0.10 * min(use, 2.0) ** 5)
    return thrust, slip
