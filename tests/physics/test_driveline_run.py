"""The longitudinal model with driveline, tyres and stance, against an independent integration and closed forms."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicHermiteSpline, PchipInterpolator
from scipy.optimize import brentq

from runlog.physics.atmosphere import STANDARD_AIR, Air
from runlog.physics.longitudinal import acceleration, simulate
from runlog.physics.power import power_factor
from runlog.physics.powertrain import Powertrain, generic_curve, measured_curve, torque_at
from runlog.physics.vehicle import Converter, Driveline, Stance, Tyre, Vehicle

if TYPE_CHECKING:
    from collections.abc import Callable

G, FOOT, RPM, MPH = 9.80665, 0.3048, np.pi / 30, 0.44704
HOT = Air(303.15, 95000.0, 0.5, -4.0)

CURVE = ([4500, 5200, 6000, 6800, 7600], [505e3, 590e3, 665e3, 700e3, 680e3])
ENGINE = measured_curve([speed * RPM for speed in CURVE[0]], CURVE[1])
LINE = Driveline(
    engine=ENGINE,
    gears=(1.8, 1.0),
    final_drive=4.1,
    shift_speeds=(7200 * RPM,),
    converter=Converter(capacity=590e3 / (5200 * RPM) ** 3),
)
CAR = Vehicle(
    mass=1200.0,
    power=630e3,
    grip_acceleration=1.6 * G,
    stance=Stance(0.47, 0.52, 2.67, downforce_front=0.02, downforce_rear=0.15),
    tyre=Tyre(2.55),
    driveline=LINE,
)
CLUTCH = replace(
    CAR,
    driveline=replace(
        LINE,
        converter=None,
        release_speed=5600 * RPM,
        gears=(2.6, 1.9, 1.4, 1.0),
        shift_speeds=(7300 * RPM, 7400 * RPM, 7400 * RPM),
        shift_time=0.15,
    ),
)


# --- the same equations, solved in time ------------------------------------------------------------------------------


class Reference:
    """The model's equations written down again, implicit ones by bracketed search; no code of ours but the air's."""

    def __init__(self, car: Vehicle, air: Air, torque: Callable[[float], float]) -> None:
        assert car.driveline is not None
        assert car.tyre is not None
        self.car, self.line, self.tyre, self.torque = car, car.driveline, car.tyre, torque
        self.power = float(car.power) / self.line.efficiency * float(power_factor(car.aspiration, air))
        self.density, self.wind = float(air.density), float(air.wind_along)

    def engine_speed(self, turbine: float) -> float:
        made = self.line.converter
        if made is None:
            return max(turbine, float(self.line.release_speed or 0.0))

        def excess(engine: float) -> float:
            taken = made.capacity * (1 - (turbine / engine) ** made.exponent) * engine**2
            return float(self.power * self.torque(engine) - taken)

        return float(brentq(excess, max(turbine, 100.0), 1500.0, xtol=1e-12, rtol=1e-14))

    def radius(self, speed: float) -> float:
        return float(self.tyre.circumference / (2 * np.pi) * (1 + self.tyre.growth * speed**2))

    def turbine(self, speed: float, gear: int) -> float:
        shaft = speed * (1 + self.tyre.slip) / self.radius(speed) * self.line.final_drive
        return float(shaft * self.line.gears[gear])

    def losses(self, speed: float) -> tuple[float, float, float, float]:
        past = speed - self.wind
        push = 0.5 * self.density * past * abs(past)
        stance = self.car.stance
        front, rear = (push * stance.downforce_front, push * stance.downforce_rear) if stance else (0.0, 0.0)
        rolling = self.car.rolling_coefficient * (self.car.mass * G + front + rear)
        return float(push * self.car.drag_area), float(rolling), front, rear

    def by_engine(self, speed: float, gear: int) -> float:
        line, car = self.line, self.car
        overall = float(line.gears[gear] * line.final_drive)
        turbine = self.turbine(speed, gear)
        engine = self.engine_speed(turbine)
        gain = 1.0
        if line.converter is not None:
            slip = max(0.0, 1 - turbine / engine / line.converter.coupling_ratio)
            gain += (float(line.converter.torque_ratio) - 1) * slip
            # central difference of the quasi-static engine speed, where the model has a formula
            step = 1e-3
            follow = (self.engine_speed(turbine + step) - self.engine_speed(max(turbine - step, 0.0))) / (
                step + min(step, turbine)
            )
        else:
            follow = 1.0 if turbine >= engine else 0.0
        radius = self.radius(speed)
        force = line.efficiency * gain * self.power * self.torque(engine) * overall / radius
        turns = line.efficiency * gain * follow * line.engine_inertia * (1 + self.tyre.slip) * (overall / radius) ** 2
        drag, rolling, _, _ = self.losses(speed)
        return float((force - drag - rolling) / (car.mass * (1 + car.rotating_share) + turns))

    def by_tyres(self, speed: float) -> float:
        car, stance = self.car, self.car.stance
        drag, rolling, front_down, rear_down = self.losses(speed)
        if stance is None:
            return float((car.mass * car.grip_acceleration - drag - rolling) / (car.mass * (1 + car.rotating_share)))
        moving = car.mass * (1 + 0.25 * car.rotating_share)
        rest = car.mass * G * (1 - stance.front_share)
        at_launch = rest + car.mass * car.grip_acceleration * stance.height / stance.wheelbase
        strength = car.mass * car.grip_acceleration * at_launch ** (stance.load_sensitivity - 1)

        def short(gain: float) -> float:
            """What the tyres hold beyond what this acceleration asks for, with the load it brings."""
            load = rest + rear_down + (car.mass * gain + drag) * stance.height / stance.wheelbase
            return float(strength * load ** (1 - stance.load_sensitivity) - drag - rolling - moving * gain)

        lift = ((car.mass * G * stance.front_share + front_down) * stance.wheelbase / stance.height - drag) / car.mass
        if short(float(lift)) >= 0:
            return float(lift)
        return float(brentq(short, 0.0, float(lift), xtol=1e-13, rtol=1e-14))

    def gain(self, speed: float, gear: int) -> float:
        return min(self.by_engine(speed, gear), self.by_tyres(speed))

    def run(self, tolerance: float = 1e-10, max_step: float = 0.05) -> tuple[list[float], list[float], list[float]]:
        """Return split times, trap speeds and the speeds at the splits."""
        beams = [0, 60, 330, 594, 660, 1000, 1254, 1320]
        at: dict[int, tuple[float, float]] = {}
        state, start, gear, coasting = [0.0, 0.0], 0.0, 0, False
        while len(at) < len(beams):
            places = [self.car.rollout + feet * FOOT for feet in beams]
            events = [lambda _t, y, place=place: y[0] - place for place in places]

            def shift(_t: float, y: list[float], gear: int = gear) -> float:
                return self.engine_speed(self.turbine(y[1], gear)) - float(self.line.shift_speeds[gear])

            last = gear == len(self.line.gears) - 1
            if not coasting and not last:
                shift.terminal = True  # type: ignore[attr-defined]
                events.append(shift)

            def rates(_t: float, y: list[float], gear: int = gear, coasting: bool = coasting) -> list[float]:
                if not coasting:
                    return [y[1], self.gain(y[1], gear)]
                drag, rolling, _, _ = self.losses(y[1])
                return [y[1], -(drag + rolling) / float(self.car.mass * (1 + self.car.rotating_share))]

            end = start + float(self.line.shift_time) if coasting else 40.0
            found = solve_ivp(
                rates,
                (start, end),
                state,
                method="DOP853",
                rtol=tolerance,
                atol=tolerance,
                max_step=max_step,
                events=events,
            )
            for feet, times, states in zip(beams, found.t_events, found.y_events, strict=False):
                if len(times) and feet not in at:
                    at[feet] = (times[0], states[0][1])
            start, state = found.t[-1], list(found.y[:, -1])
            gear, coasting = gear + coasting, not coasting
            if last and not coasting:
                break
            if last:
                break
        splits = (60, 330, 660, 1000, 1320)
        traps = [66 * FOOT / (at[feet][0] - at[feet - 66][0]) for feet in (660, 1320)]
        return [at[feet][0] - at[0][0] for feet in splits], traps, [at[feet][1] for feet in splits]


_HERMITE = CubicHermiteSpline(ENGINE.speeds, ENGINE.torques, ENGINE.slopes)


def measured_torque(speed: float) -> float:
    """scipy's cubic through our points and slopes; torque held below, falling to nothing at 1.25 times above."""
    first, last = ENGINE.speeds[0], ENGINE.speeds[-1]
    if speed >= last:
        return max(0.0, ENGINE.torques[-1] * (1.25 * last - speed) / (0.25 * last))
    return float(_HERMITE(max(speed, first)))


