"""Plans held against simulated days: what they promise comes true, also where the day isn't the model's.

Truths are drawn here; nothing of them comes from the program. The day's drift is a random walk, which the model, a
straight line a day, doesn't contain.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from runlog.learning import Candidate, Request, fit_car, plan
from runlog.learning.forecast import forecast
from runlog.learning.sequences import Space, change_and_stay, there_and_back

LEVERS, RUNS = 2, 6
SIGMA0 = np.array([0.012, 0.010, 0.008, 0.008, 0.008])  # typical repeatability, common practice, no source


def made(result, levers=LEVERS):
    """Return the settings (q, P) of a plan."""
    now, rows = np.zeros(levers), []
    for step in result.steps:
        for name, level in step.changes:
            now[int(name[-1])] = level
        rows.append(now.copy())
    return np.array(rows)


def plain_ways():
    space = Space(
        start=np.zeros(LEVERS), levels=dict.fromkeys(range(LEVERS), (0.0, 1.0)), earlier=np.zeros((2, LEVERS)),
        minutes=np.full(LEVERS, 10.0), turnaround=45.0, minutes_left=np.inf, changes_per_gap=1, runs=RUNS, shakedown=0,
        leave_with=None,
    )  # fmt: skip
    return there_and_back(space), change_and_stay(space)


def day(garage, sequence, rng):
    """Return one simulated day's runs and the true effects (P, S): two runs at the baseline, then the sequence."""
    x = np.concatenate([np.zeros((2, LEVERS)), sequence])
    widths = np.array([1.0, 0.5, 0.3, 0.2, 0.1])
    effects = rng.normal(0, 1, (LEVERS, 5)) * widths * SIGMA0
    walk = np.cumsum(rng.normal(0, 0.25, (len(x), 5)), axis=0) * SIGMA0
    noise = rng.normal(0, 1, (len(x), 5)) * SIGMA0
    base = np.array([1.40, 2.60, 2.00, 1.80, 1.70])
    return garage.runs(x, times=base + x @ effects + walk + noise), effects


@pytest.fixture(scope="module")
def ways(garage):
    fit = fit_car(garage.runs(np.zeros((2, LEVERS)), hour=[10, 10.75]), garage.levers(LEVERS))
    candidates = tuple(Candidate(f"lever {p}", 10) for p in range(LEVERS))
    result = plan(fit, Request(RUNS, candidates, np.zeros(LEVERS), 0, 10.75))
    return result, dict(zip(("plan", "there_and_back", "change_and_stay"), (made(result), *plain_ways()), strict=True))


@pytest.mark.slow
def test_plans_beat_plain_ways_on_simulated_days_and_intervals_keep_their_promise(garage, ways):
    """150 days for each way: rms error of the effects on the first 60 ft, and 90 % intervals within binomial limits."""
    _, sequences = ways
    errors, inside, forecasts = {}, {}, []
    for way, sequence in sequences.items():
        rng = np.random.default_rng(20310412)  # the same days for each way
        miss, hits = [], []
        for _ in range(150):
            runs, effects = day(garage, sequence, rng)
            fit = fit_car(runs, garage.levers(LEVERS))
            for effect in fit.effects:
                if (effect.from_ft, effect.to_ft) == (0, 60):
                    true = effects[int(effect.adjustable[-1]), 0]
                    miss.append(effect.mean_s - true)
                    hits.append(effect.lo90_s <= true <= effect.hi90_s)
            if way == "plan":
                forecasts.append(_foretold(garage, runs))
        errors[way], inside[way] = float(np.sqrt(np.mean(np.square(miss)))), hits
    print({way: f"{1000 * error:.2f} ms, {np.mean(inside[way]):.3f} inside" for way, error in errors.items()})
    print(f"forecasts: {np.mean(forecasts):.3f} inside")
    assert errors["plan"] < min(errors["there_and_back"], errors["change_and_stay"])
    for hits in (*inside.values(), forecasts):
        low, high = stats.binom.ppf([0.001, 0.999], len(hits), 0.9)
        assert low <= sum(hits) <= high, (sum(hits), len(hits))


def _foretold(garage, runs):
    """Tell whether the day's last run came inside the 90 % interval of the first 60 ft, foretold from those before."""
    before = garage.runs(runs.settings[:-1], times=runs.times[:-1], hour=runs.hour[:-1])
    told = forecast(fit_car(before, garage.levers(LEVERS)), runs.settings[-1], 0, float(runs.hour[-1])).increments[0]
    return bool(told.lo90_s <= runs.times[-1, 0] <= told.hi90_s)


@pytest.mark.slow
def test_the_chance_of_a_verdict_is_as_often_a_verdict(garage, ways):
    """Days drawn from the model's own prior and noise: as many claims as promised, within three binomial sd."""
    result, sequences = ways
    promised = np.mean([e.plan.chance_settled for e in result.expected if (e.from_ft, e.to_ft) == (0, 60)])
    rng = np.random.default_rng(7)
    words = []
    for _ in range(150):
        runs, _ = day(garage, sequences["plan"], rng)
        fit = fit_car(runs, garage.levers(LEVERS))
        words += [e.verdict for e in fit.effects if (e.from_ft, e.to_ft) == (0, 60)]
    claimed = np.mean([word in ("helped", "hurt", "no_difference") for word in words])
    print(f"promised {promised:.3f}, came {claimed:.3f}")
    assert claimed == pytest.approx(promised, abs=3 * np.sqrt(0.25 / len(words)))


@given(
    runs=st.integers(3, 6),
    low=st.sampled_from([None, -1.0, 0.0]),
    high=st.sampled_from([None, 0.0, 1.0, 1.5]),
    blocked=st.sampled_from([(), (1.0,), (-1.0,), (0.5,)]),
    proven=st.sampled_from([(), (0.0,), (0.0, 1.0)]),
    per_gap=st.integers(1, 2),
)
@settings(max_examples=10, deadline=None)
def test_no_step_passes_a_limit_or_a_bar_and_what_is_new_is_hit_short(
    garage, runs, low, high, blocked, proven, per_gap
):
    fit = fit_car(garage.runs(np.zeros((2, 2)), hour=[10, 10.75]), garage.levers(2))
    one = Candidate("lever 0", 10, levels=(-1.0, 0.0, 0.5, 1.0, 2.0), low=low, high=high, blocked=blocked,
                    short_ft=60, proven=proven)  # fmt: skip
    result = plan(fit, Request(runs, (one, Candidate("lever 1", 10)), np.zeros(2), 0, 10.75, changes_per_gap=per_gap))
    seen = set(proven)
    for settings_, step in zip(made(result), result.steps, strict=True):
        assert one.allowed(float(settings_[0]))
        assert step.to_ft == (1320 if settings_[0] in seen else 60)
        seen.add(float(settings_[0]))
    for leave in result.leave:
        assert leave.adjustable != "lever 0" or one.allowed(leave.level)
