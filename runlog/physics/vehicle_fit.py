"""Fitting the longitudinal model to a car's own slips: grip, power and drag area, with their doubt."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from runlog.physics.longitudinal import simulate
from runlog.physics.vehicle import FloatArray, FloatOrArray, Vehicle, vehicle_from

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from runlog.physics.atmosphere import Air

FITTED: Final = ("grip_acceleration", "power", "drag_area")
"""what is fitted, in the order of the covariance"""
PRIOR_SD: Final = np.array([0.4, 0.3, 0.1])
"""of the logarithm of each about the unfitted vehicle's; keeps drag in place, which slips tell worst"""
INCREMENT_SD: Final = 0.012
"""[s] of the time between two beams of an unchanged car from run to run. Common practice, no source."""
SPEED_SD: Final = 0.5
"""[m/s] of a trap speed of an unchanged car from run to run. Common practice, no source."""
COMMON_MISFIT: Final = 0.7
"""sd of what the model itself misses, the same in every run, over the sd from run to run: however many runs there are,
they tell no more than two of them would without it. Common practice, no source."""
_ORDINARY: Final = 2.5
"""times the usual misfit, up to which a run counts in full"""
_HOPELESS: Final = 6.0
"""times the usual misfit, from which a run doesn't count at all"""


@dataclass(frozen=True)
class VehicleFit:
    """A vehicle fitted to runs, and what the fit leaves open."""

    vehicle: Vehicle
    covariance: tuple[tuple[float, ...], ...]
    """(3, 3) of the logarithms of ``FITTED``; the prior's where nothing was fitted"""
    runs: int = 0
    """that were fitted to; 0: the vehicle is as its file has it"""
    set_aside: tuple[int, ...] = ()
    """rows that fit so badly that they count for less than half"""

    @property
    def sds(self) -> dict[str, float]:
        """Relative standard deviation of each fitted figure."""
        return {name: float(np.sqrt(self.covariance[n][n])) for n, name in enumerate(FITTED)}


def fit(vehicle: Vehicle, times: FloatArray, speeds: FloatArray, air: Air) -> VehicleFit:
    """Return the vehicle with grip, power and drag area fitted to a car's own clean runs.

    ``times`` [s] (n, 5) and ``speeds`` [m/s] (n, 2), nan where missing; ``air`` with fields of shape (n,) or scalar; a
    run with nan in its air is passed over. Least squares of the times between beams and of the trap speeds against
    ``INCREMENT_SD`` and ``SPEED_SD``, on the logarithms of the three figures, held near the unfitted ones by a wide
    normal prior; a run that misses by far more than the others counts for little or nothing, so that one bad run which
    nobody marked doesn't spoil the fit. The covariance is widened where the runs scatter more than that, and many runs
    tell no more than ``COMMON_MISFIT`` allows. Without at
    least one early time (60 or 330 ft) and one later figure, or when the search doesn't settle, the vehicle comes back
    as it was. ValueError when the shapes don't fit together.
    """
    times, speeds = np.asarray(times, dtype=np.float64), np.asarray(speeds, dtype=np.float64)
    if times.ndim != 2 or times.shape[1] != 5 or speeds.shape != (times.shape[0], 2):
        raise ValueError(f"times must be (n, 5) and speeds (n, 2), got {times.shape} and {speeds.shape}")
    unfitted = VehicleFit(vehicle, _plain(np.diag(PRIOR_SD**2)))
    if not times.size:
        return unfitted
    search = _Search.of(vehicle, np.hstack([times, speeds]), air)
    if search is None:
        return unfitted
    found = search.least_squares()
    if found is None:
        return unfitted
    logs, covariance, weights = found
    aside = tuple(int(row) for row in search.rows[weights < 0.5])
    return VehicleFit(scaled(vehicle, logs), _plain(covariance), int(np.sum(weights >= 0.5)), aside)


def scaled(vehicle: Vehicle, logs: FloatArray) -> Vehicle:
    """Return the vehicle with each of ``FITTED`` multiplied by the exponential of ``logs`` (3,) or (3, k)."""
    grip, power, drag = np.exp(logs)
    return replace(
        vehicle,
        grip_acceleration=_number(vehicle.grip_acceleration * grip),
        power=_number(vehicle.power * power),
        drag_area=_number(vehicle.drag_area * drag),
    )


def _number(value: FloatOrArray) -> FloatOrArray:
    return float(value) if np.ndim(value) == 0 else value


def fit_from(plain: Mapping[str, Any]) -> VehicleFit | None:
    """Return the fit that ``dataclasses.asdict`` made plain; None when it isn't one."""
    try:
        return VehicleFit(
            vehicle_from(plain["vehicle"]),
            _plain(np.array(plain["covariance"], dtype=np.float64).reshape(len(FITTED), len(FITTED))),
            int(plain["runs"]),
            tuple(plain["set_aside"]),
        )
    except (KeyError, TypeError, ValueError):
        return None


def _plain(matrix: FloatArray) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(row) for row in matrix.tolist())