def parabola(peak: float) -> Callable[[float], float]:
    def torque(speed: float) -> float:
        u = speed / peak
        bend = 1 / (0.22**2 + 0.44)
        return float((1 - bend * (u - 0.78) ** 2) / (1 - bend * 0.22**2) / peak)

    return torque


@pytest.mark.slow
@pytest.mark.parametrize(
    ("car", "air", "torque"),
    [
        (CAR, STANDARD_AIR, measured_torque),
        (CAR, HOT, measured_torque),
        (replace(CAR, driveline=replace(LINE, engine=generic_curve(6700 * RPM))), HOT, parabola(6700 * RPM)),
        (replace(CAR, stance=None, grip_acceleration=1.3 * G), HOT, measured_torque),
        (replace(CAR, grip_acceleration=9 * G, power=900e3), HOT, measured_torque),
        (CLUTCH, HOT, measured_torque),
        (replace(CLUTCH, power=400e3, grip_acceleration=1.0 * G), STANDARD_AIR, measured_torque),
    ],
    ids=["standard", "hot", "generic engine", "no stance", "wheel lift", "clutch", "slick clutch"],
)
def test_against_an_adaptive_integrator(car: Vehicle, air: Air, torque: Callable[[float], float]) -> None:
    times, traps, speeds = Reference(car, air, torque).run()
    run = simulate(car, air)
    assert run.times == pytest.approx(times, abs=1e-5)
    assert run.speeds == pytest.approx(traps, abs=1e-4)
    assert run.crossing.speed == pytest.approx(speeds, abs=1e-4)


