"""Made-up runs whose truth is known in closed form.

A car limited by traction at ``a0`` until constant power takes over: v0 = P/(m a0), then v² = v0² + 2 (P/m)(t − t0)
and v³ = v0³ + 3 (P/m)(x − x0). Source: R. Stephenson, "Constant power equations of motion",
Am. J. Phys. 50 (1982) 1150.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from runlog.constants import FOOT, POUND, SPLIT_DISTANCES_FT, STANDARD_GRAVITY
from runlog.records import Samples
from runlog.signals.analysis import Setting

HORSEPOWER = 550 * FOOT * POUND * STANDARD_GRAVITY


@dataclass(frozen=True)
class TrueRun:
    """The closed form, and how the loggers in the car see it."""

    power_to_mass: float = 1000 * HORSEPOWER / (2500 * POUND)
    a0: float = 1.5 * STANDARD_GRAVITY
    launch: float = 12.0
    length: float = 25.0
    rollout: float = 0.2286
    lift: float | None = None
    """[s] after launch from which the car coasts at ``coast``"""
    coast: float = -2.0
    rates: dict[str, float] = field(default_factory=lambda: {"acceleration_x": 200.0, "driveshaft_speed": 200.0})
    noise: dict[str, float] = field(default_factory=dict)
    bias: float = 0.0
    circumference_error: float = 0.0
    """what the car file's circumference is too short by, as a share"""
    slip: float = 0.0
    """driven tyre slip at launch; decays to a fifth over the first two seconds"""
    burnout: bool = False
    creep: bool = False
    seed: int = 7

    @property
    def setting(self) -> Setting:
        return Setting(tyre_circumference=2.6 * (1 - self.circumference_error), final_drive=4.1, rollout=self.rollout)

    def after(self, t: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Distance, speed and acceleration at seconds after launch, without the lift."""
        t = np.asarray(t, dtype=float)
        v0 = self.power_to_mass / self.a0
        t0, x0 = v0 / self.a0, v0**2 / (2 * self.a0)
        late = t > t0
        tau = np.where(late, t - t0, 0.0)
        v_late = np.sqrt(v0**2 + 2 * self.power_to_mass * tau)
        x = np.where(late, x0 + (v_late**3 - v0**3) / (3 * self.power_to_mass), 0.5 * self.a0 * np.maximum(t, 0) ** 2)
        v = np.where(late, v_late, self.a0 * np.maximum(t, 0))
        a = np.where(late, self.power_to_mass / v_late, np.where(t >= 0, self.a0, 0.0))
        return x, v, a

    def motion(self, t: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Distance, speed and acceleration at seconds after launch, with the lift."""
        if self.lift is None:
            return self.after(t)
        x, v, a = self.after(np.minimum(t, self.lift))
        beyond = np.maximum(np.asarray(t) - self.lift, 0.0)
        stop = v / -self.coast
        rolling = np.minimum(beyond, stop)
        lifted = np.asarray(t) > self.lift
        a = np.where(lifted, np.where(beyond < stop, self.coast, 0.0), a)
        return x + v * rolling + 0.5 * self.coast * rolling**2, v + self.coast * rolling, a

    def time_to(self, x: float) -> float:
        """Seconds after launch at which ``x`` metres are covered, without the lift."""
        v0 = self.power_to_mass / self.a0
        x0 = v0**2 / (2 * self.a0)
        if x <= x0:
            return float(np.sqrt(2 * x / self.a0))
        v = np.cbrt(v0**3 + 3 * self.power_to_mass * (x - x0))
        return float(v0 / self.a0 + (v**2 - v0**2) / (2 * self.power_to_mass))

    def splits(self) -> dict[int, float]:
        """The slip: times from the beam."""
        start = self.time_to(self.rollout)
        return {feet: self.time_to(self.rollout + feet * FOOT) - start for feet in SPLIT_DISTANCES_FT}

    def samples(self) -> dict[str, Samples]:
        made = {name: self._channel(name, rate) for name, rate in self.rates.items()}
        rng = np.random.default_rng(self.seed)
        for name, sd in self.noise.items():
            clean = made[name]
            made[name] = Samples(clean.time, clean.values + rng.normal(0.0, sd, clean.time.size))
        return made

    def _channel(self, name: str, rate: float) -> Samples:
        clock = np.arange(round(self.length * rate)) / rate
        t = clock - self.launch
        _, v, a = self.motion(t)
        wheel = v * (1.0 + self.slip * (0.2 + 0.8 * np.exp(-np.maximum(t, 0) / 0.7)))
        if self.burnout:  # wheels spin at 28 m/s while the car is held, then rolls at a gentle push
            spun = np.interp(clock, [0, 2.0, 3.0, 5.5, 6.0], [0, 0, 28.0, 28.0, 0])
            wheel, v = wheel + spun, v
            a = (
                a
                + np.where((clock > 5.0) & (clock < 5.5), 2.0, 0.0)
                - np.where((clock > 6.0) & (clock < 6.5), 2.0, 0.0)
            )
        if self.creep:  # two rolls of 0.5 m/s into the beams
            for at in (8.0, 10.0):
                bump = np.interp(clock, [at, at + 0.4, at + 0.8], [0, 0.5, 0])
                v, wheel = v + bump, wheel + bump
                a = a + np.where((clock > at) & (clock < at + 0.4), 1.25, 0.0)
                a = a - np.where((clock > at + 0.4) & (clock < at + 0.8), 1.25, 0.0)
        values = {
            "acceleration_x": a + self.bias,
            "driveshaft_speed": wheel / 2.6 * 4.1 * 2 * np.pi,
            "ground_speed": v,
            "front_wheel_speed": v,
            "launch_switch": np.where((t < 0) & (t > -2.0), 1.0, 0.0),
            "throttle": np.where((t > -1.0) & (t < (self.lift if self.lift is not None else np.inf)), 1.0, 0.0),
            "engine_speed": self._engine(t, v),
        }[name]
        return Samples(clock, np.asarray(values, dtype=float))

    def _engine(self, t: np.ndarray, v: np.ndarray) -> np.ndarray:
        """Four gears that shift at 800 rad/s at the engine; 500 rad/s held on the line, 120 at idle."""
        shaft = v / 2.6 * 4.1 * 2 * np.pi
        ratio = np.select([shaft < 800 / r for r in (2.5, 1.8, 1.3)], [2.5, 1.8, 1.3], 1.0)
        running = np.maximum(shaft * ratio, np.where(t > -1.5, 500.0, 120.0))
        return np.where(t < 0, np.where(t > -1.5, 500.0, 120.0), running)


@pytest.fixture
def true_run() -> TrueRun:
    """A clean run; vary it with ``dataclasses.replace``."""
    return TrueRun()


@pytest.fixture
def vary():
    """``dataclasses.replace``, so that tests need no import from here."""
    return replace
