"""What a car's next run will show, in its air, lane and setup; every forecast is kept before anybody knows better."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from runlog.constants import INCREMENTS_FT
from runlog.errors import RunlogError, UsageError
from runlog.learning.forecast import chance_spoiled, forecast
from runlog.physics.atmosphere import Air
from runlog.physics.correction import shift
from runlog.physics.vehicle_fit import fit_from
from runlog.records import Given
from runlog.results import RunResult
from runlog.store import originals, proposals, results
from runlog.workflows.ahead.finish_speed import finish_speeds
from runlog.workflows.ahead.next_run import SaidAir, next_air, next_time, standing
from runlog.workflows.ahead.quick_end import next_clearance, quick_end, told_quick
from runlog.workflows.intake import parsing
from runlog.workflows.intake.saving import store
from runlog.workflows.lessons.conditions import conditions_of
from runlog.workflows.release.barred import bar_words
from runlog.workflows.run_content import air_part, rounded
from runlog.workflows.runs.page import ALWAYS
from runlog.workflows.suppose.changes import read_wish

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from runlog.learning import Forecast
    from runlog.learning.forecast import Predicted
    from runlog.records import FloatArray
    from runlog.results import AirState
    from runlog.store.connection import Logbook
    from runlog.workflows.ahead.next_run import Standing
    from runlog.workflows.release.clearance import Clearance
    from runlog.workflows.suppose.changes import Wish

RISKS: Final = (0.01, 0.05, 0.10, 0.50)
"""chances of running quicker than the dial-in, for which one is suggested"""
_Z50: Final = 0.6744897501960817
"""a normal quantity lies within so many sd of its mean with 50 % probability"""


@dataclass(frozen=True)
class Question:
    """What is to be foretold; what isn't said is taken as it stands."""

    date: dt.date | None = None
    time: dt.time | None = None
    lane: str | None = None
    dial_s: float | None = None
    risks: tuple[float, ...] = RISKS
    suppose: tuple[str, ...] = ()
    air: SaidAir = field(default_factory=SaidAir)


def forecast_page(book: Logbook, name: str, asked: Question) -> dict[str, Any]:
    """Return the forecast of a car's next run in the shape of ``forecast --json``, and keep it in the logbook.

    ``NotFound`` without a car file; ``UsageError`` for what can't be understood or is past; ``RunlogError`` that names
    the limit when a supposed change would pass one of the car file.
    """
    stand = standing(book, name, asked.date)
    page = _page(book, stand, asked)
    if page["clearance"]["to_ft"]:
        keep_proposal(book, proposals.FORECAST, str(stand.key), page)
    return page


def keep_proposal(book: Logbook, kind: str, run: str, page: dict[str, Any]) -> None:
    """Keep a forecast or a plan like any typed entry: its text is the original. Said twice running, it is kept once."""
    content = json.dumps(page, ensure_ascii=False, indent=1, allow_nan=False).encode()
    sha256, name = originals.digest(content), f"{kind} {run}"
    parsed = parsing.parse(kind, content, name, Given(), parsing.Known())
    if not isinstance(parsed, parsing.Proposed):
        raise TypeError(f"{kind} is no proposal")
    if proposals.newest_text(book, kind, parsed.key) == parsed.text:
        return
    with book.transaction():
        store(book, content, originals.Entry(0, kind, sha256, name, {}, None), parsed)


def _page(book: Logbook, stand: Standing, asked: Question) -> dict[str, Any]:
    wishes = [_wish(stand, text) for text in asked.suppose]
    items = [wish.item for wish in wishes]
    if len(set(items)) < len(items):
        raise UsageError(f"{next(item for item in items if items.count(item) > 1)} is supposed twice")
    supposed = {wish.item: wish.after for wish in wishes if wish.after is not None}
    _refuse_too_fast(book, stand, wishes)
    time = asked.time or next_time(stand)
    air, notes = next_air(book, stand, time, asked.air)
    coming = RunResult(stand.key, lane=asked.lane, air=air, setup=tuple(stand.setup.values()))
    told = foretell(stand, stand.settings(supposed), time, coming=coming, air_shift=_air_shift(book, stand, air))
    cleared = _cleared(book, stand, supposed, told)
    whole = cleared.to_ft >= stand.finish_ft
    spoiled = sum(not row.clean for row in stand.rows)
    dials = [(risk, told.dial(risk) if whole else None) for risk in asked.risks]
    under = None if asked.dial_s is None or not whole else told.chance_under(asked.dial_s)
    return {
        "car": stand.car.name,
        "run": str(stand.key),
        "time": None if time is None else time.isoformat(),
        "lane": asked.lane,
        "finish_ft": stand.finish_ft,
        "runs_used": len(stand.lesson.runs.keys),
        "setup": _setup(stand, supposed),
        "air": air_part(air),
        "clearance": cleared.part(),
        "splits": [_split(split, cleared.to_ft) for split in told.splits],
        "dial_s": asked.dial_s,
        "chance_under_dial": rounded(under),
        "suggested_dial": [{"risk": risk, "dial_s": rounded(dial)} for risk, dial in dials],
        "chance_not_clean": rounded(chance_spoiled(spoiled, len(stand.rows))),
        "notes": [*notes, *_notes(stand, asked, supposed)],
        "cautions": _cautions(stand, wishes),
    }