@pytest.mark.parametrize("car", [CAR, CLUTCH])
@pytest.mark.parametrize("speed", [0.5, 8.0, 20.0, 33.0])
def test_acceleration_solves_the_equations(car: Vehicle, speed: float) -> None:
    found = acceleration(car, HOT, np.array([speed]))[0]
    assert found == pytest.approx(Reference(car, HOT, measured_torque).gain(speed, 0), rel=1e-6)


# --- the engine's curve and the converter ----------------------------------------------------------------------------


def test_measured_curve_is_the_monotone_cubic_of_its_torque() -> None:
    # scipy's PCHIP (Fritsch and Butland's slopes), between the inner points, where both have the same rule
    x, y = np.array(CURVE[0]) * RPM, np.array(CURVE[1])
    fine = np.linspace(x[1], x[-2], 200)
    oracle = PchipInterpolator(x, y / x)(fine)
    ours = torque_at(ENGINE, fine)[0]
    assert ours / ours[0] == pytest.approx(oracle / oracle[0], rel=1e-12)
    # and its power peaks at 1
    whole = np.linspace(x[0], x[-1], 5001)
    assert (whole * torque_at(ENGINE, whole)[0]).max() == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize(
    ("speeds", "powers"), [([500, 600], [1, 2]), ([500, 500, 600], [1, 2, 3]), ([500, 600, 700], [1, 0, 2])]
)
def test_a_curve_that_is_none_is_refused(speeds: list[float], powers: list[float]) -> None:
    with pytest.raises(ValueError, match="three or more points, engine speed rising and every power more than 0"):
        measured_curve(speeds, powers)


