"""One car's runs as the regression sees them, and the design matrix that is made of them.

Columns, the same for every increment: the car's baseline, a level and a drift for each test day, the air, the recorded
nuisances, the effect of each adjustable and of each quantity that several act through (``shared``), and the curvature
of those with a best setting inside their range. The basis (x, x² − x) makes the effect that of the step from 0 to 1
exactly.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from runlog.constants import INCREMENTS_FT

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from runlog.learning.shared import Shared

    FloatArray = NDArray[np.float64]
    IntArray = NDArray[np.int_]
    BoolArray = NDArray[np.bool_]

SEGMENTS = len(INCREMENTS_FT)
"""number of increments, S"""


@dataclass(frozen=True, eq=False)
class Runs:
    """One car's runs, n of them, in any order."""

    keys: tuple[str, ...]
    times: FloatArray
    """(n, S) [s] increment times; nan: not run, or the figure doesn't count"""
    day: IntArray
    """(n,) any number that names the test day"""
    hour: FloatArray
    """(n,) hours on that day's clock"""
    settings: FloatArray
    """(n, P) each adjustable in usual steps from the baseline"""
    air_shift: FloatArray | None
    """(n, S) [s] what the car's longitudinal model says this air and wind add; nan: not known, the day's mean counts"""
    spoiled: BoolArray
    """(n,) marked spoiled by the crew: only its still-true segments have times"""
    nuisances: Mapping[str, FloatArray] = field(default_factory=dict)
    """name → (n,) centred numbers (lane ±0.5, …), 0 where not recorded"""
    car_caused: BoolArray | None = None
    """(n,) lost to the car itself: spin, shake, wheelstand, a part; such runs count even without any time. None: not
    known"""

    def __post_init__(self) -> None:
        n = len(self.keys)
        shapes = {
            "times": (self.times.shape, (n, SEGMENTS)),
            "day": (self.day.shape, (n,)),
            "hour": (self.hour.shape, (n,)),
            "settings": (self.settings.shape[:1], (n,)),
            "spoiled": (self.spoiled.shape, (n,)),
            **{f"nuisance {name}": (values.shape, (n,)) for name, values in self.nuisances.items()},
        }
        if self.air_shift is not None:
            shapes["air_shift"] = (self.air_shift.shape, (n, SEGMENTS))
        if self.car_caused is not None:
            shapes["car_caused"] = (self.car_caused.shape, (n,))
        for name, (found, wanted) in shapes.items():
            if found != wanted:
                raise ValueError(f"{name} has shape {found}, {wanted} is needed for {n} runs")
        if not all(np.isfinite(values).all() for values in (self.settings, self.hour, *self.nuisances.values())):
            raise ValueError("settings, hours and nuisances must be numbers")

    @cached_property
    def filled_air(self) -> FloatArray:
        """(n, S) [s] the air shift, what isn't known replaced by the day's mean, or by 0 on a day without readings."""
        if self.air_shift is None:
            return np.zeros(self.times.shape)
        air = self.air_shift.copy()
        if np.isfinite(air).all():
            return air
        for day in np.unique(self.day):
            rows = self.day == day
            known = np.isfinite(air[rows])
            total = np.where(known, air[rows], 0.0).sum(axis=0)
            mean = total / np.maximum(known.sum(axis=0), 1)
            air[rows] = np.where(known, air[rows], mean)
        return air


@dataclass(frozen=True, eq=False)
class Lever:
    """An adjustable as the learning sees it: prior mean and sd [s] of one usual step on each increment."""

    name: str
    step: float
    unit: str
    mean: FloatArray
    sd: FloatArray
    curved: bool = False
    origin: str = "default"
    """where the prior comes from: ``default``, ``physics``, ``car file`` or ``fleet of N cars``"""
    curvature_mean: FloatArray | None = None
    """prior mean [s] of the curvature of a curved one; None: 0"""
    curvature_sd: FloatArray | None = None
    """its prior sd [s]; None: a share of ``sd``, see ``Settings.curvature_share``"""

    def __post_init__(self) -> None:
        for part in (self.mean, self.sd, self.curvature_mean, self.curvature_sd):
            if part is not None and part.shape != (SEGMENTS,):
                raise ValueError(f"{self.name}: prior mean and sd need {SEGMENTS} increments")
        if not (self.sd > 0).all() or (self.curvature_sd is not None and not (self.curvature_sd > 0).all()):
            raise ValueError(f"{self.name}: prior sd must be above zero")


