"""The invented cars: what the simulation needs of them, and what each setting does."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from simulation import Parameters

if TYPE_CHECKING:
    from collections.abc import Mapping

LB = 0.45359237
IN = 0.0254
BALLAST_PLACE_M = (-0.30, 0.0, 0.40)  # x forward of the rear axle, y to the left, z up, of the rear mount of every car


@dataclass(frozen=True)
class Adjustable:
    """An adjustable in the car file: baseline, usual step and limits in ``unit``; holes as (label, x in, z in)."""

    name: str
    unit: str
    baseline: float
    step: float
    low: float
    high: float
    holes: tuple[tuple[str, float, float], ...] = ()
    cautions: str | None = None


@dataclass(frozen=True)
class DemoCar:
    name: str
    description: str
    aspiration: str
    launch: str
    power_hp: int
    race_weight_lb: int
    wheelbase_in: float
    corner_lb: tuple[int, int, int, int]  # left front, right front, left rear, right rear
    height_in: float
    circumference_in: float
    drag_area: float
    base: Parameters
    adjustables: tuple[Adjustable, ...]
    optimum: Mapping[str, float]  # of the curved adjustables
    run_sd: tuple[float, ...] = (0.012, 0.010, 0.008, 0.008, 0.008)
    # what only the car file and the sheet say: the simulation knows nothing of it
    track_in: tuple[float, float] | None = None  # front, rear
    loaded_radius_in: float | None = None
    driveshaft: tuple[float, float, float] | None = None  # length [in], front higher by [in], transmission [deg]
    pinion_deg: float | None = None  # to the driveshaft
    papers: tuple[tuple[str, str, str, str], ...] = ()  # kind, holds to, quickest, highest speed; empty: not said

    def baseline(self) -> dict[str, float]:
        return {item.name: item.baseline for item in self.adjustables}


def adjust(car: DemoCar, settings: Mapping[str, float]) -> Parameters:
    """Return the simulation's parameters of a car with these settings (holes by position)."""
    p, base = car.base, car.baseline()
    moved = {name: value - base[name] for name, value in settings.items()}
    ballast = moved.get("ballast rear", 0.0) * LB
    if ballast:
        place = BALLAST_PLACE_M[0]
        front = (p.mass * p.front_share * p.wheelbase + ballast * place) / p.wheelbase
        p = replace(p, mass=p.mass + ballast, front_share=front / (p.mass + ballast))
    grip, hit, settle = p.grip, p.hit, p.settle
    for name, per_square in (("rear tyre pressure", 0.020), ("rear shock extension", 0.0009)):
        if name in settings:
            best = car.optimum[name]
            loss = per_square * ((settings[name] - best) ** 2 - (base[name] - best) ** 2)
            grip, hit = (grip * (1 - loss), hit) if name == "rear tyre pressure" else (grip, hit * (1 - loss))
    hole = moved.get("upper link front hole", 0.0)
    hit, settle = hit * (1 + 0.055 * hole - 0.015 * hole**2), settle * (1 - 0.006 * hole)
    if "launch rpm" in settings:
        best = car.optimum["launch rpm"]
        hit *= 1 - 0.004 * (((settings["launch rpm"] - best) / 200) ** 2 - ((base["launch rpm"] - best) / 200) ** 2)
    settle *= 1 + 0.004 * moved.get("wheelie-bar height", 0.0)
    rolling = p.rolling * (1 - 0.03 * moved.get("rear tyre pressure", 0.0))
    rolling *= 1 - 0.002 * moved.get("front tyre pressure", 0.0)
    return replace(
        p,
        grip=grip,
        hit=hit,
        settle=settle,
        rolling=rolling,
        launch_rpm=settings.get("launch rpm", p.launch_rpm),
        shift_rpm=settings.get("shift rpm", p.shift_rpm),
        pitch_lag=p.pitch_lag * (1 - 0.01 * moved.get("front shock extension", 0.0)),
        retard=p.retard + 0.016 * moved.get("launch ignition retard", 0.0),
        torque=p.torque * (1 + 0.028 * moved.get("boost target", 0.0)),
        nitrous_delay=settings.get("nitrous delay", p.nitrous_delay),
        drag_area=p.drag_area * (1 + 0.012 * moved.get("wing angle", 0.0)),
        lift_area=p.lift_area + 0.04 * moved.get("wing angle", 0.0),
    )


