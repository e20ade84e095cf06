"""The equation of motion of a car from rest, and its solution.

    dv/dt = min(g, p/v) − k (v − w)|v − w| − r

per unit of moving mass: grip g [m/s²], power p [W/kg], drag k [1/m], tailwind w [m/s], rolling resistance r [m/s²].

Since the acceleration depends on speed alone, time and distance are integrals over speed, ∫dv/a and ∫v dv/a. They are
taken by Gauss-Legendre quadrature on either side of the speed where grip hands over to power, and the speed at each
distance is found by Newton's method: exact to rounding where a stepping scheme would need thousands of steps.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

LEAST_ACCELERATION: Final = 0.05
"""[m/s²] a car that gains speed more slowly is near its top speed, where the quadrature is no longer good"""
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)
_NODES, _WEIGHTS = 0.5 * (_NODES + 1.0), 0.5 * _WEIGHTS


@dataclass(frozen=True)
class Motion:
    """The parameters, floats or arrays of shape (…, 1) for many cases at once."""

    grip: float
    """[m/s²]"""
    power: FloatArray
    """[W/kg]"""
    drag: FloatArray
    """[1/m]"""
    rolling: float
    """[m/s²]"""
    wind: FloatArray
    """[m/s], positive from behind"""

    def acceleration(self, speed: FloatArray) -> FloatArray:
        """Return the net acceleration [m/s²] at speeds [m/s] (…, k), kept above zero so that integrals stay finite."""
        driving = np.minimum(self.grip, self.power / np.maximum(speed, 1e-12))
        past = speed - self.wind
        net: FloatArray = driving - self.drag * past * np.abs(past) - self.rolling
        return np.maximum(net, 0.1 * LEAST_ACCELERATION)

    def integrals(self, speed: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return distance [m] and time [s] from rest to each of the speeds [m/s] (…, k)."""
        handover = np.minimum(speed, self.power / self.grip)
        distance, time = np.zeros_like(speed), np.zeros_like(speed)
        for low, width in ((np.zeros_like(speed), handover), (handover, speed - handover)):
            nodes = low[..., None] + width[..., None] * _NODES
            flat = nodes.reshape(*speed.shape[:-1], -1)
            steps = _WEIGHTS * width[..., None] / self.acceleration(flat).reshape(nodes.shape)
            time += steps.sum(axis=-1)
            distance += (steps * nodes).sum(axis=-1)
        return distance, time

    def lossless_speed(self, distance: FloatArray) -> FloatArray:
        """Return the speed [m/s] at each distance [m] (k,) that the car would have without drag and rolling."""
        handover = self.power / self.grip
        past = np.maximum(distance - 0.5 * handover**2 / self.grip, 0.0)
        gripping = np.sqrt(2.0 * self.grip * distance)
        speed: FloatArray = np.where(past > 0.0, np.cbrt(handover**3 + 3.0 * self.power * past), gripping)
        return speed

    def times_at(self, distance: FloatArray) -> FloatArray:
        """Return the time [s] from rest to each distance [m] (k,), more than 0; shape (…, k).

        nan where the car would gain less than ``LEAST_ACCELERATION``.
        """
        speed = self.lossless_speed(distance)
        # Newton on the cube root of distance, which is nearly a straight line in speed under constant power
        for _ in range(20):
            root = np.cbrt(self.integrals(speed)[0])
            step = 3.0 * root**2 * (np.cbrt(distance) - root) * self.acceleration(speed) / speed
            speed = np.clip(speed + step, 0.25 * speed, 2.0 * speed)
            if not np.any(np.abs(step) > 1e-4 * speed):  # the next error is of the order of its square
                break
        covered, time = self.integrals(speed)
        sound = (self.acceleration(speed) > LEAST_ACCELERATION) & (np.abs(covered - distance) <= 1e-6 * distance)
        # the linear remainder takes off what Newton left of the distance
        exact: FloatArray = np.where(sound, time + (distance - covered) / speed, np.nan)
        return exact
