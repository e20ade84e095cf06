"""Engine, torque converter or clutch, and gears, taken quasi-statically: what they give depends on road speed alone.

A converter takes a torque C (1 − s^n) ω² from the engine at speed ratio s = turbine over engine and hands on the torque
ratio times it (terms of SAE J643; the shape of both curves is generic, common practice, no source). The engine runs
where its torque is what the converter takes. A clutch holds the engine at its release speed until the car has caught
up. The engine's own inertia counts by how its quasi-static speed follows the turbine's.

Arrays: parameters of cases are columns (c, 1), speeds rows of columns (c, k).
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.physics.vehicle import EngineCurve

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.physics.vehicle import Driveline, FloatArray, Tyre

PEAK_TORQUE_AT: Final = 0.78
"""of the speed of greatest power, where the generic engine has its greatest torque. Common practice, no source."""
_BEYOND: Final = 1.25
"""of the last point's speed, where torque past the curve has fallen to nothing. Common practice, no source."""


def generic_curve(peak_speed: float) -> EngineCurve:
    """Return a torque parabola with its top at 0.78 of the speed [rad/s] of greatest power.

    Greatest power at u = 1 asks for (u t(u))' = 0 there: t = 1 − b (u − 0.78)², b = 1/(0.22² + 2 · 0.22), over t(1).
    """
    rest = 1.0 - PEAK_TORQUE_AT
    bend = 1.0 / (rest**2 + 2.0 * rest)
    u = np.array([0.2, 1.4])
    scale = 1.0 / ((1.0 - bend * rest**2) * peak_speed)
    torques = scale * (1.0 - bend * (u - PEAK_TORQUE_AT) ** 2)
    slopes = -2.0 * scale * bend * (u - PEAK_TORQUE_AT) / peak_speed
    return EngineCurve(tuple((u * peak_speed).tolist()), tuple(torques.tolist()), tuple(slopes.tolist()))


def measured_curve(speeds: Sequence[float], powers: Sequence[float]) -> EngineCurve:
    """Return a curve through measured points: engine speeds [rad/s] rising and powers [W], three or more.

    Torque by monotone piecewise cubics (F. N. Fritsch and J. Butland, *SIAM J. Sci. Stat. Comput.* 5 (1984) 300, from
    memory): no bump where the points have none. ValueError when the points don't rise or a power isn't positive.
    """
    x, power = np.asarray(speeds, dtype=np.float64), np.asarray(powers, dtype=np.float64)
    if x.size < 3 or np.any(np.diff(x) <= 0.0) or x[0] <= 0.0 or np.any(power <= 0.0):
        raise ValueError("a power curve needs three or more points, engine speed rising and every power more than 0")
    torque = power / x
    curve = _hermite(x, torque)
    fine = np.linspace(x[0], x[-1], 2001)
    peak = float(np.max(fine * torque_at(curve, fine)[0]))
    return EngineCurve(
        curve.speeds, tuple(value / peak for value in curve.torques), tuple(value / peak for value in curve.slopes)
    )


def _hermite(x: FloatArray, y: FloatArray) -> EngineCurve:
    width, secant = np.diff(x), np.diff(y) / np.diff(x)
    slopes = np.zeros_like(x)
    before, after = secant[:-1], secant[1:]
    first, second = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    same = before * after > 0.0
    safe_before, safe_after = np.where(same, before, 1.0), np.where(same, after, 1.0)
    slopes[1:-1] = np.where(same, (first + second) / (first / safe_before + second / safe_after), 0.0)
    slopes[0], slopes[-1] = secant[0], secant[-1]
    return EngineCurve(tuple(x.tolist()), tuple(y.tolist()), tuple(slopes.tolist()))


