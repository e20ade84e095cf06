"""Hearing the numbers as witnesses in the matching of channels: claims weighed, signs, units and axes checked."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from runlog import units
from runlog.constants import STANDARD_GRAVITY
from runlog.readers import behaviour
from runlog.readers.behaviour import AGREES, BACKWARDS, SHAFT_RADIUS, STRANGER, SURELY_BACKWARDS

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from runlog.readers.behaviour import Comparison, Look
    from runlog.readers.channels import Candidate, Match

_HEARD: Final = ("engine_speed", "driveshaft_speed", "throttle", "accelerator_pedal")
_ASKED_FROM: Final = 0.5
_SURER: Final = 0.3
_LESS_SURE: Final = 0.25
_SPEEDS: Final = (
    # channel, scale to m/s, how many times the slope an honest accelerometer may show, either way
    ("ground_speed", 1.0, 1.5),
    ("front_wheel_speed", 1.0, 1.5),
    ("driveshaft_speed", SHAFT_RADIUS, 2.4),
)
MILE: Final = 1.609344
"""[km]"""
_MISTAKEN: Final = 0.1
"""share by which the ratio of the two may be off, for the body's pitch"""
_AXES: Final = ("acceleration_y", "acceleration_z")
_SETTLES: Final = "a channel map settles it:"


def heard(candidates: Sequence[Candidate], everyone: Sequence[Sequence[Match]]) -> list[list[Match]]:
    """Return the claims of each candidate, best first, after the numbers have been heard."""
    weighed = [list(claims) for claims in everyone]
    known: dict[str, Look] = {}
    for canonical in _HEARD:
        best = 0.0
        for candidate, claims in zip(candidates, weighed, strict=True):
            for n, claim in enumerate(claims):
                if claim.canonical != canonical or claim.confidence < _ASKED_FROM:
                    continue
                look = _look(candidate, claim)
                said = behaviour.opinion(canonical, look, known) if look is not None else None
                if said is not None:
                    claims[n] = replace(
                        claim, confidence=_weighed(claim.confidence, said.support), why=said.why, support=said.support
                    )
                if look is not None and claims[n].confidence > best:
                    best, known[canonical] = claims[n].confidence, look
    return [sorted(claims, key=lambda claim: -claim.confidence) for claims in weighed]


def _weighed(confidence: float, support: float) -> float:
    if support > 0:
        return round(min(confidence + _SURER * support * (1 - confidence), 0.99), 3)
    return round(confidence * (1 + _LESS_SURE * support), 3)


def _look(candidate: Candidate, match: Match) -> Look | None:
    if candidate.time is None or match.unit is None:
        return None
    look = behaviour.thinned(candidate.time, candidate.values)
    return replace(look, values=match.unit.to_si(look.values))


def signs_and_axes(
    candidates: Sequence[Candidate], matches: Sequence[Match], fixed: Collection[int] = ()
) -> tuple[list[Match], list[str]]:
    """Hold accelerometers against the best speed: sign, unit and axis. ``fixed`` places are settled by the user.

    A sign is changed only where the numbers leave no doubt, and that is said; all else is only said.
    """
    settled = list(matches)
    places = {match.canonical: place for place, match in enumerate(matches) if match.canonical}
    speed = next(((places[name], scale, factor) for name, scale, factor in _SPEEDS if name in places), None)
    if speed is None or not {"acceleration_x", *_AXES} & set(places):
        return settled, []
    place, scale, factor = speed
    reference = _look(candidates[place], matches[place])
    if reference is None:
        return settled, []

    def held(place: int) -> Comparison | None:
        look = _look(candidates[place], matches[place])
        return None if look is None else behaviour.compare(look, reference, scale)

    x = places.get("acceleration_x")
    found = held(x) if x is not None else None
    name = candidates[place].name
    if x is not None and (found is None or x in fixed):
        return settled, []
    for axis in _AXES if found is None or abs(found.correlation) < AGREES else ():
        other = places.get(axis)
        if other is None or other in fixed or (seen := held(other)) is None or abs(seen.correlation) < -BACKWARDS:
            continue
        own = f" and {candidates[x].name!r} doesn't" if x is not None else ""
        line = f'"{candidates[other].name}" = "acceleration_x"'
        shown = f"{candidates[other].name!r} shows the slope of {name!r}{own}"
        return settled, [f"{shown}: perhaps the axes are exchanged; {_SETTLES} {line}"]
    if x is not None and found is not None and abs(found.correlation) >= STRANGER:
        settled[x], remarks = _judged(candidates[x], matches[x], found, name, factor)
        return settled, [*remarks, *_speed_unit(found, name, matches[place])]
    return settled, []


