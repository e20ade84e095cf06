"""Which run a logger file belongs to."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from runlog.problems import Problems
from runlog.readers.keys import key_in_name, parse_run_key
from runlog.records import Given, RunKey

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping
    from pathlib import Path

NEAR = dt.timedelta(minutes=20)
"""How far a recording may start from a slip's time and still be taken for its run. Common practice, no source."""

_REMEDY = "Give --run CAR/DATE/NUMBER, or write that key into a file of the same name ending in .run."


def find_run(
    path: Path,
    started_at: dt.datetime | None,
    given: Given,
    times: Mapping[RunKey, dt.time | None],
    logged: Collection[RunKey],
) -> RunKey:
    """Return the run: from the option, a sidecar file, the file's name, or the file's own start time.

    ``times`` are the clock times of all known runs, ``logged`` those that have a trace already. Raises ``FileFaults``
    that says what was tried when none of them settles it.
    """
    if given.run is not None:
        return given.run
    problems = Problems(str(path))
    sidecar = path.with_suffix(".run")
    if sidecar.is_file():
        text = sidecar.read_text("utf-8", errors="replace").strip()
        key = parse_run_key(text)
        if key is None:
            problems.add(f"sidecar {sidecar.name}", repr(text[:60]), "a run key such as heron/2031-04-12/3")
            problems.raise_if_any()
        else:
            return key
    tried = ["no --run", f"no {sidecar.name}"]
    key, why = _from_name(path, given, times)
    if key is not None:
        return key
    tried.append(why)
    key, why = _from_start(started_at, given, times, logged)
    if key is not None:
        return key
    tried.append(why)
    problems.add("its run", "; ".join(tried), "a file that tells its run", _REMEDY)
    problems.raise_if_any()
    raise AssertionError


def _from_name(path: Path, given: Given, times: Mapping[RunKey, dt.time | None]) -> tuple[RunKey | None, str]:
    found = key_in_name(path.stem)
    if found is None:
        return None, "no car, date and number in its name"
    car, date, number = found
    cars = {key.car for key in times if key.date == date}
    car = given.car or car or (next(iter(cars)) if len(cars) == 1 else None)
    if car is None:
        return None, f"its name tells {date} run {number} but not which car ({', '.join(sorted(cars)) or 'none known'})"
    return RunKey(car, date, number), ""


def _from_start(
    started_at: dt.datetime | None, given: Given, times: Mapping[RunKey, dt.time | None], logged: Collection[RunKey]
) -> tuple[RunKey | None, str]:
    if started_at is None:
        return None, "no start time in it"
    waiting = [
        (abs(dt.datetime.combine(key.date, time) - started_at), key)
        for key, time in times.items()
        if time is not None and key not in logged and (given.car is None or key.car == given.car)
    ]
    if not waiting or min(waiting)[0] > NEAR:
        return None, f"no run without a trace within {NEAR.seconds // 60} min of its start {started_at:%Y-%m-%d %H:%M}"
    return min(waiting)[1], ""