def torque_at(curve: EngineCurve, speed: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return torque [s/rad] and its slope [s²/rad²] per watt of greatest power at engine speeds [rad/s].

    Below the first point the torque stays, beyond the last it falls to nothing at 1.25 times its speed.
    """
    starts, pieces = _pieces(curve)
    a, b, c, d = pieces[np.searchsorted(starts, speed)].transpose(-1, *range(np.ndim(speed)))
    return a + speed * (b + speed * (c + speed * d)), b + speed * (2.0 * c + 3.0 * speed * d)


@functools.lru_cache(maxsize=64)
def _pieces(curve: EngineCurve) -> tuple[FloatArray, FloatArray]:
    """Return where cubic pieces begin, and their coefficients by rising power of engine speed (pieces + 1, 4)."""
    x, y, m = (np.array(part) for part in (curve.speeds, curve.torques, curve.slopes))
    width = np.diff(x)
    secant = np.diff(y) / width
    second = (3.0 * secant - 2.0 * m[:-1] - m[1:]) / width
    third = (m[:-1] + m[1:] - 2.0 * secant) / width**2
    fall = -y[-1] / ((_BEYOND - 1.0) * x[-1])
    zero = np.zeros(1)
    local = np.column_stack(
        [
            np.concatenate([y[:1], y, zero]),
            np.concatenate([zero, m[:-1], [fall], zero]),
            np.concatenate([zero, second, zero, zero]),
            np.concatenate([zero, third, zero, zero]),
        ]
    )
    origin = np.concatenate([x[:1], x, x[-1:]])
    a, b, c, d = local.T
    whole = [
        a - b * origin + c * origin**2 - d * origin**3,
        b - 2.0 * c * origin + 3.0 * d * origin**2,
        c - 3.0 * d * origin,
        d,
    ]
    return np.concatenate([x, [_BEYOND * x[-1]]]), np.column_stack(whole)


@dataclass(frozen=True)
class Turning:
    """What turns at given road speeds (c, k): engine and turbine speed [rad/s], and what arrives at the axle."""

    engine: FloatArray
    turbine: FloatArray
    torque: FloatArray
    """[N·m] out of converter or clutch"""
    follow: FloatArray
    """how much of a change of turbine speed the engine follows, dω_e/dω_t, times the torque ratio"""


@dataclass(frozen=True)
class Powertrain:
    """Driveline and tyre with the engine's greatest power in the air of each case [W] (c, 1)."""

    driveline: Driveline
    tyre: Tyre
    power: FloatArray
    """at the crankshaft"""

    @functools.cached_property
    def radius(self) -> FloatArray:
        """Rolling radius at low speed [m] (c, 1) or scalar."""
        return np.asarray(self.tyre.circumference, dtype=np.float64) / (2.0 * np.pi)

    def wheel_speed(self, speed: FloatArray) -> FloatArray:
        """Return the driven wheels' speed [rad/s] at road speeds [m/s], tyre growth and slip counted."""
        turning: FloatArray = speed * (1.0 + self.tyre.slip) / (self.radius * (1.0 + self.tyre.growth * speed**2))
        return turning

    def road_speed(self, wheel_speed: FloatArray) -> FloatArray:
        """Return the road speed [m/s] at wheel speeds [rad/s]: the inverse of ``wheel_speed``."""
        free = wheel_speed * self.radius / (1.0 + self.tyre.slip)
        speed: FloatArray = 2.0 * free / (1.0 + np.sqrt(np.maximum(1.0 - 4.0 * self.tyre.growth * free**2, 0.0)))
        return speed

    def turning(self, turbine: FloatArray) -> Turning:
        """Return what turns at speeds of the transmission's input [rad/s] (c, k)."""
        made = self.driveline
        if made.converter is not None:
            return self._converter(turbine)
        held = 0.0 if made.release_speed is None else made.release_speed
        engine = np.maximum(turbine, held)
        follow = np.where(turbine >= held, 1.0, 0.0)
        return Turning(engine, turbine, self.power * torque_at(made.engine, engine)[0], follow)

    def _converter(self, turbine: FloatArray) -> Turning:
        made = self.driveline.converter
        if made is None:
            raise AssertionError
        # what is left over at a speed falls and is hollow, so Newton passes the root at most once
        engine = (self.stall**8 + turbine**8) ** 0.125
        for _ in range(30):
            excess, slope, _ = self._excess(engine, turbine)
            step = -excess / slope
            engine = np.maximum(engine + step, np.maximum(turbine, 0.5 * engine))
            if not np.any(np.abs(step) > 1e-7 * engine):  # the next step is of the order of its square
                break
        _, slope, pull = self._excess(engine, turbine)
        ratio = turbine / engine
        gain = 1.0 + (made.torque_ratio - 1.0) * np.maximum(0.0, 1.0 - ratio / made.coupling_ratio)
        torque = self.power * torque_at(self.driveline.engine, engine)[0]
        return Turning(engine, turbine, gain * torque, gain * np.clip(-pull / slope, 0.0, 1.0))

    @functools.cached_property
    def stall(self) -> FloatArray:
        """Engine speed against a held output [rad/s] (c, 1)."""
        made = self.driveline.converter
        if made is None:
            raise AssertionError
        return self._engine_at_load(np.zeros((1, 1)), np.asarray(made.capacity, dtype=np.float64))

    def _excess(self, engine: FloatArray, turbine: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return what the engine gives more than the converter takes, over ω², with its slopes in both speeds."""
        made = self.driveline.converter
        if made is None:
            raise AssertionError
        torque, rise = torque_at(self.driveline.engine, engine)
        fill = made.capacity * (turbine / engine) ** made.exponent
        given = self.power * torque / engine**2
        slope = self.power * rise / engine**2 - 2.0 * given / engine - made.exponent * fill / engine
        pull = made.exponent * fill / np.maximum(turbine, 1e-9)
        return given - made.capacity + fill, slope, pull

    def _engine_at_load(self, start: FloatArray, capacity: FloatArray) -> FloatArray:
        """Return the engine speed [rad/s] at which the engine's torque is ``capacity`` times its square."""
        engine = np.maximum(start, self.driveline.engine.speeds[0]) + np.zeros_like(self.power * capacity)
        for _ in range(60):
            torque, rise = torque_at(self.driveline.engine, engine)
            given = self.power * torque / engine**2
            step = -(given - capacity) / (self.power * rise / engine**2 - 2.0 * given / engine)
            engine = np.maximum(engine + step, 0.5 * engine)
            if not np.any(np.abs(step) > 1e-9 * engine):
                break
        return engine

    def turbine_at(self, engine: FloatArray) -> FloatArray:
        """Return the speed of the transmission's input [rad/s] at which the engine turns so fast [rad/s]; 0: sooner."""
        made = self.driveline.converter
        if made is None:
            return engine + np.zeros_like(self.power)
        taken = self.power * torque_at(self.driveline.engine, engine)[0] / (made.capacity * engine**2)
        turbine: FloatArray = engine * np.maximum(1.0 - taken, 0.0) ** (1.0 / made.exponent)
        return turbine

    @functools.cached_property
    def kinks(self) -> list[FloatArray]:
        """Speeds of the transmission's input [rad/s] where what arrives bends, each (c, 1)."""
        made = self.driveline
        found = [
            self.turbine_at(np.array([[speed]])) for speed in (*made.engine.speeds, _BEYOND * made.engine.speeds[-1])
        ]
        if made.converter is not None:
            capacity = made.converter.capacity * (1.0 - made.converter.coupling_ratio**made.converter.exponent)
            found.append(made.converter.coupling_ratio * self._engine_at_load(np.zeros((1, 1)), capacity))
        elif made.release_speed is not None:
            found.append(np.asarray(made.release_speed, dtype=np.float64) + np.zeros_like(self.power))
        return found

    def axle(self, speed: FloatArray, gear: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return tractive force [N] and the mass [kg] that the engine's inertia adds, at road speeds [m/s] (c, k).

        ``gear`` is the ratio at each (k,). That the tyre grows meanwhile is left out of the inertia.
        """
        made = self.driveline
        overall = gear * made.final_drive
        radius = self.radius * (1.0 + self.tyre.growth * speed**2)
        found = self.turning(self.wheel_speed(speed) * overall)
        force = made.efficiency * found.torque * overall / radius
        inertia = (
            made.efficiency * found.follow * made.engine_inertia * (1.0 + self.tyre.slip) * (overall / radius) ** 2
        )
        return force, inertia