def test_torque_slope_is_the_derivative_of_torque() -> None:
    for curve in (ENGINE, generic_curve(6700 * RPM)):
        speed = np.array([300.0, 480.0, 600.0, 700.0, 800.0, 900.0])
        (high, _), (low, _) = torque_at(curve, speed + 1e-3), torque_at(curve, speed - 1e-3)
        assert torque_at(curve, speed)[1] == pytest.approx((high - low) / 2e-3, rel=1e-5, abs=1e-12)


def train(car: Vehicle) -> Powertrain:
    assert car.driveline is not None
    assert car.tyre is not None
    return Powertrain(car.driveline, car.tyre, np.array([[float(car.power) / car.driveline.efficiency]]))


def test_converter_obeys_its_definitions() -> None:
    # SAE J643: K = N/√T of the engine; torque at a fixed speed ratio goes with the square of engine speed, so 1/K² does
    # not depend on power at stall
    weak, strong = train(replace(CAR, power=400e3)), train(replace(CAR, power=800e3))
    still = np.array([[0.0]])
    for made in (weak, strong):
        found = made.turning(still)
        engine = found.engine[0, 0]
        given = made.power[0, 0] * measured_torque(engine)
        assert given / engine**2 == pytest.approx(LINE.converter.capacity, rel=1e-9)
        assert found.torque[0, 0] / given == pytest.approx(1.9, rel=1e-12)
    assert strong.turning(still).engine > weak.turning(still).engine


def test_converter_never_gives_more_power_than_it_takes() -> None:
    made = train(CAR)
    turbine = np.linspace(0.0, 800.0, 200)[None, :]
    found = made.turning(turbine)
    taken = made.power * np.array([[measured_torque(speed) for speed in found.engine[0]]]) * found.engine
    efficiency = found.torque * turbine / taken
    assert np.all(efficiency <= 1.0)
    assert np.all(np.diff(found.engine) > -1e-9)
    assert np.all(found.engine >= turbine)
    # beyond the coupling point torque is handed on as it is, and efficiency is the speed ratio
    coupled = turbine / found.engine > 0.88
    assert coupled.any()
    assert efficiency[coupled] == pytest.approx((turbine / found.engine)[coupled], rel=1e-12)


def test_engine_speed_and_turbine_speed_are_each_others_inverse() -> None:
    made = train(CAR)
    for rpm in (5800, 6500, 7200):
        turbine = made.turbine_at(np.array([[rpm * RPM]]))
        assert made.turning(turbine).engine[0, 0] == pytest.approx(rpm * RPM, rel=1e-9)


def test_a_tight_converter_comes_near_a_locked_one() -> None:
    locked = replace(CAR, driveline=replace(LINE, converter=None, release_speed=100.0))
    tight = replace(CAR, driveline=replace(LINE, converter=Converter(capacity=1.0, torque_ratio=1.0)))
    speed = np.linspace(20.0, 45.0, 6)
    assert acceleration(tight, HOT, speed, 1) == pytest.approx(acceleration(locked, HOT, speed, 1), rel=0.03)


# --- tyres ------------------------------------------------------------------------------------------------------------


def test_finish_line_speeds_follow_from_tyre_and_gears() -> None:
    # SAE J670: slip ratio S = ω/ω₀ − 1 with ω₀ = V/R_e of the free-rolling tyre (definition); R_e with the growth
    # that ΔR ∝ v² of a thin spinning ring gives
    run = simulate(CAR, HOT)
    tyre, line = CAR.tyre, CAR.driveline
    free = run.crossing.speed / (tyre.circumference / (2 * np.pi) * (1 + tyre.growth * run.crossing.speed**2))
    assert run.crossing.tyre / free - 1 == pytest.approx(np.full(5, tyre.slip), rel=1e-9)
    assert run.crossing.driveshaft == pytest.approx(run.crossing.tyre * line.final_drive, rel=1e-12)
    # top gear is direct: the engine outruns the driveshaft by what the converter slips, slip = 1 − N_out/N_in
    slipping = 1 - run.crossing.driveshaft[-1] / run.crossing.engine[-1]
    assert 0.02 < slipping < 0.15


