"""What a fleet needs to know of one car: statistics of fixed size, which can be stored and sent as plain numbers.

The map step of learning from many cars. It uses only the car's own runs, so that a new run asks for the statistics of
its car again and of no other, and any executor may spread the cars over processes or machines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from runlog.learning.design import SEGMENTS, Lever, Runs, SegmentData, make_layout, segment_data
from runlog.learning.priors import Settings, prior_mean, typical_ratio

if TYPE_CHECKING:
    from collections.abc import Sequence
    from concurrent.futures import Executor

    from numpy.typing import NDArray

    from runlog.learning.design import Layout
    from runlog.learning.shared import Shared

    FloatArray = NDArray[np.float64]
    IntArray = NDArray[np.int_]

_PASSES: Final = 15
_TOLERANCE: Final = 0.002


@dataclass(frozen=True)
class Handle:
    """What an adjustable is known by from car to car, and the step that its effect belongs to."""

    name: str
    step: float
    unit: str
    curved: bool = False


@dataclass(frozen=True, eq=False)
class CarStatistics:
    """One car's runs condensed: S segments, E columns (one per handle, then one per curved handle).

    In units of the residual variance, with baseline, days, drift, air and nuisances integrated out.
    """

    car: str
    handles: tuple[Handle, ...]
    information: FloatArray
    """(S, E, E) Λ"""
    moment: FloatArray
    """(S, E) [s] h"""
    squares: FloatArray
    """(S,) [s²] r"""
    degrees: FloatArray
    """(S,) n − 1 of the runs that have the segment; 0 without any"""
    residual_products: FloatArray
    """(S, S) sums of products of standardised residuals over runs that have both segments"""
    residual_pairs: FloatArray
    """(S, S) number of those runs"""

    def __post_init__(self) -> None:
        E = len(self.handles) + sum(handle.curved for handle in self.handles)
        wanted = {
            "information": (SEGMENTS, E, E), "moment": (SEGMENTS, E), "squares": (SEGMENTS,), "degrees": (SEGMENTS,),
            "residual_products": (SEGMENTS, SEGMENTS), "residual_pairs": (SEGMENTS, SEGMENTS),
        }  # fmt: skip
        for name, shape in wanted.items():
            if getattr(self, name).shape != shape:
                raise ValueError(f"{self.car}: {name} has shape {getattr(self, name).shape}, {shape} is needed")

    def __add__(self, other: CarStatistics) -> CarStatistics:
        """Return the statistics of two stretches of the same car that share no run, day or baseline: two seasons."""
        if (self.car, self.handles) != (other.car, other.handles):
            raise ValueError(f"statistics of {self.car} and {other.car} are not of the same car and adjustables")
        return replace(self, **{name: getattr(self, name) + getattr(other, name) for name in _SUMS})

    def plain(self) -> dict[str, Any]:
        """Return strings, numbers and lists only; the numbers keep every digit."""
        handles = [[handle.name, handle.step, handle.unit, handle.curved] for handle in self.handles]
        return {"car": self.car, "handles": handles, **{name: getattr(self, name).tolist() for name in _SUMS}}

    @classmethod
    def from_plain(cls, plain: dict[str, Any]) -> CarStatistics:
        """Return the statistics that ``plain`` was made from."""
        handles = tuple(Handle(str(n), float(s), str(u), bool(c)) for n, s, u, c in plain["handles"])
        columns = len(handles) + sum(handle.curved for handle in handles)
        sums = {name: np.array(plain[name], dtype=float) for name in _SUMS}
        # without adjustables the lists are empty and don't tell their shape
        sums["information"] = sums["information"].reshape(SEGMENTS, columns, columns)
        sums["moment"] = sums["moment"].reshape(SEGMENTS, columns)
        return cls(str(plain["car"]), handles, **sums)


_SUMS: Final = ("information", "moment", "squares", "degrees", "residual_products", "residual_pairs")


@dataclass(frozen=True, eq=False)
class CarRuns:
    """A car to be condensed: its name, its runs and its adjustables with their priors."""

    car: str
    runs: Runs
    levers: tuple[Lever, ...]
    settings: Settings = field(default_factory=Settings)
    shared: Shared | None = None
    """the quantities that the adjustables act through; the fleet hears of them as of adjustables"""


@dataclass(frozen=True, eq=False)
class _Days:
    """The test days of the runs of one segment: level and drift are eliminated day by day, two columns at a time."""

    place: IntArray
    """(m,) which day"""
    t: FloatArray
    """(m,) [h] from the day's mean"""
    penalty: FloatArray
    """(2,) inverse prior variances of level and drift"""
    member: FloatArray
    """(D, m) 1 where the run is of the day"""

    def take_out(self, weights: FloatArray, columns: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return columns (m, C) less what the days take of them, and the days' share (m,) of each run's leverage."""
        wt = weights * self.t
        n0 = self.member @ weights + self.penalty[0]
        n1 = self.member @ wt
        n2 = self.member @ (wt * self.t) + self.penalty[1]
        determinant = n0 * n2 - n1 * n1
        by_level = self.member @ (weights[:, None] * columns)
        by_drift = self.member @ (wt[:, None] * columns)
        level = (n2[:, None] * by_level - n1[:, None] * by_drift) / determinant[:, None]
        drift = (n0[:, None] * by_drift - n1[:, None] * by_level) / determinant[:, None]
        d, t = self.place, self.t
        leverage = (n2[d] - 2.0 * t * n1[d] + t * t * n0[d]) / determinant[d]
        return columns - level[d] - t[:, None] * drift[d], leverage


def _days(layout: Layout, data: SegmentData, ratio: FloatArray) -> _Days:
    count = len(layout.days)
    member = data.X[:, 1 : 1 + count].T
    place = member.argmax(axis=0) if count else np.zeros(0, dtype=np.intp)
    return _Days(place, data.X[:, 1 + count : 1 + 2 * count].sum(axis=1), 1.0 / ratio[[1, 1 + count]], member)


@dataclass(frozen=True, eq=False)
class _Condensed:
    information: FloatArray
    moment: FloatArray
    squares: float
    residual: FloatArray
    """(m,) standardised, weighted"""


def _condense(layout: Layout, data: SegmentData, segment: int, settings: Settings) -> _Condensed:
    """Return one segment's statistics by variational EM of who was spoiled, at typical ω and ψ and κ = 1."""
    ratio = typical_ratio(layout, segment, settings)
    typical, a0, wide = settings.repeatability[segment], settings.variance_strength, settings.spoiled_width**2
    odds = math.log((1 - settings.spoiled_share) * settings.spoiled_width / settings.spoiled_share)
    days = _days(layout, data, ratio)
    kept = np.r_[0, layout.air_column : layout.columns]
    columns = np.column_stack([data.X[:, kept], data.y])
    prior = 1.0 / ratio[kept]
    nuisances = 1 + layout.first_effect - layout.air_column
    mean = prior_mean(layout, segment)[kept]
    spoiled, settled = np.zeros(len(data.y)), False
    for step in range(_PASSES + 1):
        weights = 1.0 - spoiled + spoiled / wide
        free, leverage = days.take_out(weights, columns)
        gram = columns.T @ (weights[:, None] * free)
        # from the prior mean: y − Xm
        V = np.linalg.inv(gram[:-1, :-1] + np.diag(prior))
        b = gram[:-1, -1] - gram[:-1, :-1] @ mean
        lift = V @ b
        misfit = gram[-1, -1] - 2.0 * mean @ gram[:-1, -1] + mean @ gram[:-1, :-1] @ mean - b @ lift
        variance = (a0 * typical**2 + 0.5 * misfit) / (a0 + 0.5 * len(data.y))
        residual = free[:, -1] - free[:, :-1] @ (mean + lift)
        if settled or step == _PASSES:
            break
        q = residual**2 / variance + leverage + np.einsum("ij,ij->i", free[:, :-1] @ V, free[:, :-1])
        latest = 1.0 / (1.0 + np.exp(np.clip(odds - 0.5 * q * (1 - 1 / wide), -500, 500)))
        latest = latest if step == 0 else 0.5 * (latest + spoiled)
        settled = float(np.abs(latest - spoiled).max(initial=0.0)) < _TOLERANCE
        spoiled = latest
    Z, E = slice(0, nuisances), slice(nuisances, len(kept) + 1)
    bridge = gram[Z, E]
    rest = gram[E, E] - bridge.T @ np.linalg.solve(gram[Z, Z] + np.diag(prior[Z]), bridge)
    rest = 0.5 * (rest + rest.T)
    return _Condensed(rest[:-1, :-1], rest[:-1, -1], float(rest[-1, -1]), residual * np.sqrt(weights / variance))


def car_statistics(car: CarRuns) -> CarStatistics:
    """Return the statistics of one car; any number of runs, also none."""
    layout = make_layout(car.runs, car.levers, car.shared)
    columns = layout.columns - layout.first_effect
    information, moment = np.zeros((SEGMENTS, columns, columns)), np.zeros((SEGMENTS, columns))
    squares, degrees = np.zeros(SEGMENTS), np.zeros(SEGMENTS)
    residuals = np.zeros((len(car.runs.keys), SEGMENTS))
    for k in range(SEGMENTS):
        data = segment_data(layout, car.runs, k)
        if not len(data.y):
            continue
        found = _condense(layout, data, k, car.settings)
        information[k], moment[k], squares[k] = found.information, found.moment, found.squares
        degrees[k] = len(data.y) - 1
        residuals[data.rows, k] = found.residual
    timed = np.isfinite(car.runs.times).astype(float)
    handles = tuple(Handle(lever.name, lever.step, lever.unit, lever.curved) for lever in layout.terms)
    return CarStatistics(car.car, handles, information, moment, squares, degrees, residuals.T @ residuals,
                         timed.T @ timed)  # fmt: skip


def map_cars(cars: Sequence[CarRuns], executor: Executor | None = None) -> tuple[CarStatistics, ...]:
    """Return the statistics of each car, in their order; with an executor in its workers, else here: the same numbers.

    ``executor`` is anything with the ``map`` of ``concurrent.futures``: processes, or an engine over many machines.
    """
    if executor is None:
        return tuple(map(car_statistics, cars))
    return tuple(executor.map(car_statistics, cars, chunksize=max(1, len(cars) // 32)))
