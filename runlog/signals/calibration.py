"""What the slips teach of a car's sensors and tyres, carried from run to run.

A trace alone gives the split times y and the car's calibration θ together: y | θ is normal about a line in θ, and the
trace says something of θ itself (``records.SplitBasis``). What earlier runs taught is the prior of θ in a run; the
run's own slip, a reading of y, then teaches θ for the runs after it. All is linear and normal, so the update is exact
for the model: θ of one run is the car's θ and a deviation of that run, the car's θ drifts a little from run to run
(a Kalman filter over runs; S. Särkkä, *Bayesian Filtering and Smoothing*, Cambridge 2013, § 4.3; formulas from memory).
One factor on all variances is learned as well, from how far the slips fell from what was foretold (normal with an
inverse-gamma variance: the conjugate pair). Standard deviations here are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog.records import SplitBasis
from runlog.signals.rises import unknown

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

GROWTH_SPEED: Final = 60.0
"""[m/s] at which the growth of the driven tyre is stated"""


@dataclass(frozen=True)
class Parameter:
    """One calibration parameter: its name, its sd among cars, the spread of single runs, the drift.

    Without slips a channel is taken at its word, so every mean is zero. What tyres and bodies do is of one sign all the
    same, ``usual`` in the middle: it is in the doubt about zero, and makes the doubts of such parameters go together.
    """

    name: str
    sd: float
    run_sd: float
    drift_sd: float
    of_tyre: bool = False
    usual: float = 0.0
    """whether other driven tyres start it anew"""


PARAMETERS: Final = (
    # the driven wheels' speed over the car's, less one: circumference, slip per g of acceleration, less growth
    Parameter("circumference", 0.010, 0.0010, 0.0003, of_tyre=True),
    Parameter("slip_per_g", 0.012, 0.0030, 0.0010, of_tyre=True, usual=0.025),
    Parameter("growth", 0.008, 0.0007, 0.0002, of_tyre=True, usual=0.015),
    # the accelerometer's reading over the acceleration, less one: its scale, and gravity felt by a body that pitches
    # (half a degree to two for each g)
    Parameter("accelerometer", 0.010, 0.0030, 0.0005, usual=0.022),
    Parameter("ground", 0.005, 0.0005, 0.0002),
    # [m] what the clock's start is further from rest than the track file says
    Parameter("rollout", 0.020, 0.0080, 0.0010),
)
NAMES: Final = tuple(parameter.name for parameter in PARAMETERS)
SLIP_SD: Final = 0.002
"""[s] a slip's figure: its last digit, and what the model of the trace leaves out"""
PRIOR_DOUBT: Final = 8.0
"""degrees of freedom that the assumed spreads are worth against what the slips show"""
LEAST_SCALE, MOST_SCALE = 0.25, 4.0
"""bounds of the learned factor on variances"""
GATE: Final = 4.0
"""standard deviations of any split beyond which a slip isn't learned from: it may be another run's"""
WIDER: Final = 5.0
"""factor on the spread of single runs by which the doubt grows after such a slip, so that a real change is found out"""


@dataclass(frozen=True)
class Calibration:
    """What is known of a car's θ, in the order of ``NAMES``: mean (6,), covariance (6, 6), and the runs behind it."""

    mean: FloatArray
    covariance: FloatArray
    runs: int = 0
    misfit: float = 0.0
    """sum of squared standardised misfits of the slips so far, and how many figures they hold"""
    figures: int = 0
    rises: tuple[float, ...] = field(default_factory=unknown)
    """chances of the shapes in which the car's push rises (``signals.rises``); no slip is needed to learn them"""

    @property
    def scale(self) -> float:
        """Return the learned factor on all variances."""
        learned = (PRIOR_DOUBT + self.misfit) / (PRIOR_DOUBT + self.figures)
        return float(np.clip(learned, LEAST_SCALE, MOST_SCALE))

    @property
    def sd(self) -> FloatArray:
        """Return the standard deviations of the car's θ."""
        return np.sqrt(self.scale * np.diag(self.covariance))


def _squares(*values: float) -> FloatArray:
    return np.diag(np.square(np.array(values)))


RUN_SPREAD: Final = _squares(*(parameter.run_sd for parameter in PARAMETERS))
DRIFT: Final = _squares(*(parameter.drift_sd for parameter in PARAMETERS))
OF_TYRE: Final = np.array([parameter.of_tyre for parameter in PARAMETERS])