def _links(scale: float) -> tuple[Adjustable, ...]:
    """Four-link brackets [in]: x forward of the rear axle, z up from the ground, for a tyre of 16 in radius × scale."""
    z = 16.0 * scale
    upper_front = tuple((str(n + 1), 19.5, round(z - 1.2 - 1.1 * n, 2)) for n in range(3))
    upper_rear = tuple((str(n + 1), 1.5, round(z + 4.0 + 1.0 * n, 2)) for n in range(2))
    lower_front = tuple((str(n + 1), 21.0, round(z - 7.4 + 0.9 * n, 2)) for n in range(2))
    lower_rear = tuple((str(n + 1), 1.0, round(z - 7.2 + 0.8 * n, 2)) for n in range(2))
    return (
        Adjustable("upper link front hole", "hole", 0, 1, 0, 2, upper_front),
        Adjustable("upper link rear hole", "hole", 0, 1, 0, 1, upper_rear),
        Adjustable("lower link front hole", "hole", 0, 1, 0, 1, lower_front),
        Adjustable("lower link rear hole", "hole", 0, 1, 0, 1, lower_rear),
    )


def _car(head: DemoCar, **engine: object) -> DemoCar:
    """Fill in the parameters that follow from the car's own figures."""
    front = sum(head.corner_lb[:2]) / sum(head.corner_lb)
    base = replace(
        head.base,
        mass=head.race_weight_lb * LB,
        wheelbase=head.wheelbase_in * IN,
        front_share=front,
        height=head.height_in * IN,
        circumference=head.circumference_in * IN,
        drag_area=head.drag_area,
        **engine,  # type: ignore[arg-type]
    )
    settings = head.baseline()
    base = replace(base, launch_rpm=settings["launch rpm"], shift_rpm=settings["shift rpm"])
    return replace(head, base=replace(base, nitrous_delay=settings.get("nitrous delay", 0.0)))


_BLANK = Parameters(1, 1, 0.5, 0.5, 1, 6000, 5000, 1, (1.0,), 4.0, 2.5, 0.6, 2.0, 4000, 7000, 5000)

HERON = _car(
    DemoCar(
        name="heron",
        description="Invented customer car: tube frame, four-link, two-speed automatic, no power adder",
        aspiration="natural",
        launch="transmission brake",
        power_hp=820,
        race_weight_lb=2650,
        wheelbase_in=105.0,
        corner_lb=(612, 623, 704, 711),
        height_in=20.5,
        circumference_in=100.5,
        drag_area=0.62,
        base=_BLANK,
        papers=(
            ("chassis certificate", "2034-03-31", "8.50 s", "175 mph"),
            ("belts", "2033-12-31", "", ""),
            ("fire system", "2032-12-31", "", ""),
            ("parachute", "2032-12-31", "", ""),
        ),
        adjustables=(
            Adjustable("rear tyre pressure", "psi", 7.0, 0.5, 5.0, 9.0),
            Adjustable("front tyre pressure", "psi", 32, 2, 26, 40),
            *_links(1.0),
            Adjustable("ballast rear", "lb", 50, 25, 0, 125),
            Adjustable("launch rpm", "rpm", 4200, 200, 3400, 4800),
            Adjustable("shift rpm", "rpm", 7200, 100, 6800, 7500),
            Adjustable("rear shock extension", "click", 8, 2, 0, 18),
        ),
        optimum={"rear tyre pressure": 5.2, "rear shock extension": 12.0, "launch rpm": 4350},
        track_in=(60.0, 56.5),
        loaded_radius_in=15.4,
        driveshaft=(48.0, 1.5, 2.5),
        pinion_deg=-2.0,
    ),
    torque=872.0,
    torque_rpm=5800,
    torque_span_rpm=5370,
    air_sensitivity=1.18,
    gears=(1.80, 1.0),
    final_drive=4.10,
    grip=2.25,
    stall_rpm=5000,
)

PLOVER = _car(
    DemoCar(
        name="plover",
        description="Invented shop car: belt-driven supercharger, two-speed automatic",
        aspiration="supercharged",
        launch="transmission brake",
        power_hp=1350,
        race_weight_lb=2780,
        wheelbase_in=112.0,
        corner_lb=(640, 652, 739, 749),
        height_in=21.0,
        circumference_in=104.0,
        drag_area=0.72,
        base=_BLANK,
        papers=(
            ("chassis certificate", "2034-03-31", "7.50 s", "200 mph"),
            ("belts", "2033-12-31", "", ""),
            ("fire system", "2032-12-31", "", ""),
            ("parachute", "2032-12-31", "", ""),
        ),
        adjustables=(
            Adjustable("rear tyre pressure", "psi", 6.5, 0.5, 4.5, 8.0),
            *_links(1.03),
            Adjustable("ballast rear", "lb", 25, 25, 0, 100),
            Adjustable("launch rpm", "rpm", 3600, 200, 3000, 4400),
            Adjustable("shift rpm", "rpm", 7400, 100, 7000, 7700),
            Adjustable("wing angle", "deg", 4, 1, 0, 10),
            Adjustable("wheelie-bar height", "in", 4.0, 0.5, 2.5, 6.0),
        ),
        optimum={"rear tyre pressure": 6.1, "launch rpm": 3900},
        run_sd=(0.013, 0.010, 0.008, 0.008, 0.008),
    ),
    torque=1410.0,
    torque_rpm=5900,
    torque_span_rpm=5200,
    air_sensitivity=1.10,
    gears=(1.76, 1.0),
    final_drive=3.70,
    grip=2.30,
    stall_rpm=5600,
    lift_area=0.35,
)

