"""A car's calibration carried from run to run: each run's splits rest on what the slips of earlier runs taught."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from runlog.constants import FOOT
from runlog.records import SplitBasis, TraceFindings
from runlog.signals import rises
from runlog.signals.calibration import (
    NAMES,
    Calibration,
    ground_opinion,
    learn,
    other_tyres,
    prior,
    split_opinion,
)
from runlog.signals.opinion import compare
from runlog.store import calibrations
from runlog.store.calibrations import CalibrationRow
from runlog.workflows import setup

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from runlog.records import Car, RunKey, Sheet, Slip
    from runlog.results import Findings
    from runlog.store.connection import Logbook

_ARRAYS = ("times", "slopes", "covariance", "information", "score", "speeds")
"""of ``SplitBasis``"""
TYRES = "rear tyre set"
"""the item of the setup sheet that starts the tyres' calibration anew when it changes"""


class Carrying:
    """What is known of a car as its runs go by; runs must be given in order."""

    def __init__(self, car: Car | None, sheets: Sequence[Sheet], keys: Iterable[RunKey]) -> None:
        self._fresh = prior(car.tyre.growth if car and car.tyre else None)
        self._setups = setup.in_force(sheets, keys)
        self._of_tyres: dict[str, Calibration] = {}
        self._newest = self._fresh

    def resume(self, rows: Sequence[CalibrationRow]) -> None:
        """Go on from earlier runs' rows, in order."""
        for row in rows:
            self._newest = self._of_tyres[row.tyres] = from_plain(row.after)

    def step(self, slip: Slip, counts_to_ft: int | None, found: Findings) -> CalibrationRow:
        """Return the row of the next run, and learn from its slip when the run is clean, as far as it counts."""
        entry = self._setups[slip.key].get(TYRES)
        tyres = entry.text if entry else ""
        known = self._of_tyres.get(tyres)
        if known is None:
            known = other_tyres(self._newest, self._fresh) if self._of_tyres else self._newest
        # whatever the tyres, the car is launched by the same driver, brake and clutch or converter
        known = replace(known, rises=self._newest.rises)
        basis = basis_of(found)
        after, learned = known, False
        if basis is not None:
            limit = (counts_to_ft or 0) if slip.spoiled is None else 0
            after, learned = learn(basis, known, {feet: time for feet, time in slip.times.items() if feet <= limit})
        if slip.spoiled is None and found["rises"] is not None:
            after = replace(after, rises=rises.after(after.rises, found["rises"]["likelihood"]))
        self._newest = self._of_tyres[tyres] = after
        return CalibrationRow(slip.key, tyres, learned, to_plain(known), to_plain(after))


def carry(book: Logbook, car: Car | None, sheets: Sequence[Sheet], key: RunKey) -> Carrying:
    """Return what the logbook's earlier runs teach for a run."""
    carrying = Carrying(car, sheets, [key])
    carrying.resume(calibrations.before(book, key))
    return carrying


def opinion(
    found: Findings, row: CalibrationRow, slip_times: Mapping[int, float]
) -> tuple[dict[int, tuple[float, float]], tuple[str, ...]]:
    """Return the splits by the trace, distance [ft] → (time, sd) [s], and where the slip contradicts them."""
    basis = basis_of(found)
    if basis is None:
        return {}, ()
    splits = split_opinion(basis, from_plain(row.known))
    metres = FOOT * np.array([0.0, *basis.feet])
    speeds = np.array([0.0, *basis.speeds])
    return splits, compare(TraceFindings(splits=splits, distance=metres, speed=speeds), slip_times)


def from_first_motion(found: Findings, row: CalibrationRow) -> tuple[float, float] | None:
    """Return (time [s], sd [s]) from first motion until 60 ft of ground are covered, or None without a motion."""
    basis = basis_of(found)
    return None if basis is None else ground_opinion(basis, from_plain(row.known))


def taught(row: CalibrationRow, name: str) -> tuple[float, float]:
    """Return a parameter of the calibration as the slips so far have taught it, and its sd."""
    place = NAMES.index(name)
    return row.after["mean"][place], row.after["sd"][place]


def to_plain(known: Calibration) -> dict[str, Any]:
    """Return a calibration as plain values, exactly."""
    return {
        "names": list(NAMES),
        "mean": known.mean.tolist(),
        "sd": known.sd.tolist(),
        "covariance": known.covariance.tolist(),
        "runs": known.runs,
        "misfit": known.misfit,
        "figures": known.figures,
        "rises": list(known.rises),
    }


def from_plain(plain: Mapping[str, Any]) -> Calibration:
    """Return a calibration from its plain values."""
    return Calibration(
        np.array(plain["mean"]),
        np.array(plain["covariance"]),
        plain["runs"],
        plain["misfit"],
        plain["figures"],
        tuple(plain["rises"]),
    )


def basis_of(found: Findings) -> SplitBasis | None:
    """Return what a run's splits rest on from its findings, or None without speed and distance."""
    plain = found["basis"]
    if plain is None:
        return None
    arrays = {name: np.array(plain[name]) for name in _ARRAYS}
    slopes = plain["ground_slopes"]
    return SplitBasis(
        tuple(plain["feet"]),
        **arrays,
        ground_time=plain["ground_time"],
        ground_slopes=None if slopes is None else np.array(slopes),
        ground_variance=plain["ground_variance"],
    )


def plain_basis(basis: SplitBasis | None) -> dict[str, Any] | None:
    """Return what splits rest on as plain values, exactly."""
    if basis is None:
        return None
    return {
        "feet": list(basis.feet),
        **{name: getattr(basis, name).tolist() for name in _ARRAYS},
        "ground_time": basis.ground_time,
        "ground_slopes": None if basis.ground_slopes is None else basis.ground_slopes.tolist(),
        "ground_variance": basis.ground_variance,
    }