def test_slip_of_the_published_example() -> None:
    # V 60 m/s, R_e 0.40 m, S 0.10: ω 165 rad/s (SAE J670's definition)
    made = replace(CAR, tyre=Tyre(2 * np.pi * 0.40, growth=0.0, slip=0.10))
    assert train(made).wheel_speed(np.array([[60.0]]))[0, 0] == pytest.approx(165.0, rel=1e-12)


@settings(deadline=None)
@given(st.floats(0.0, 110.0), st.floats(0.0, 8e-6), st.floats(0.0, 0.2))
def test_road_speed_and_wheel_speed_are_each_others_inverse(speed: float, growth: float, slip: float) -> None:
    made = train(replace(CAR, tyre=Tyre(2.6, growth, slip)))
    there = made.wheel_speed(np.array([[speed]]))
    assert made.road_speed(there)[0, 0] == pytest.approx(speed, rel=1e-9, abs=1e-12)


# --- limits, direction, convergence -----------------------------------------------------------------------------------


def test_top_speed_is_the_root_of_the_force_balance() -> None:
    # P/v = ½ ρ S v² + c m g, solved by scipy; the model's acceleration passes through zero there
    car = Vehicle(1200.0, 60e3, 5.0, drag_area=1.0)
    density = float(STANDARD_AIR.density)
    top = brentq(lambda v: 60e3 / v - 0.5 * density * v**2 - 0.015 * 1200 * G, 5.0, 200.0)
    gain = acceleration(car, STANDARD_AIR, np.array([0.999 * top, top, 1.001 * top]))
    assert gain[1] == pytest.approx(0.0, abs=1e-9)
    assert gain[0] > 0 > gain[2]
    # and no run gets past it
    assert np.nanmax(simulate(car, STANDARD_AIR).crossing.speed) < top


def test_geared_car_that_runs_out_of_engine_gives_nan() -> None:
    short = replace(CAR, driveline=replace(LINE, final_drive=7.5))
    run = simulate(short, STANDARD_AIR)
    assert np.all(np.isfinite(run.times[:2]))
    assert np.isnan(run.times[4])


# what each does to the elapsed time: mechanics (more mass, more losses, less power is slower); wind relative to the car
@pytest.mark.parametrize(
    ("change", "slower"),
    [
        ({"mass": 1240.0}, True),
        ({"power": 660e3}, False),
        ({"drag_area": 0.7}, True),
        ({"rolling_coefficient": 0.02}, True),
        ({"rotating_share": 0.08}, True),
        ({"grip_acceleration": 1.4 * G}, True),
        ({"tyre": replace(CAR.tyre, growth=0.0)}, None),
        ({"driveline": replace(LINE, shift_time=0.2)}, True),
        ({"driveline": replace(LINE, engine_inertia=0.5)}, True),
        ({"driveline": replace(LINE, shift_speeds=(6000 * RPM,))}, True),
        ({"driveline": replace(LINE, converter=replace(LINE.converter, torque_ratio=1.6))}, True),
    ],
)
def test_what_makes_a_geared_car_slower(change: dict[str, object], slower: bool | None) -> None:
    # little power, so that what the engine does is seen from the start
    car = replace(CAR, power=500e3, grip_acceleration=1.5 * G)
    before = simulate(car, STANDARD_AIR).times[4]
    after = simulate(replace(car, **{"power": 500e3, **change}), STANDARD_AIR).times[4]  # type: ignore[arg-type]
    if slower is None:
        assert after != before
    else:
        assert (after > before) == slower