@dataclass(frozen=True)
class Layout:
    """Where each kind of column stands: K columns in this order."""

    days: tuple[int, ...]
    mean_hour: tuple[float, ...]
    air: bool
    nuisances: tuple[str, ...]
    levers: tuple[Lever, ...]
    shared: Shared | None = None
    mixing: FloatArray | None = None
    """(S, E, E) M: the last E columns' coefficients are M z, z independent beforehand. None: they are themselves"""

    @property
    def terms(self) -> tuple[Lever, ...]:
        """The levers, then the quantities that they share."""
        return self.levers + (self.shared.quantities if self.shared else ())

    @property
    def curved(self) -> tuple[int, ...]:
        """Positions of the terms that have a curvature column."""
        return tuple(p for p, term in enumerate(self.terms) if term.curved)

    @property
    def air_column(self) -> int:
        """Column of the air, where there is one."""
        return 1 + 2 * len(self.days)

    @property
    def first_effect(self) -> int:
        """Column of the first lever's effect; all before are nuisances, all from here on belong to terms."""
        return self.air_column + self.air + len(self.nuisances)

    @property
    def columns(self) -> int:
        """K."""
        return self.first_effect + len(self.terms) + len(self.curved)

    def lever_row(self, settings: FloatArray) -> FloatArray:
        """Return the columns of the terms (…, number of terms + number curved) of settings (…, P) in steps."""
        terms = np.concatenate([settings, self.shared.of(settings)], axis=-1) if self.shared else settings
        curved = terms[..., list(self.curved)]
        return np.concatenate([terms, curved * curved - curved], axis=-1)

    def mix(self, rows: FloatArray, segment: int) -> FloatArray:
        """Return rows (…, K), design or functionals, over the coefficients that are independent beforehand."""
        if self.mixing is None:
            return rows
        mixed = rows.copy()
        mixed[..., self.first_effect :] = rows[..., self.first_effect :] @ self.mixing[segment]
        return mixed

    def rows(self, runs: Runs, segment: int) -> FloatArray:
        """Return the design matrix (n, K) of the runs for one segment."""
        n = len(runs.keys)
        today = runs.day[:, None] == np.array(self.days, dtype=int)[None, :]
        clock = np.where(today, runs.hour[:, None] - np.array(self.mean_hour)[None, :], 0.0)
        blocks = [np.ones((n, 1)), today.astype(float), clock]
        if self.air:
            blocks.append(runs.filled_air[:, segment : segment + 1])
        blocks += [runs.nuisances[name][:, None] for name in self.nuisances]
        return np.concatenate([*blocks, self.lever_row(runs.settings)], axis=1)

    def lever_functional(self, lever: int, start: float, end: float) -> FloatArray:
        """Return the row (K,) whose product with the coefficients is the effect of moving a lever from start to end.

        The others stand at the baseline, which matters where they share a quantity.
        """
        return self.change_functional({lever: start}, {lever: end})

    def change_functional(self, start: Mapping[int, float], end: Mapping[int, float]) -> FloatArray:
        """Return the row (K,) of moving several levers at once; those not named stand at the baseline."""
        settings = np.zeros((2, len(self.levers)))
        for place, given in enumerate((start, end)):
            for lever, value in given.items():
                settings[place, lever] = value
        before, after = self.lever_row(settings)
        row = np.zeros(self.columns)
        row[self.first_effect :] = after - before
        return row


def make_layout(runs: Runs, levers: Sequence[Lever], shared: Shared | None = None) -> Layout:
    """Return the columns that these runs, levers and shared quantities need."""
    if runs.settings.shape[1] != len(levers):
        raise ValueError(f"settings have {runs.settings.shape[1]} columns for {len(levers)} levers")
    # a run without any time has no part in the regression, its day and hour included
    timed = np.isfinite(runs.times).any(axis=1)
    days = tuple(int(day) for day in np.unique(runs.day[timed]))
    hours = tuple(float(runs.hour[timed & (runs.day == day)].mean()) for day in days)
    return Layout(days, hours, runs.air_shift is not None, tuple(runs.nuisances), tuple(levers), shared)


@dataclass(frozen=True, eq=False)
class SegmentData:
    """What one segment is learned from: only the runs that have it."""

    rows: IntArray
    """(m,) positions of these runs among all"""
    X: FloatArray
    """(m, K), the lever columns measured from ``reference``"""
    y: FloatArray
    """(m,) [s] centred on ``centre``, without the air shift at its prior factor of 1"""
    centre: float
    reference: FloatArray
    """(K,) what was taken off each row: the lever columns at each lever's most used setting, else 0"""


def _most_used(values: FloatArray) -> float:
    """Return the most frequent value; of several the one nearest to 0, then the smaller."""
    found, counts = np.unique(values, return_counts=True)
    best = found[counts == counts.max()]
    return float(min(best, key=lambda value: (abs(value), value)))


def segment_data(layout: Layout, runs: Runs, segment: int) -> SegmentData:
    """Return the rows of one segment.

    Lever columns are measured from the most used setting: a lever that never moved then has columns of zeros, and its
    posterior is its prior exactly instead of sharing a constant with the baseline.
    """
    rows = np.flatnonzero(np.isfinite(runs.times[:, segment]))
    X = layout.rows(runs, segment)[rows]
    raw = runs.times[rows, segment] - runs.filled_air[rows, segment]
    centre = float(np.median(raw)) if len(rows) else float("nan")
    reference = np.zeros(layout.columns)
    if len(rows):
        used = np.array([_most_used(column) for column in runs.settings[rows].T])
        reference[layout.first_effect :] = layout.lever_row(used)
    y = raw - centre if len(rows) else raw
    return SegmentData(rows, X - reference, y, centre, reference)
