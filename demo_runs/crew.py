"""What the invented crew says of a day: release steps signed, things found and dealt with, a setting let run again."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from typing import TYPE_CHECKING

from running import planned_ft

if TYPE_CHECKING:
    from running import Ran, RanDay

CHIEF, MECHANIC = "I. Nvented", "M. Adeup"
"""invented, like everything here"""
_ALWAYS = ["wheel nuts", "link jam nuts", "driveshaft bolts", "wheelie-bar bolts", "no leaks", "brakes",
           "throttle returns", "tyres and beads"]  # fmt: skip
_CHECKS = {
    "fire-up": ["no leaks: fuel, oil, coolant, transmission", "oil pressure at once", "throttle returns",
                "brake pedal firm", "shut-off switches and fuel cut work", "fire system armed"],
    "burnout": ["brakes hold and release", "car pulls straight under braking", "no leaks", "wheel nuts",
                "driveshaft bolts", "link jam nuts", "tyres and beads"],
    "60": _ALWAYS, "330": _ALWAYS, "660": [*_ALWAYS, "parachute packed"], "full": [*_ALWAYS, "parachute packed"],
}  # fmt: skip
_FIRST_DAYS = {"heron": "2031-04-12", "plover": "2031-04-19", "dunlin": "2031-04-20", "curlew": "2031-05-03",
               "wigeon": "2031-05-04"}  # fmt: skip


def said(day: RanDay) -> str | None:
    """Return the crew's words of a day, one JSON object a line; None where they said nothing."""
    car, date = day.day.car, day.day.date.isoformat()
    entries = _signed(day) if _FIRST_DAYS[car] == date else []
    entries += _more(day, car, date)
    entries.sort(key=lambda entry: str(entry["at"]))
    lines = [json.dumps({"what": entry.pop("what"), "car": car, "date": date, **entry}) for entry in entries]
    return "\n".join(lines) + "\n" if lines else None


def _at(moment: dt.datetime, minutes: int) -> str:
    return (moment + dt.timedelta(minutes=minutes)).isoformat(timespec="minutes")


def _sign(step: str, at: str, run: Ran | None) -> dict[str, object]:
    where = {} if run is None else {"run": run.number}
    finish = {"finish_ft": run.track.finish_ft} if step == "full" and run is not None else {}
    return {"what": "sign_off", **where, "at": at, "by": CHIEF, "step": step, "checks": _CHECKS[step], **finish}


def _signed(day: RanDay) -> list[dict[str, object]]:
    """Return the sign-offs of a first day: each distance after the last run to it, full after two unchanged runs."""
    first, finish = day.runs[0], day.runs[0].track.finish_ft
    found = [_sign("fire-up", _at(first.start, -90), None), _sign("burnout", _at(first.start, -25), None)]
    far = {run.number: finish if run.plan.purpose == "full" else planned_ft(run.plan, run.track) for run in day.runs}
    whole = [run for run in day.runs if far[run.number] == finish]
    for step in ("60", "330", "660"):
        feet = int(step)
        if feet >= finish:
            continue
        before = [run for run in day.runs if run.number < whole[0].number]
        reached = next(run for run in before if far[run.number] >= feet)
        last = [run for run in before if far[run.number] == far[reached.number]][-1]
        found.append(_sign(step, _at(last.start, 12 + feet // 330), last))
    return [*found, _sign("full", _at(whole[1].start, 15), whole[1])]


_SHAKE = {"what": "item", "run": 8, "at": "2031-04-12T15:56", "by": MECHANIC, "due": "at the shop",
          "text": "tyre shake at 4400 rpm: look at brackets and driveline once more on the stands"}  # fmt: skip


def _identity(car: str, date: str, entry: dict[str, object]) -> str:
    """Return what an entry is known by: the beginning of the SHA-256 of its content, as the crew file's schema says."""
    content = {**entry, "car": car, "date": date, "at": f"{entry['at']}:00"}
    return hashlib.sha256(json.dumps(content, sort_keys=True, ensure_ascii=False).encode()).hexdigest()[:12]


def _more(day: RanDay, car: str, date: str) -> list[dict[str, object]]:
    runs = {run.number: run for run in day.runs}
    if (car, date) == ("heron", "2031-04-12"):
        return [dict(_SHAKE)]
    if (car, date) == ("heron", "2031-05-17"):
        item = _identity("heron", "2031-04-12", _SHAKE)
        closed = {"what": "item_closed", "at": _at(runs[1].start, -60), "by": CHIEF, "item": item,
                  "text": "brackets and driveline sound, nothing cracked"}  # fmt: skip
        released = {"what": "setting_released", "run": 6, "at": _at(runs[6].start, 12), "by": CHIEF,
                    "setting": "launch rpm", "value": "4400",
                    "text": "driveline sound, 6.5 psi in the rear tyres"}  # fmt: skip
        return [closed, released]
    if (car, date) == ("wigeon", "2031-07-06"):
        found = {"what": "item", "run": 7, "at": _at(runs[7].start, 14), "by": MECHANIC,
                 "text": "one wheelie-bar bolt was a turn loose; tightened, to be looked at again"}  # fmt: skip
        return [found]
    return []