@dataclass(frozen=True)
class _Search:
    """The runs that can be fitted to, whitened, and the air in which slopes are taken."""

    vehicle: Vehicle
    rows: NDArray[np.intp]
    """(m,) which of the runs given"""
    measured: FloatArray
    """(m, 7) nan replaced by 0"""
    whiten: FloatArray
    """(m, 7, 7) from times and speeds to residuals of unit variance; rows of zeros where nothing was measured"""
    airs: Air
    typical: Air

    @staticmethod
    def of(vehicle: Vehicle, measured: FloatArray, air: Air) -> _Search | None:
        names = ("temperature", "pressure", "relative_humidity", "wind_along")
        fields = [
            np.broadcast_to(np.asarray(getattr(air, name), dtype=np.float64), measured.shape[:1]) for name in names
        ]
        predicted = _figures(vehicle, replace(air, **dict(zip(names, fields, strict=True))))
        known = np.isfinite(measured) & np.isfinite(predicted)
        if not (known[:, :2].any() and known[:, 2:].any()):
            return None
        rows = np.flatnonzero(known.any(axis=1))
        used = {name: field[rows] for name, field in zip(names, fields, strict=True)}
        return _Search(
            vehicle,
            rows,
            np.where(known, measured, 0.0)[rows],
            np.array([_whitening(row) for row in known[rows]]),
            replace(air, **used),
            replace(air, **{name: float(np.mean(field)) for name, field in used.items()}),
        )

    def least_squares(self) -> tuple[FloatArray, FloatArray, FloatArray] | None:
        """Return logs, covariance and the runs' weights; None when the search doesn't settle."""
        logs = np.zeros(len(FITTED))
        weights = np.ones(self.rows.size)
        # what each run's air adds changes little with the car, so it is worked out anew only when a search has settled
        for _ in range(3):
            in_air = _figures(scaled(self.vehicle, logs), self.airs) - _figures(
                scaled(self.vehicle, logs), self.typical
            )
            settled = self._settle(logs, in_air)
            if settled is None:
                return None
            before, (logs, covariance, weights) = logs, settled
            if np.max(np.abs(logs - before)) < 1e-3:
                break
        return logs, covariance, weights

    def _settle(self, logs: FloatArray, in_air: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray] | None:
        offsets = 1e-4 * np.concatenate([np.zeros((1, 3)), np.eye(3), -np.eye(3)])
        for _ in range(50):
            figures = _figures(scaled(self.vehicle, (logs + offsets).T), self.typical)
            predicted, slopes = figures[0] + in_air, (figures[1:4] - figures[4:]).T / 2e-4
            residuals = np.einsum("mij,mj->mi", self.whiten, self.measured - np.where(self._seen, predicted, 0.0))
            jacobian = np.einsum("mij,jp->mip", self.whiten, np.nan_to_num(slopes))
            if not np.all(np.isfinite(residuals)):
                return None
            weights = self._weights(residuals)
            telling = weights / (1.0 + COMMON_MISFIT**2 * weights.sum())
            normal = np.einsum("m,mip,miq->pq", telling, jacobian, jacobian) + np.diag(PRIOR_SD**-2)
            pull = np.einsum("m,mip,mi->p", telling, jacobian, residuals) - logs * PRIOR_SD**-2
            step = np.clip(np.linalg.solve(normal, pull), -0.5, 0.5)
            logs = logs + step
            if np.max(np.abs(step)) < 1e-6:
                return logs, np.linalg.inv(normal) * self._scatter(residuals, weights), weights
        return None

    @property
    def _seen(self) -> FloatArray:
        seen: FloatArray = np.abs(self.whiten).sum(axis=1) > 0.0
        return seen

    def _misfits(self, residuals: FloatArray) -> FloatArray:
        """Return each run's root mean square of what was measured (m,)."""
        count = np.maximum((np.abs(self.whiten).sum(axis=2) > 0.0).sum(axis=1), 1)
        misfits: FloatArray = np.sqrt((residuals**2).sum(axis=1) / count)
        return misfits

    def _weights(self, residuals: FloatArray) -> FloatArray:
        misfits = self._misfits(residuals)
        far = misfits / (_ORDINARY * max(1.0, float(np.median(misfits))))
        weights: FloatArray = np.where(far > _HOPELESS / _ORDINARY, 0.0, 1.0 / np.maximum(far, 1.0) ** 2)
        return weights

    def _scatter(self, residuals: FloatArray, weights: FloatArray) -> float:
        """Return by how much the runs that count scatter more than was taken for granted; 1 or more."""
        usual = float(np.sum(weights * self._misfits(residuals) ** 2) / np.sum(weights))
        return max(1.0, usual)


def _figures(vehicle: Vehicle, air: Air) -> FloatArray:
    run = simulate(vehicle, air)
    return np.concatenate([run.times, run.speeds], axis=-1)


def _whitening(known: FloatArray) -> FloatArray:
    """Return the rows that turn one run's figures into times between its beams and trap speeds, in their sds."""
    rows = np.zeros((7, 7))
    last = -1
    for n in range(5):
        if known[n]:
            sd = INCREMENT_SD * np.sqrt(n - last)
            rows[n, n] = 1.0 / sd
            if last >= 0:
                rows[n, last] = -1.0 / sd
            last = n
    for n in (5, 6):
        rows[n, n] = known[n] / SPEED_SD
    return rows