CURLEW = _car(
    DemoCar(
        name="curlew",
        description="Invented customer car: one turbocharger, three-speed automatic",
        aspiration="turbocharged",
        launch="transmission brake",
        power_hp=1120,
        race_weight_lb=2940,
        wheelbase_in=107.5,
        corner_lb=(702, 711, 760, 767),
        height_in=20.0,
        circumference_in=101.0,
        drag_area=0.66,
        base=_BLANK,
        adjustables=(
            Adjustable("rear tyre pressure", "psi", 9.0, 0.5, 7.0, 12.0),
            *_links(1.0),
            Adjustable("launch rpm", "rpm", 3500, 200, 2900, 4200),
            Adjustable("shift rpm", "rpm", 7100, 100, 6700, 7400),
            Adjustable("boost target", "psi", 18, 1, 12, 22),
            Adjustable("launch ignition retard", "deg", 4, 2, 0, 12),
            Adjustable("front shock extension", "click", 6, 2, 0, 16),
        ),
        optimum={"rear tyre pressure": 8.6, "launch rpm": 3900},
    ),
    torque=1240.0,
    torque_rpm=5500,
    torque_span_rpm=4900,
    air_sensitivity=0.45,
    gears=(2.10, 1.40, 1.0),
    final_drive=3.70,
    grip=2.00,
    stall_rpm=4700,
    retard=0.05,
)

DUNLIN = _car(
    DemoCar(
        name="dunlin",
        description="Invented customer car: nitrous oxide on a timer, two-speed automatic",
        aspiration="nitrous",
        launch="transmission brake",
        power_hp=960,
        race_weight_lb=2520,
        wheelbase_in=104.0,
        corner_lb=(585, 590, 670, 675),
        height_in=20.0,
        circumference_in=99.0,
        drag_area=0.60,
        base=_BLANK,
        adjustables=(
            Adjustable("rear tyre pressure", "psi", 7.5, 0.5, 5.5, 9.5),
            *_links(0.98),
            Adjustable("ballast rear", "lb", 25, 25, 0, 100),
            Adjustable("launch rpm", "rpm", 3900, 200, 3300, 4700),
            Adjustable("shift rpm", "rpm", 7300, 100, 6900, 7600),
            Adjustable("nitrous delay", "s", 0.5, 0.1, 0.2, 1.5),
            Adjustable("rear shock extension", "click", 10, 2, 0, 18),
        ),
        optimum={"rear tyre pressure": 7.3, "rear shock extension": 10.6, "launch rpm": 4300},
    ),
    torque=760.0,
    torque_rpm=5800,
    torque_span_rpm=5300,
    nitrous_torque=240.0,
    air_sensitivity=0.85,
    gears=(1.82, 1.0),
    final_drive=4.00,
    grip=2.15,
    stall_rpm=5200,
)

WIGEON = _car(
    DemoCar(
        name="wigeon",
        description="Invented shop car for 660 ft: two-speed automatic, foot brake",
        aspiration="natural",
        launch="foot brake",
        power_hp=605,
        race_weight_lb=2380,
        wheelbase_in=104.0,
        corner_lb=(560, 566, 624, 630),
        height_in=20.0,
        circumference_in=94.0,
        drag_area=0.61,
        base=_BLANK,
        adjustables=(
            Adjustable("rear tyre pressure", "psi", 10.0, 0.5, 8.0, 14.0),
            *_links(0.94),
            Adjustable("ballast rear", "lb", 0, 25, 0, 100),
            Adjustable("launch rpm", "rpm", 2600, 200, 1800, 3200),
            Adjustable("shift rpm", "rpm", 6800, 100, 6400, 7100),
            Adjustable("front tyre pressure", "psi", 30, 2, 24, 38),
        ),
        optimum={"rear tyre pressure": 9.2, "launch rpm": 3100},
        run_sd=(0.020, 0.012, 0.009, 0.009, 0.009),
    ),
    torque=670.0,
    torque_rpm=5400,
    torque_span_rpm=5000,
    air_sensitivity=1.18,
    gears=(1.80, 1.0),
    final_drive=4.10,
    grip=1.95,
    stall_rpm=4800,
)

CARS = (HERON, PLOVER, CURLEW, DUNLIN, WIGEON)