def test_wind_and_air_act_on_the_geared_car_as_on_any() -> None:
    still, against, behind = (simulate(CAR, Air(288.15, 101325.0, 0.0, wind)) for wind in (0.0, -5.0, 5.0))
    assert np.all(against.increments > still.increments)
    assert np.all(behind.increments < still.increments)
    dense, thin = (simulate(CAR, Air(288.15, pressure, 0.0)) for pressure in (103000.0, 98000.0))
    assert np.all(dense.increments[1:] < thin.increments[1:])


def test_taller_gears_turn_the_engine_slower_at_the_finish() -> None:
    tall, short = (simulate(replace(CAR, driveline=replace(LINE, final_drive=f)), STANDARD_AIR) for f in (3.9, 4.3))
    assert tall.crossing.engine[-1] < short.crossing.engine[-1]
    assert tall.crossing.driveshaft[-1] < short.crossing.driveshaft[-1]


def test_a_larger_tyre_is_a_taller_final_drive() -> None:
    # identity: force and engine speed depend on final drive over circumference alone (no growth, massless engine)
    base = replace(CAR, tyre=replace(CAR.tyre, growth=0.0), driveline=replace(LINE, engine_inertia=0.0))
    larger = replace(base, tyre=replace(base.tyre, circumference=2.55 * 1.03))
    taller = replace(base, driveline=replace(base.driveline, final_drive=4.1 / 1.03))
    assert simulate(larger, HOT).times == pytest.approx(simulate(taller, HOT).times, abs=1e-9)


def test_features_switched_off_leave_the_plain_model() -> None:
    # a stance with its height near zero moves no load and lifts no wheel, tyres without load sensitivity
    flat = Stance(0.4, 1e-9, 2.6, load_sensitivity=0.0)
    plain = Vehicle(1200.0, 450e3, 1.2 * G, rotating_share=0.0)
    assert simulate(replace(plain, stance=flat), HOT).times == pytest.approx(simulate(plain, HOT).times, abs=1e-7)
    # a clutch that slips at one speed gives constant torque: against the closed form of constant force
    slow = replace(
        CAR,
        stance=None,
        drag_area=0.0,
        rolling_coefficient=0.0,
        rotating_share=0.0,
        rollout=0.0,
        grip_acceleration=1e3,
        tyre=Tyre(2.55, 0.0, 0.0),
        driveline=replace(LINE, converter=None, release_speed=700.0, gears=(1.0,), shift_speeds=(), final_drive=2.0),
    )
    force = 0.9 * float(slow.power) / 0.9 * measured_torque(700.0) * 2.0 / (2.55 / (2 * np.pi))
    x = np.array([60, 330, 660]) * FOOT
    assert simulate(slow, STANDARD_AIR).times[:3] == pytest.approx(np.sqrt(2 * x * 1200.0 / force), abs=1e-6)


def test_a_shift_that_takes_no_time_costs_none() -> None:
    same = replace(LINE, gears=(1.8, 1.8), shift_time=0.0)
    one = replace(LINE, gears=(1.8,), shift_speeds=())
    with_shift, without = (simulate(replace(CAR, driveline=line), HOT) for line in (same, one))
    assert with_shift.times[:2] == pytest.approx(without.times[:2], abs=1e-10)


def test_many_variants_at_once_give_what_each_gives_alone() -> None:
    masses, drives = np.array([1150.0, 1200.0, 1260.0]), np.array([3.9, 4.1, 4.4])
    together = simulate(replace(CAR, mass=masses, driveline=replace(LINE, final_drive=drives)), HOT)
    for row, (mass, drive) in enumerate(zip(masses, drives, strict=True)):
        alone = simulate(replace(CAR, mass=mass, driveline=replace(LINE, final_drive=drive)), HOT)
        assert together.times[row] == pytest.approx(alone.times, abs=1e-10)
        assert together.crossing.engine[row] == pytest.approx(alone.crossing.engine, rel=1e-10)


