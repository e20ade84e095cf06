"""Learning as a library: one car, fleets of growing size, and the same data with a general mixed model.

By itself: ``python tests/bench/learning.py [--quick]``. CPU seconds stand beside the wall's, which a busy machine
stretches.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
import warnings
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from timing import HEADER, Line, interleaved, process, ratios, seconds

from runlog.learning import CarRuns, Lever, Runs, Settings, fit_car, fit_fleet, map_cars

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

WORKERS = 2
SIGMA0 = np.array(Settings().repeatability)
WIDTHS = np.array([1.0, 0.5, 0.3, 0.2, 0.1])


def invented(number: int, runs: int, levers: int) -> CarRuns:
    """A car with so many runs, seven a day, one in fourteen spoiled, one in ten cut short."""
    rng = np.random.default_rng(number)
    x = rng.integers(0, 2, (runs, levers)).astype(float)
    effects = np.random.default_rng(99).normal(0, WIDTHS * SIGMA0, (levers, 5))
    effects = effects + 0.4 * rng.normal(0, WIDTHS * SIGMA0, (levers, 5))
    times = 2.0 + x @ effects + rng.normal(0, SIGMA0, (runs, 5))
    times += 0.08 * (rng.random((runs, 1)) < 1 / 14)
    times[rng.random(runs) < 0.1, 2:] = np.nan
    day = np.arange(runs) // 7
    hour = 10 + 0.75 * (np.arange(runs) % 7)
    names = tuple(f"lever {p}" for p in range(levers))
    priors = tuple(Lever(name, 1.0, "psi", np.zeros(5), WIDTHS * SIGMA0) for name in names)
    keys = tuple(map(str, range(runs)))
    air = rng.normal(0, 0.02, (runs, 5))
    return CarRuns(f"car {number}", Runs(keys, times, day, hour, x, air, np.zeros(runs, dtype=bool)), priors)


def one_car() -> None:
    """What the process of ``car`` does."""
    made = invented(0, 60, 15)
    effects = fit_car(made.runs, made.levers).effects
    assert len(effects) == 90


def car(_: Path, quick: bool) -> Iterator[Line]:
    """A whole Python process: imports, the fit of 60 runs × 15 adjustables, every effect with its verdict."""
    command = (sys.executable, "-c", f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r}); "
               "import learning; learning.one_car()")  # fmt: skip
    taken = [process(*command).seconds for _ in range(3 if quick else 10)]
    yield Line("learn: 60 runs × 15", tuple(taken), "s", 2.0, "whole process with its imports, all effects")


def _cpu(work: Callable[[], object]) -> tuple[float, float]:
    """Return wall and CPU seconds of a call and of its finished workers."""
    before, start = os.times(), time.perf_counter()
    work()
    wall, after = time.perf_counter() - start, os.times()
    return wall, sum(after[:4]) - sum(before[:4])


def _fleet(cars: list[CarRuns], workers: int) -> None:
    if workers > 1:
        with ProcessPoolExecutor(workers) as executor:
            statistics = map_cars(cars, executor)
    else:
        statistics = map_cars(cars)
    fleet = fit_fleet(statistics, cars[0].levers)
    assert len(fleet.effects) == 6 * len(cars[0].levers)
    fleet.prior_for(cars[0].car, cars[0].levers)


def fleets(_: Path, quick: bool) -> Iterator[Line]:
    """Fleets with 12 adjustables: statistics of every car, pooling, effects and disagreements."""
    sizes = [(10, 60, None), (100, 60, 10.0), *([] if quick else [(1000, 60, None), (1000, 200, 60.0)])]
    for count, runs, budget in sizes:
        cars = [invented(number, runs, 12) for number in range(count)]
        wall, cpu = _cpu(lambda cars=cars: _fleet(cars, WORKERS))
        name = f"fleet: {count:,} × {runs}"
        yield Line(name, (wall,), "s", budget, f"{WORKERS} processes, 12 adjustables, wall")
        yield Line(f"{name}, CPU", (cpu,), "s", None, "the same, CPU of all processes")
        yield Line(f"{name}, per car", (1e3 * cpu / count,), "ms", None, "CPU per car")


def _mixed_model(cars: list[CarRuns]) -> None:
    """Five increments with statsmodels: common mean and random slope of each adjustable, day levels taken out."""
    import statsmodels.api as sm
    from statsmodels.regression.mixed_linear_model import MixedLMParams

    pattern = MixedLMParams.from_components(fe_params=np.ones(12), cov_re=np.eye(12))
    for k in range(5):
        y, X, groups = [], [], []
        for number, made in enumerate(cars):
            kept = np.isfinite(made.runs.times[:, k])
            days = np.eye(made.runs.day.max() + 1)[made.runs.day[kept]]
            within = np.eye(kept.sum()) - days @ np.linalg.pinv(days)
            y.append(within @ made.runs.times[kept, k] * 1e3)
            X.append(within @ made.runs.settings[kept])
            groups.append(np.full(kept.sum(), number))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of boundaries on its way
            model = sm.MixedLM(np.concatenate(y), np.vstack(X), groups=np.concatenate(groups), exog_re=np.vstack(X))
            _ = model.fit(free=pattern, method="lbfgs").random_effects


def against_mixed_model(_: Path, quick: bool) -> Iterator[Line]:
    """24 cars × 60 runs × 12 adjustables, in one process each way."""
    cars = [invented(number, 60, 12) for number in range(24)]
    pairs = interleaved(lambda: seconds(lambda: _fleet(cars, 1)), lambda: seconds(lambda: _mixed_model(cars)),
                        1 if quick else 3)  # fmt: skip
    yield Line("fleet: ours", tuple(a for a, _ in pairs), "s", None, "24 cars × 60 runs × 12, in process")
    yield Line("fleet: mixed model", tuple(b for _, b in pairs), "s", None, "statsmodels MixedLM, 5 increments")
    yield Line("fleet: ours / mixed model", ratios(pairs), "×", 1.0, "of each pair")


BENCHES = (car, fleets, against_mixed_model)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--quick", action="store_true", help="fewer repeats, no fleets of 1,000")
    quick = options.parse_args().quick
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    print(f"{os.cpu_count()} cores, load {load:.1f} before the start")
    print(HEADER)
    for bench in BENCHES:
        for line in bench(Path(), quick):
            print(line, flush=True)


if __name__ == "__main__":
    main()
