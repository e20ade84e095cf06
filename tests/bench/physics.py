"""How fast the longitudinal model is, against a straightforward integration of the same equations in time."""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from timing import Line, interleaved, ratios, seconds

from runlog.physics.longitudinal import simulate

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

MANY = 1000


def _processor(work: Callable[[], object]) -> float:
    """Return the processor time of a call [s]: what else the machine does counts less than by the clock."""
    start = time.process_time()
    work()
    return time.process_time() - start


def simulation(_: Path, quick: bool) -> Iterator[Line]:
    """A geared car with converter: one run, many at once, and scipy's integrator at tolerances of 1e-6."""
    sys.path.insert(0, str(Path(__file__).parents[1] / "physics"))
    from test_driveline_run import CAR, HOT, Reference, measured_torque

    reference = Reference(CAR, HOT, measured_torque)
    off = np.abs(np.array(reference.run(1e-6, np.inf)[0]) - simulate(CAR, HOT).times).max()
    repeats = 3 if quick else 10
    pairs = interleaved(
        lambda: seconds(lambda: reference.run(1e-6, np.inf)), lambda: seconds(lambda: simulate(CAR, HOT)), repeats
    )
    alone = tuple(1e3 / 10 * _processor(lambda: [simulate(CAR, HOT) for _ in range(10)]) for _ in range(repeats))
    yield Line("simulation", alone, "ms", 5.0, "one run of a geared car, processor time")
    yield Line("simulation: integrator", ratios(pairs), "×", None, f"solve_ivp / ours; splits differ by {off:.1e} s")
    many = replace(CAR, mass=np.linspace(1100.0, 1300.0, MANY))
    together = tuple(1e3 / MANY * seconds(lambda: simulate(many, HOT)) for _ in range(repeats))
    yield Line(f"simulation: {MANY:,} at once", together, "ms", None, "each")