@pytest.mark.parametrize("car", [CAR, CLUTCH, replace(CAR, grip_acceleration=9 * G)])
def test_finer_pieces_change_nothing(car: Vehicle, monkeypatch: pytest.MonkeyPatch) -> None:
    before = simulate(car, HOT)
    monkeypatch.setattr("runlog.physics.motion._CUTS", 24)
    after = simulate(car, HOT)
    assert after.times == pytest.approx(before.times, abs=1e-7)
    assert after.speeds == pytest.approx(before.speeds, abs=1e-6)


def test_a_driveline_without_a_tyre_is_refused() -> None:
    with pytest.raises(ValueError, match="a driveline needs a tyre"):
        replace(CAR, tyre=None)
    with pytest.raises(ValueError, match="one shift speed less than gears"):
        replace(CAR, driveline=replace(LINE, shift_speeds=()))


# --- what the quasi-static engine leaves out --------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("launch_rpm", [5200, 4200])
def test_an_engine_with_momentum_of_its_own_changes_little(launch_rpm: float) -> None:
    """The same car with the engine's speed a state of its own: I dω/dt = what it gives less what the converter takes.

    From its stall speed the splits stay within 0.02 s; from a lower launch speed the flare costs more at the start and
    nothing after it, which is why effects on the launch are left to the runs.
    """
    reference = Reference(
        replace(CAR, driveline=replace(LINE, gears=(1.8,), shift_speeds=())), STANDARD_AIR, measured_torque
    )
    made, line, car = LINE.converter, reference.line, reference.car
    assert made is not None

    def rates(_t: float, y: list[float]) -> list[float]:
        _, speed, engine = y
        turbine = reference.turbine(speed, 0)
        ratio = min(turbine / engine, 1.0)
        taken = float(made.capacity * (1 - ratio**made.exponent) * engine**2)
        gain = 1 + (float(made.torque_ratio) - 1) * max(0.0, 1 - ratio / made.coupling_ratio)
        drag, rolling, _, _ = reference.losses(speed)
        force = line.efficiency * gain * taken * 1.8 * float(line.final_drive) / reference.radius(speed)
        pulled = (force - drag - rolling) / float(car.mass * (1 + car.rotating_share))
        turned = (reference.power * measured_torque(engine) - taken) / float(line.engine_inertia)
        return [speed, min(pulled, reference.by_tyres(speed)), turned]

    places = [car.rollout + feet * FOOT for feet in (0, 60, 330)]
    events = [lambda _t, y, place=place: y[0] - place for place in places]
    found = solve_ivp(rates, (0, 6), [0.0, 0.0, launch_rpm * RPM], events=events, rtol=1e-8, atol=1e-8, max_step=0.02)
    start, sixty, further = (times[0] for times in found.t_events)
    ours = simulate(car, STANDARD_AIR).times
    allowed = 0.02 if launch_rpm == 5200 else 0.06
    assert sixty - start == pytest.approx(ours[0], abs=allowed)
    assert further - sixty == pytest.approx(ours[1] - ours[0], abs=0.02)


def test_time_speed_and_distance_lie_between_constant_power_and_constant_force() -> None:
    # v t/x is 1.5 at constant power and 2 at constant force (identities); the textbook figures of a top-fuel car, 4.5 s
    # and 148 m/s over 402.336 m, give 1.655 (MIT mechanics wiki). Bodies that grip first and then pull lie between.
    for car in (CAR, replace(CAR, power=7e6, grip_acceleration=4.0 * G, stance=None, driveline=None, drag_area=1.0)):
        run = simulate(replace(car, rollout=0.0), STANDARD_AIR)
        found = run.crossing.speed * run.times / (np.array([60, 330, 660, 1000, 1320]) * FOOT)
        assert 1.4 < found[-1] < 2.0  # drag takes a little off the speed that power alone would give
        assert np.all(np.diff(found) < 0)  # force rules first, power last