def prior(growth: float | None = None) -> Calibration:
    """Return what is known of a car without slips; ``growth`` [1/(m/s)²] where its file tells it."""
    mean = np.zeros(len(PARAMETERS))
    sd = np.array([parameter.sd for parameter in PARAMETERS])
    usual = np.array([parameter.usual for parameter in PARAMETERS])
    if growth is not None:
        place = NAMES.index("growth")
        mean[place], usual[place] = growth * GROWTH_SPEED**2, 0.0
    return Calibration(mean, np.diag(sd**2) + np.outer(usual, usual))


def other_tyres(carried: Calibration, fresh: Calibration) -> Calibration:
    """Return what still holds after a change of the driven tyres: what belongs to them is as in ``fresh``."""
    kept = np.outer(~OF_TYRE, ~OF_TYRE)
    return replace(
        carried,
        mean=np.where(OF_TYRE, fresh.mean, carried.mean),
        covariance=np.where(kept, carried.covariance, np.where(np.outer(OF_TYRE, OF_TYRE), fresh.covariance, 0.0)),
    )


def of_run(carried: Calibration) -> Calibration:
    """Return what is known of one run's θ before it: the car's, and a run's own deviation."""
    return replace(carried, covariance=carried.covariance + RUN_SPREAD)


def foretold(basis: SplitBasis, carried: Calibration) -> tuple[FloatArray, FloatArray]:
    """Return the split times [s] of a run, and their covariance [s²], by its trace and what earlier runs taught."""
    theta, doubt = _with_trace(basis, of_run(carried))
    times = basis.times + basis.slopes @ theta
    return times, carried.scale * (basis.covariance + basis.slopes @ doubt @ basis.slopes.T)


def split_opinion(basis: SplitBasis, carried: Calibration) -> dict[int, tuple[float, float]]:
    """Return distance [ft] → (time from the beam [s], sd [s])."""
    times, covariance = foretold(basis, carried)
    return {
        feet: (float(time), float(np.sqrt(variance)))
        for feet, time, variance in zip(basis.feet, times, np.diag(covariance), strict=True)
    }


def ground_opinion(basis: SplitBasis, carried: Calibration) -> tuple[float, float] | None:
    """Return (time [s], sd [s]) from first motion until 60 ft of ground are covered; None where the car never did."""
    if basis.ground_time is None or basis.ground_slopes is None:
        return None
    theta, doubt = _with_trace(basis, of_run(carried))
    variance = carried.scale * (basis.ground_variance + float(basis.ground_slopes @ doubt @ basis.ground_slopes))
    return basis.ground_time + float(basis.ground_slopes @ theta), float(np.sqrt(variance))


def learn(basis: SplitBasis, carried: Calibration, slip_times: Mapping[int, float]) -> tuple[Calibration, bool]:
    """Return what is known after a run with a slip (distance [ft] → time [s]), and whether the slip was learned from.

    Without a split in common nothing changes but the drift. A slip that falls too far from what was foretold isn't
    learned from, but widens the doubt.
    """
    carried = replace(carried, covariance=carried.covariance + DRIFT)
    rows = [n for n, feet in enumerate(basis.feet) if feet in slip_times]
    if not rows:
        return carried, False
    slip = np.array([slip_times[basis.feet[n]] for n in rows])
    before = of_run(carried)
    theta, doubt = _with_trace(basis, before)
    slopes, noise = basis.slopes[rows], basis.covariance[np.ix_(rows, rows)] + SLIP_SD**2 * np.eye(len(rows))
    miss = slip - basis.times[rows] - slopes @ theta
    spread = noise + slopes @ doubt @ slopes.T
    if np.any(np.abs(miss) > GATE * np.sqrt(carried.scale * np.diag(spread))):
        return replace(carried, covariance=carried.covariance + WIDER**2 * RUN_SPREAD), False
    gain = np.linalg.solve(spread, slopes @ doubt).T
    run_mean, run_doubt = theta + gain @ miss, doubt - gain @ slopes @ doubt
    # from the run's θ to the car's: exact, since the run tells of the car only through its own θ
    share = np.linalg.solve(before.covariance, carried.covariance).T
    covariance = carried.covariance - share @ (before.covariance - run_doubt) @ share.T
    return (
        Calibration(
            carried.mean + share @ (run_mean - before.mean),
            0.5 * (covariance + covariance.T),
            carried.runs + 1,
            carried.misfit + float(miss @ np.linalg.solve(spread, miss)),
            carried.figures + len(rows),
            carried.rises,
        ),
        True,
    )


def _with_trace(basis: SplitBasis, before: Calibration) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of a run's θ after its trace without the slip."""
    precision = np.linalg.inv(before.covariance)
    doubt = np.asarray(np.linalg.inv(precision + basis.information), dtype=np.float64)
    return doubt @ (precision @ before.mean + basis.score), doubt