def _cleared(book: Logbook, stand: Standing, supposed: Mapping[str, float], told: Forecast) -> Clearance:
    """Return what stands before the run that is foretold; ``RunlogError`` when a supposed setting is barred."""
    cleared = next_clearance(book, stand)
    for item, value in supposed.items():
        bar = cleared.bars.of(item, value)
        if bar is not None:
            raise RunlogError(f"{bar_words(stand.car, bar)}; someone has to release it by name first")
    kept = {item: entry for item, entry in stand.setup.items() if item not in supposed}
    return cleared.for_setup(kept).for_quick(told_quick(told, stand.finish_ft).join(quick_end(stand, [])))


def _refuse_too_fast(book: Logbook, stand: Standing, wishes: Sequence[Wish]) -> None:
    """Refuse a setting that would turn something at the finish line past a limit of the car file."""
    too_fast = finish_speeds(book, stand.car, stand.rows, stand.setup, stand.finish_ft) if wishes else None
    for wish in wishes:
        if too_fast and wish.adjustable is not None and wish.after is not None:
            why = too_fast(wish.adjustable, wish.after)
            if why:
                raise RunlogError(f"{wish.text}: refused: {why}")


def _wish(stand: Standing, text: str) -> Wish:
    present = {item: entry.value for item, entry in stand.setup.items() if entry.value is not None}
    wish = read_wish(stand.car, present, text)
    if wish.adjustable is None:
        raise RunlogError(
            f"{text}: a forecast rests on the car's own runs, so only its adjustables can be supposed; "
            f"'runlog suppose' says what physics makes of {wish.item}"
        )
    if wish.after is None or wish.before is None:
        raise RunlogError(f"{text}: {wish.item} isn't on the setup sheet, so there is nothing to count the change from")
    return wish


def foretell(
    stand: Standing, settings: FloatArray, time: dt.time | None, *, coming: RunResult, air_shift: FloatArray | None
) -> Forecast:
    """Return the forecast of a clean run in these settings (P,) [usual steps], with the air's shift (S,) [s].

    ``coming``: what is known of the run beforehand, such as its lane and surface.
    """
    hours = stand.hours_so_far
    hour = float(hours.max()) + 0.75 if len(hours) else 0.0
    if time is not None:
        hour = (stand.moment(time) - dt.datetime.combine(stand.key.date, dt.time())).total_seconds() / 3600
    nuisances = stand.lesson.nuisances(conditions_of([*stand.rows, coming], {})[-1])
    return forecast(stand.fit, settings, stand.key.date.toordinal(), hour, air_shift, nuisances)


def _air_shift(book: Logbook, stand: Standing, air: AirState | None) -> FloatArray | None:
    """Return what the car's own model says this air adds to each increment [s]; None where either isn't known."""
    stored = results.car_result(book, stand.car.name)
    fitted = fit_from(stored[0]) if stored else None
    if air is None or fitted is None:
        return None
    state = Air(air.temperature, air.station_pressure, air.relative_humidity, air.wind_along or 0.0)
    times = np.asarray(shift(fitted.vehicle, state).times, dtype=np.float64)
    return np.diff(times.reshape(len(INCREMENTS_FT)), prepend=0.0)


def _split(split: Predicted, finish_ft: int) -> dict[str, Any]:
    beyond = split.to_ft > finish_ft
    figures = {
        "mean_s": split.mean_s,
        "sd_s": split.sd_s,
        "lo50_s": split.mean_s - _Z50 * split.sd_s,
        "hi50_s": split.mean_s + _Z50 * split.sd_s,
        "lo90_s": split.lo90_s,
        "hi90_s": split.hi90_s,
    }
    return {
        "distance_ft": split.to_ft,
        **{name: None if beyond else rounded(value) for name, value in figures.items()},
    }


def _setup(stand: Standing, supposed: Mapping[str, float]) -> list[dict[str, Any]]:
    """Return the adjustables that a sheet tells, as foretold; with what is in force where that differs."""
    part = []
    for item in stand.car.adjustables:
        now = stand.value(item)
        value = supposed.get(item.name, now)
        if value is None or now is None:
            continue
        part.append(
            {
                "item": item.name,
                "value": item.label(value) if item.holes else value,
                "unit": item.unit,
                "supposed_from": (item.label(now) if item.holes else now) if value != now else None,
            }
        )
    return part


def _notes(stand: Standing, asked: Question, supposed: Mapping[str, float]) -> list[str]:
    notes = []
    if not stand.lesson.runs.keys:
        notes.append(f"no run of {stand.car.name} has told anything yet: nothing can be foretold")
    elif not stand.day_begun:
        notes.append(f"{stand.key.date} hasn't begun: the day's own level isn't known, so the spread is wider")
    if asked.lane and "lane" not in stand.fit.layout.nuisances:
        notes.append("the car hasn't run in both lanes: the lane makes no difference here")
    column = {item.name: n for n, item in enumerate(stand.car.adjustables)}
    for name, value in supposed.items():
        item = stand.car.adjustables[column[name]]
        tried = stand.lesson.runs.settings[:, column[name]]
        steps = stand.steps(item, value)
        if not len(tried) or not tried.min() - 1e-9 <= steps <= tried.max() + 1e-9:
            notes.append(f"{name} {item.label(value)} is past what was tried: there the forecast rests on assumptions")
    return notes


def _cautions(stand: Standing, wishes: Sequence[Wish]) -> list[str]:
    texts = [f"{wish.item}: {text}" for wish in wishes if wish.after != wish.before for text in wish.cautions]
    return [*dict.fromkeys(texts), ALWAYS]