def _judged(
    candidate: Candidate, match: Match, found: Comparison, speed: str, factor: float
) -> tuple[Match, list[str]]:
    """Return the longitudinal acceleration as it is to be taken, and what is to be said of its sign and unit."""
    likeness, times = found.correlation, abs(found.times_slope)
    shows = f"correlation {likeness:.2f} with the slope of {speed!r}"
    other = _other_unit(match, times, factor)
    if other and match.assumed and likeness > BACKWARDS:
        match, times, other = replace(match, unit=units.find_unit(other, "acceleration")), 1.0, ""
    remarks = []
    if other and abs(likeness) >= AGREES and match.unit is not None:
        line = f'"{candidate.name}" = {{ channel = "acceleration_x", unit = "{other}" }}'
        remarks.append(
            f"{candidate.name!r} in {match.unit.spoken} is {times:.2g} times the slope of {speed!r}: perhaps it is in "
            f"{other}; nothing was changed, {_SETTLES} {line}"
        )
    if likeness >= AGREES:
        return replace(match, confidence=_weighed(match.confidence, 1.0), why=shows, support=1.0), remarks
    if likeness > BACKWARDS:
        return replace(match, why=shows), remarks
    sure = likeness <= SURELY_BACKWARDS and 1 / factor <= times <= factor
    done = "its sign was changed" if sure else "nothing was changed"
    line = f'"{candidate.name}" = {{ channel = "acceleration_x", invert = {"false" if sure else "true"} }}'
    remarks.append(
        f"{candidate.name!r} looks mounted backwards ({shows}); {done}, "
        f"{'to keep it as logged' if sure else 'to change it'} a channel map says: {line}"
    )
    return replace(match, inverted=sure, why=shows, support=1.0 if sure else 0.0), remarks


def _speed_unit(found: Comparison, speed: str, match: Match) -> list[str]:
    """Say where miles and kilometres an hour seem mistaken for each other: the accelerometer shows it by 1.609."""
    symbol = match.unit.symbol if match.unit is not None else ""
    other = {"mph": "km/h", "km/h": "mph"}.get(symbol)
    if other is None or match.canonical is None or abs(found.correlation) < AGREES:
        return []
    times = abs(found.times_slope) * (MILE if symbol == "mph" else 1.0 / MILE)
    if abs(times - 1.0) > _MISTAKEN:
        return []
    line = f'"{speed}" = {{ channel = "{match.canonical}", unit = "{other}" }}'
    return [
        f"the slope of {speed!r} in {symbol} is {1.0 / abs(found.times_slope):.2f} times what the accelerometer shows: "
        f"perhaps it is in {other}; nothing was changed, {_SETTLES} {line}"
    ]


def _other_unit(match: Match, times: float, factor: float) -> str:
    """Return the unit that the numbers are rather in: g and m/s² differ by 9.80665."""
    if match.unit is not None and match.unit.symbol == "gn" and 1 / factor <= times / STANDARD_GRAVITY <= factor:
        return "m/s²"
    if match.unit is not None and match.unit.symbol == "m/s²" and 1 / factor <= times * STANDARD_GRAVITY <= factor:
        return "g"
    return ""
