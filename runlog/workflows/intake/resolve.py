"""Which run a logger file belongs to."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import PurePath
from typing import TYPE_CHECKING

from runlog.problems import Problems
from runlog.readers.keys import key_in_name, parse_date, parse_run_key
from runlog.readers.text import read_text
from runlog.records import Given, RunKey
from runlog.workflows.midnight import after_midnight, moment_of

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping
    from pathlib import Path

NEAR = dt.timedelta(minutes=20)
"""How far a recording may start from a slip's time and still be taken for its run. Common practice, no source."""

ALIKE = dt.timedelta(minutes=2)
"""Two runs this much alike in their distance from the start can't be told apart. Common practice, no source."""

_MOST = 1000
"""[bytes] of a sidecar that are read; a run key is shorter"""

_REMEDY = "Give --run CAR/DATE/NUMBER, or write that key into a file of the same name ending in .run."


def find_run(  # noqa: PLR0913 - everything that can tell the run
    path: Path,
    started_at: dt.datetime | None,
    given: Given,
    times: Mapping[RunKey, dt.time | None],
    logged: Collection[RunKey],
    cars: Collection[str] = (),
    inner: str = "",
    *,
    order_guessed: bool = False,
) -> RunKey:
    """Return the run: from the option, a sidecar file, the file's name, or the file's own start time.

    ``times`` are the clock times of all known runs, ``logged`` those that have a trace already, ``cars`` the names of
    cars with a car file, ``inner`` the name of what a packed file holds. Raises ``FileFaults`` that says what was tried
    when none of them settles it. ``order_guessed``: day and month of the start may be the other way round.
    """
    if given.run is not None:
        return given.run
    for file in _names(path, inner):
        if (key := _from_sidecar(file)) is not None:
            return key
    tried = ["no --run", f"no {_sidecar(_names(path, inner)[0]).name}"]
    for file in _names(path, inner):
        key, why = _from_name(file, given, times, cars)
        if key is not None:
            return key
    tried.append(why)
    key, why = from_start(started_at, given, times, logged)
    remedy = _REMEDY
    if order_guessed and started_at is not None and (other := _exchanged(started_at)) is not None:
        both = [key, from_start(other, given, times, logged)[0]]
        if any(both):
            key, remedy = None, f"Say --dates day-first or --dates month-first. {_REMEDY}"
            why = f"its start may be {started_at:%Y-%m-%d} or {other:%Y-%m-%d}, and a run waits on " + (
                "both" if all(both) else f"{started_at if both[0] else other:%Y-%m-%d}"
            )
    if key is not None:
        return key
    tried.append(why)
    problems = Problems(str(path))
    problems.add("its run", "; ".join(tried), "a file that tells its run", remedy)
    problems.raise_if_any()
    raise AssertionError


def _names(path: Path, inner: str) -> list[Path]:
    """Return the file's name and that of what is packed in it, the latter first."""
    return [path.with_name(PurePath(inner).name), path] if inner and PurePath(inner).name != path.name else [path]


def _sidecar(path: Path) -> Path:
    return path.with_suffix(".run")


def _is_sidecar(path: Path) -> bool:
    """Tell whether a sidecar is there; a link is none: what is read lies in the folder itself."""
    return path.is_file() and not path.is_symlink()


def _from_sidecar(path: Path) -> RunKey | None:
    sidecar = _sidecar(path)
    if not _is_sidecar(sidecar):
        return None
    with sidecar.open("rb") as file:
        content = read_text(file.read(_MOST))
    text = content.data.decode("utf-8", errors="replace").strip() if content else ""
    key = parse_run_key(text)
    if key is None:
        problems = Problems(str(path))
        problems.add(f"sidecar {sidecar.name}", repr(text[:60]), "a run key such as heron/2031-04-12/3")
        problems.raise_if_any()
    return key


def named_run(path: Path, given: Given) -> str:
    """Return what names one run for the whole file, for messages: the option or a sidecar; empty: nothing does."""
    if given.run is not None:
        return "--run"
    return _sidecar(path).name if _is_sidecar(_sidecar(path)) else ""


def date_of(path: Path, started_at: dt.datetime | None) -> dt.date | None:
    """Return the day of a recording: by its own start, else by the file's name."""
    if started_at is not None:
        return started_at.date()
    match = re.search(r"(?<!\d)\d{4}-\d{2}-\d{2}(?!\d)", path.stem)
    return parse_date(match[0]) if match else None


def car_in_name(path: Path, cars: Collection[str]) -> str | None:
    """Return the longest of the cars' names with which the file's name begins, as a word of its own."""
    stem = path.stem.lower()
    fitting = [car for car in cars if re.match(rf"{re.escape(car)}(?![a-z0-9])", stem)]
    return max(fitting, key=len, default=None)


def _from_name(
    path: Path, given: Given, times: Mapping[RunKey, dt.time | None], cars: Collection[str]
) -> tuple[RunKey | None, str]:
    found = key_in_name(path.stem)
    if found is None:
        return None, "no car, date and number in its name"
    words, date, number = found
    that_day = sorted({key.car for key in times if key.date == date})
    car = given.car or (_car_in(words, {*cars, *(key.car for key in times)}) if words else None)
    if car is None and len(that_day) == 1:
        car = that_day[0]
    if car is None:
        return None, f"its name tells {date} run {number} but not which car ({', '.join(that_day) or 'none known'})"
    return RunKey(car, date, number), ""


def _car_in(words: str, known: Collection[str]) -> str:
    """Return the longest known car's name that ``words`` end in; all of them where no car is known by any."""
    starts = [0, *(n + 1 for n, letter in enumerate(words) if letter in "_-")]
    return next((words[start:] for start in starts if words[start:] in known), words)


def _exchanged(moment: dt.datetime) -> dt.datetime | None:
    """Return the moment with day and month exchanged, None where that is no date."""
    return moment.replace(month=moment.day, day=moment.month) if moment.day <= 12 else None


def from_start(
    started_at: dt.datetime | None, given: Given, times: Mapping[RunKey, dt.time | None], logged: Collection[RunKey]
) -> tuple[RunKey | None, str]:
    """Return the run without a trace nearest to the start of a recording, or None and why."""
    if started_at is None:
        return None, "no start time in it"
    late = after_midnight(times)
    waiting = sorted(
        (abs(moment_of(key, time, late) - started_at), key)
        for key, time in times.items()
        if time is not None and key not in logged and (given.car is None or key.car == given.car)
    )
    near = [(distance, key) for distance, key in waiting if distance <= NEAR]
    if not near:
        return None, f"no run without a trace within {NEAR.seconds // 60} min of its start {started_at:%Y-%m-%d %H:%M}"
    alike = [str(key) for distance, key in near if distance - near[0][0] < ALIKE]
    if len(alike) > 1:
        return None, f"its start {started_at:%Y-%m-%d %H:%M} is as near to {' as to '.join(alike)}"
    return near[0][1], ""
