"""Every combination of bracket holes of a four-link at once: instant centre and anti-squat as a table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from runlog.physics.fourlink import LEAST_LENGTH, PARALLEL, FourLink, Link, Point, anti_squat, instant_centre, meet

if TYPE_CHECKING:
    from collections.abc import Sequence

FloatArray = NDArray[np.float64]

PLACES: Final = ("upper link front hole", "upper link rear hole", "lower link front hole", "lower link rear hole")
"""The four brackets in the order of every combination; front is on the frame, rear on the axle."""


@dataclass(frozen=True)
class Bracket:
    """The holes of a bracket that may be used: their positions in the car file, and their places [m], shape (n, 2)."""

    positions: tuple[int, ...]
    points: tuple[Point, ...]

    def __post_init__(self) -> None:
        if not self.points or len(self.positions) != len(self.points):
            raise ValueError("a bracket needs at least one hole, and a place for each")


@dataclass(frozen=True)
class HoleTable:
    """Combinations of holes, one a row; what has no value is nan."""

    positions: NDArray[np.int64]
    """(n, 4) positions in the order of ``PLACES``"""
    x: FloatArray
    """[m] instant centre; nan where the links are parallel"""
    z: FloatArray
    anti_squat: FloatArray
    """1 = 100 %; nan where the geometry gives none"""
    frame_lowered: FloatArray
    """change of anti-squat for each metre that the frame is lowered, links set again to the old pinion angle"""
    axle_raised: FloatArray
    """change of anti-squat for each metre that the axle rises, links as they are"""

    def nearest_anti_squat(self, target: float) -> HoleTable:
        """Return the rows in order of their distance to a target anti-squat; rows without a value last."""
        return self._ordered(np.abs(self.anti_squat - target))

    def nearest_centre(self, target: Point) -> HoleTable:
        """Return the rows in order of the distance [m] of their instant centre to a target; parallel links last."""
        return self._ordered(np.hypot(self.x - target[0], self.z - target[1]))

    def _ordered(self, distance: FloatArray) -> HoleTable:
        # rounding must not decide between rows that are equally near: those keep the order of the holes
        order = np.argsort(np.round(distance, 12), kind="stable")
        return HoleTable(
            self.positions[order],
            self.x[order],
            self.z[order],
            self.anti_squat[order],
            self.frame_lowered[order],
            self.axle_raised[order],
        )


def hole_table(brackets: Sequence[Bracket], height: float, wheelbase: float, axle_height: float) -> HoleTable:
    """Return every combination of the holes of four brackets (in the order of ``PLACES``), in the order of the holes.

    ``height`` [m] of the centre of gravity, ``axle_height`` [m] the loaded tyre radius. All at once in numpy.
    Combinations whose links have no length or lie on one line keep their row, with nan. ValueError unless there are
    four brackets and the sizes are above zero.
    """
    if len(brackets) != len(PLACES):
        raise ValueError(f"{len(brackets)} brackets: there must be four, {', '.join(PLACES)}")
    if not (height > 0 and wheelbase > 0 and axle_height > 0):
        raise ValueError("height, wheelbase and axle height must be above zero")
    places = [np.array(bracket.points, dtype=float) for bracket in brackets]
    grids = np.meshgrid(*(np.arange(len(bracket.points)) for bracket in brackets), indexing="ij")
    picked = [grid.ravel() for grid in grids]
    corners = np.stack([points[pick] for points, pick in zip(places, picked, strict=True)], axis=1)
    positions = np.stack(
        [np.array(bracket.positions, dtype=np.int64)[pick] for bracket, pick in zip(brackets, picked, strict=True)],
        axis=1,
    )
    found = _meeting(corners)
    ratio = wheelbase / height
    with np.errstate(divide="ignore", invalid="ignore"):
        parallel = np.abs(found[:, 2]) <= PARALLEL
        x, z = (np.where(parallel, np.nan, found[:, n] / found[:, 2]) for n in (0, 1))
    step = 1e-4
    low, high = (_slope(_meeting(corners - _drop(sign * step))) for sign in (-1, 1))
    fell, rose = (_slope(_meeting(_raised(corners, found, sign * step, axle_height))) for sign in (-1, 1))
    slope = _slope(found)
    return HoleTable(
        positions, x, z, slope * ratio, (high - low) / (2 * step) * ratio, (rose - fell) / (2 * step) * ratio
    )


def _drop(size: float) -> FloatArray:
    """Return the shift of (4, 2) corners when the frame, its first and third bracket, is lowered."""
    return np.array([[0.0, size], [0.0, 0.0], [0.0, size], [0.0, 0.0]])


def _meeting(corners: FloatArray) -> FloatArray:
    """Return where the links of (n, 4, 2) corners meet, as ``meet``; nan where they don't."""
    spans = corners[:, (0, 2)] - corners[:, (1, 3)]
    lengths = np.hypot(spans[..., 0], spans[..., 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        along = np.where(lengths[..., None] < LEAST_LENGTH, np.nan, spans / lengths[..., None])
    found = meet(corners[:, 1], along[:, 0], corners[:, 3], along[:, 1])
    nowhere = np.hypot(found[:, 0], found[:, 1]) + np.abs(found[:, 2]) < LEAST_LENGTH
    return np.where(nowhere[:, None], np.nan, found)


def _slope(found: FloatArray) -> FloatArray:
    """Return the slope of the line from the contact patch through where the links meet; nan where it is upright."""
    size = np.maximum(np.abs(found[:, 2]), np.abs(found[:, 1]))
    upright = np.abs(found[:, 0]) < LEAST_LENGTH * size
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(upright, np.nan, found[:, 1] / found[:, 0])


def _raised(corners: FloatArray, found: FloatArray, travel: float, axle_height: float) -> FloatArray:
    """Return the corners, seen from the axle, after so little travel that the axle only turns about the centre."""
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = -travel * found[:, 2] / found[:, 0]
        forward = travel * (axle_height * found[:, 2] - found[:, 1]) / found[:, 0]
    # a centre in line with the axle lets nothing rise
    turn, forward = (np.where(np.isfinite(change), change, np.nan) for change in (turn, forward))
    moved = corners.copy()
    for rear in (1, 3):
        arm = corners[:, rear] - (0.0, axle_height)
        moved[:, rear] += turn[:, None] * np.stack((-arm[:, 1], arm[:, 0]), axis=1)
    for front in (0, 2):
        moved[:, front] -= np.stack((forward, np.full_like(forward, travel)), axis=1)
    return moved


def anti_squat_at(corners: FloatArray, height: float, wheelbase: float) -> FloatArray:
    """Return the anti-squat (…,), 1 = 100 %, of links by their pivots (…, 4, 2) [m] in the order of ``PLACES``.

    ``height`` [m] of the centre of gravity. nan where the links have no length, lie on one line, or meet in line with
    the axle. Formula and sources: ``fourlink``.
    """
    flat = corners.reshape(-1, 4, 2)
    share: FloatArray = (_slope(_meeting(flat)) * wheelbase / height).reshape(corners.shape[:-2])
    return share


def instant_centre_at(corners: FloatArray) -> FloatArray:
    """Return the instant centre (…, 2) as x and z [m] of links by their pivots (…, 4, 2) [m]; nan where parallel."""
    found = _meeting(corners.reshape(-1, 4, 2))
    with np.errstate(divide="ignore", invalid="ignore"):
        places = np.where(np.abs(found[:, 2:]) <= PARALLEL, np.nan, found[:, :2] / found[:, 2:])
    return places.reshape(*corners.shape[:-2], 2)


def links_of(corners: Sequence[Point]) -> FourLink:
    """Return the four-link of four holes in the order of ``PLACES``."""
    upper_front, upper_rear, lower_front, lower_rear = corners
    return FourLink(Link(upper_rear, upper_front), Link(lower_rear, lower_front))


def anti_squat_of(links: FourLink, height: float, wheelbase: float) -> float | None:
    """Return the anti-squat of links, or None where the geometry gives none."""
    try:
        return anti_squat(instant_centre(links), height, wheelbase)
    except ValueError:
        return None
