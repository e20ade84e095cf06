"""Made-up launches: pushes that rise in one of several shapes, by an accelerometer with noise and vibration."""

from __future__ import annotations

import numpy as np

from runlog.records import Samples

RISES = {
    "straight": lambda u: u,
    "soft at both ends": lambda u: 0.5 * (1.0 - np.cos(np.pi * u)),
    "slow at first": lambda u: u**2,
    "slow at last": lambda u: u * (2.0 - u),
    "overshoot": lambda u: u * (1.0 + 0.25 * np.exp(-(((u - 1.3) / 0.35) ** 2))),
}
"""a push as a share of its level at a share of the rise; the fit tries no overshoot"""


def launch_felt(shape: str, rng: np.random.Generator) -> Samples:
    """Return the acceleration [m/s²] of a launch at 0 that rises in 0.06 to 0.22 s, at 100 Hz."""
    at = np.arange(-4.0, 3.0, 0.01) + rng.uniform(0, 0.01)
    push = rng.uniform(10, 20) * RISES[shape](np.clip(at / rng.uniform(0.06, 0.22), 0.0, 1.0))
    shake = rng.uniform(0.5, 1.5) * np.sin(2 * np.pi * rng.uniform(62, 88) * at)
    return Samples(at, push + shake + rng.normal(0, 0.4, at.size))
