"""The columns of a fleet: cars' adjustables matched by name and unit and brought to one step.

f(x) = e x + c (x² − x) in steps of one size is f with e' = r e + (r² − r) c and c' = r² c in steps r times as large, so
that statistics found in either step can be expressed in the other exactly.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from runlog.learning.design import SEGMENTS, Lever
from runlog.learning.pooling import Evidence

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from runlog.learning.priors import Settings
    from runlog.learning.sufficient import CarStatistics, Handle

    FloatArray = NDArray[np.float64]


def fleet_levers(cars: Sequence[Sequence[Lever]]) -> tuple[Lever, ...]:
    """Return the union of the cars' adjustables, matched by name and unit; the step is that of the first to have it.

    The prior of the common mean has the mean of the cars' prior means, and the variance of all their priors together.
    It is curved if it is in any car.
    """
    found: dict[tuple[str, str], list[Lever]] = {}
    for levers in cars:
        for lever in levers:
            found.setdefault((lever.name, lever.unit), []).append(lever)
    result = []
    for same in found.values():
        scale = np.array([same[0].step / lever.step for lever in same])[:, None]
        means = np.array([lever.mean for lever in same]) * scale
        sds = np.array([lever.sd for lever in same]) * scale
        sd = np.sqrt((sds**2).mean(axis=0) + means.var(axis=0))
        curved = any(lever.curved for lever in same)
        result.append(replace(same[0], mean=means.mean(axis=0), sd=sd, curved=curved, origin="default"))
    return tuple(result)


def find_lever(levers: Sequence[Lever], name: str, unit: str) -> int | None:
    """Return the position of an adjustable, or None."""
    return next((p for p, lever in enumerate(levers) if (lever.name, lever.unit) == (name, unit)), None)


def curved_columns(levers: Sequence[Lever]) -> dict[int, int]:
    """Return the column of the curvature of each curved lever, by the lever's position."""
    curved = [p for p, lever in enumerate(levers) if lever.curved]
    return {p: len(levers) + rank for rank, p in enumerate(curved)}


def rescale(ratio: float, curved: bool) -> FloatArray:
    """Return effect (and curvature) of a step ``ratio`` times as large, as rows over those of the smaller."""
    return np.array([[ratio, ratio**2 - ratio], [0.0, ratio**2]]) if curved else np.array([[ratio]])


def common_prior(levers: Sequence[Lever], settings: Settings) -> tuple[FloatArray, FloatArray]:
    """Return prior means and sds (S, E) [s] of the common mean of every column."""
    curved = [lever for lever in levers if lever.curved]
    means = [lever.mean for lever in levers] + [np.zeros(SEGMENTS) for _ in curved]
    sds = [lever.sd for lever in levers] + [settings.curvature_share * lever.sd for lever in curved]
    return np.array(means).reshape(-1, SEGMENTS).T, np.array(sds).reshape(-1, SEGMENTS).T


def _matching(handles: Sequence[Handle], levers: Sequence[Lever], car: str) -> FloatArray:
    """Return the matrix (car's columns, fleet's columns) that makes a car's effects of the fleet's."""
    at_fleet = curved_columns(levers)
    curved = [row for row, handle in enumerate(handles) if handle.curved]
    A = np.zeros((len(handles) + len(curved), len(levers) + len(at_fleet)))
    for row, handle in enumerate(handles):
        p = find_lever(levers, handle.name, handle.unit)
        if p is None:
            raise ValueError(f"{car}: {handle.name} [{handle.unit}] is not among the fleet's adjustables")
        if handle.curved and p not in at_fleet:
            raise ValueError(f"{car}: {handle.name} is curved there but not in the fleet")
        rows = [row, len(handles) + curved.index(row)] if handle.curved else [row]
        columns = [p, at_fleet[p]] if handle.curved else [p]
        A[np.ix_(rows, columns)] = rescale(handle.step / levers[p].step, handle.curved)
    return A


def gather(statistics: Sequence[CarStatistics], levers: Sequence[Lever]) -> tuple[Evidence, ...]:
    """Return what the cars say of each segment in the fleet's columns; of what a car lacks it says nothing."""
    matching: dict[tuple[Handle, ...], FloatArray] = {}
    columns = len(levers) + len(curved_columns(levers))
    information = np.zeros((SEGMENTS, len(statistics), columns, columns))
    moment = np.zeros((SEGMENTS, len(statistics), columns))
    for c, one in enumerate(statistics):
        if one.handles not in matching:
            matching[one.handles] = _matching(one.handles, levers, one.car)
        A = matching[one.handles]
        information[:, c] = A.T @ one.information @ A
        moment[:, c] = one.moment @ A
    squares = np.array([one.squares for one in statistics]).reshape(-1, SEGMENTS)
    degrees = np.array([one.degrees for one in statistics]).reshape(-1, SEGMENTS)
    return tuple(Evidence(information[k], moment[k], squares[:, k], degrees[:, k]) for k in range(SEGMENTS))
