"""Matching logged columns to the canonical channels, with a confidence.

Three witnesses are heard: the wording of the name, the unit, and whether the numbers are plausible for the channel.
Where two columns claim one channel the better claim wins. The weights are common practice, no source: they only order
the claims, and a channel map overrules them.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from runlog import units
from runlog.readers import witnesses
from runlog.readers.cells import word_set
from runlog.readers.headers import find_unit
from runlog.readers.wording import is_about_mass, is_acceleration, tokens, wordings
from runlog.records import CloseCall, Contender
from runlog.vocabulary import CHANNEL_BY_NAME, ChannelWord

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from numpy.typing import NDArray

ACCEPTED: Final = 0.5
"""A claim below this is not made: the column keeps its own name."""

_SURELY_NAMED: Final = 0.8
_CLOSE: Final = 0.1
_NUMBERS_SETTLE: Final = 0.5
_UNIT_CONTRADICTS: Final = 0.2
_UNIT_MISSING: Final = 0.92
_BY_UNIT: Final = 0.9
_MEASURES: Final = {
    "pressure": "pressure",
    "temperature": "temperature",
    "voltage": "voltage",
    "acceleration": "acceleration",
    "speed": "speed",
    "angular_speed": "rpm",
}
_RIVALS: Final = {
    "pressure": ("psi", "kPa", "bar"),
    "temperature": ("°F", "°C", "K"),
    "speed": ("mph", "km/h", "m/s"),
    "acceleration": ("g", "m/s²"),
    "length": ("in", "mm", "m"),
}
"""units that are mistaken for each other"""
_ONE: Final = 0.01
"""share of a signal's range by which two columns of it may differ, root mean square"""
_SAMPLES: Final = 64
_METRIC: Final = word_set("km/h m/s kPa bar hPa MPa °C mm cm m km N N·m kg kW")
_US: Final = word_set("mph ft/s psi inHg °F in ft mi lb lbf lbf·ft hp")


@dataclass(frozen=True)
class Match:
    """What a column was understood to be. ``unit`` is what its numbers are in; ``assumed``: it was not written."""

    canonical: str | None
    confidence: float
    unit: units.Unit | None = None
    assumed: bool = False
    inverted: bool = False
    """the sign is to be changed: the sensor shows the other way round"""
    why: str = ""
    """what the numbers said"""
    support: float = 0.0
    """how far the numbers spoke for it, from -1 to 1"""
    others: tuple[tuple[str, float], ...] = ()
    """what else it could have been, with confidences, best first"""
    wording: float = 0.0
    """how far name and unit speak for it, before the range of the numbers was looked at"""


@dataclass(frozen=True)
class Candidate:
    """A column to be matched: name, unit as written, its numbers as logged, and when they were [s]."""

    name: str
    unit: str
    values: NDArray[np.float64]
    time: NDArray[np.float64] | None = None
    written: str = ""
    """the name as the file writes it, where it was numbered to be told from another"""


def match(
    name: str, unit: str = "", values: NDArray[np.float64] | None = None, system: str = ""
) -> tuple[str | None, float]:
    """Return (canonical name or None, confidence 0…1) for one column.

    ``system`` is ``"metric"``, ``"us"`` or empty: the units that the rest of the file prefers.
    """
    claims = _claims(Candidate(name, unit, np.empty(0) if values is None else values), system)
    if not claims or claims[0].confidence < ACCEPTED:
        return None, claims[0].confidence if claims else 0.0
    return claims[0].canonical, claims[0].confidence


def match_all(
    candidates: Sequence[Candidate], taken: frozenset[str] = frozenset()
) -> tuple[list[Match], list[CloseCall], list[str]]:
    """Match all columns of a file at once; no canonical channel is given twice, none of ``taken`` at all.

    Returns matches, one per candidate, the close calls among them, and warnings of columns that no channel was given
    though their names are a channel's.
    """
    system = usual_system(candidate.unit for candidate in candidates)
    everyone = witnesses.heard(candidates, [_claims(candidate, system) for candidate in candidates])
    order = sorted(
        (
            (claim, place)
            for place, claims in enumerate(everyone)
            for claim in claims
            if claim.confidence >= ACCEPTED and claim.canonical not in taken
        ),
        key=lambda pair: (-pair[0].confidence, pair[1]),
    )
    given: dict[str, int] = {}
    settled: dict[int, Match] = {}
    rivals: dict[str, list[tuple[Match, int]]] = {}
    said: list[str] = []
    for claim, place in order:
        if place in settled or claim.canonical is None:
            continue
        holder = given.get(claim.canonical)
        if holder is None:
            given[claim.canonical] = place
            settled[place] = claim
        elif not _is_close(claim, settled[holder]) or claim is not everyone[place][0]:
            continue
        elif _one_signal(candidates[place], candidates[holder]):
            said.append(
                f"{candidates[place].name!r} reads what {candidates[holder].name!r} does, which was taken for "
                f"{claim.canonical}"
            )
        else:
            rivals.setdefault(claim.canonical, [(settled[holder], holder)]).append((claim, place))
    matches = [
        _with_others(settled.get(place) or _unmatched(candidates[place], everyone[place]), everyone[place])
        for place in range(len(candidates))
    ]
    close = [
        CloseCall(
            canonical, tuple(_contender(candidates[place], claim, candidates[claims[0][1]]) for claim, place in claims)
        )
        for canonical, claims in rivals.items()
    ]
    said += [
        _out_of_range(candidates[place], claims[0], system)
        for place, claims in enumerate(everyone)
        if place not in settled
        and claims
        and claims[0].wording >= _SURELY_NAMED
        and claims[0].confidence < ACCEPTED
        and claims[0].canonical not in (taken | given.keys())
    ]
    return matches, close, said


def _out_of_range(candidate: Candidate, claim: Match, system: str) -> str:
    """Say that a column's numbers can't be what its name and unit say, and what would settle it."""
    word = CHANNEL_BY_NAME[str(claim.canonical)]
    look, written = _look(candidate.values), claim.unit
    unit = "" if written is None else written.spoken
    rivals = [plausible_unit(word, look, system).spoken, *_RIVALS.get(word.dimension, ())]
    units_of = ((rival, find_unit_for(rival, word.dimension)) for rival in dict.fromkeys(rivals) if rival != unit)
    fits = [
        rival for rival, found in units_of if found is not None and _plausibility(word, look, found) >= _SURELY_NAMED
    ]
    rule = f'{{ channel = "{word.name}", unit = "{fits[0]}" }}' if fits else f'"{word.name}"'
    perhaps = f": perhaps it is in {' or '.join(fits)}" if fits else ""
    return (
        f"{candidate.name!r} sounds like {word.name}, but reads {look[0]:.4g} to {look[-1]:.4g} {unit}, which no "
        f"{word.name.replace('_', ' ')} does{perhaps}; it keeps its "
        f'own name, a channel map settles it: "{candidate.name}" = {rule}'
    )


def warning_of(close: CloseCall) -> Iterator[str]:
    """Yield what is to be said of a close call: a sentence for each column that wasn't taken."""
    first, *others = close.contenders
    for other in others:
        yield (
            f"{other.name!r} could be {close.canonical} as well as {first.name!r}, which was taken; "
            f'a channel map settles it: "{other.name}" = "{close.canonical}"'
        )


def _contender(candidate: Candidate, claim: Match, taken: Candidate) -> Contender:
    values = candidate.values[np.isfinite(candidate.values)]
    span = f"; reads {values.min():.4g} to {values.max():.4g}" if values.size else ""
    unit = f" {claim.unit.spoken}" if span and claim.unit is not None and claim.unit.symbol != "1" else ""
    said = claim.why or "by its wording, unit and range"
    return Contender(candidate.name, claim.confidence, f"{said}{span}{unit}{_alike(candidate, taken)}")


def _alike(candidate: Candidate, taken: Candidate) -> str:
    """Say how a column goes with the one that was taken, where both were sampled together."""
    if candidate is taken or (pair := _together(candidate, taken)) is None:
        return ""
    one, other = pair
    return f"; goes with {taken.name!r} (correlation {np.corrcoef(one, other)[0, 1]:.2f})"


def _together(candidate: Candidate, taken: Candidate) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """Return the samples of two columns that were taken together; None where they are few or don't move."""
    if candidate.values.size != taken.values.size:
        return None
    both = np.isfinite(candidate.values) & np.isfinite(taken.values)
    one, other = candidate.values[both], taken.values[both]
    return None if one.size < _SAMPLES or not np.ptp(one) or not np.ptp(other) else (one, other)


def _one_signal(candidate: Candidate, taken: Candidate) -> bool:
    """Tell whether two columns hold one signal, so that it doesn't matter which is taken."""
    pair = _together(candidate, taken) if candidate.unit == taken.unit else None
    if pair is None:
        return False
    return float(np.sqrt(np.mean((pair[0] - pair[1]) ** 2))) <= _ONE * float(np.ptp(pair[1]))


def _is_close(claim: Match, holder: Match) -> bool:
    """Tell whether two claims are too close to call: alike in confidence, and the numbers don't speak for one."""
    return claim.confidence > holder.confidence - _CLOSE and holder.support - claim.support < _NUMBERS_SETTLE


def _with_others(match: Match, claims: Sequence[Match]) -> Match:
    others = tuple(
        (claim.canonical, claim.confidence) for claim in claims if claim.canonical not in (None, match.canonical)
    )
    return replace(match, others=others) if others else match


def overrule(candidate: Candidate, canonical: str, unit: str = "", system: str = "") -> Match:
    """Return the match that a channel map orders: confidence 1, the unit by the map, the file, or the numbers."""
    word = CHANNEL_BY_NAME[canonical]
    known = find_unit_for(unit or candidate.unit, word.dimension)
    if known is not None:
        return Match(canonical, 1.0, known)
    return Match(canonical, 1.0, plausible_unit(word, _look(candidate.values), system), assumed=True)


def usual_system(written: Iterable[str]) -> str:
    """Return ``"metric"`` or ``"us"`` by the units that a file writes, or an empty string when they don't tell."""
    symbols = [unit.symbol for text in written if text and (unit := find_unit(text)) is not None]
    metric, us = sum(symbol in _METRIC for symbol in symbols), sum(symbol in _US for symbol in symbols)
    return "metric" if metric > us else "us" if us > metric else ""


def find_unit_for(spelling: str, dimension: str) -> units.Unit | None:
    """Return the unit if it measures the dimension; ``g`` of an acceleration is standard gravity."""
    found = units.find_unit(spelling, dimension) if spelling else None
    if found is None and spelling:
        other = find_unit(spelling)
        found = other if other is not None and other.dimension == dimension else None
    return found


def kept(candidate: Candidate, unit: str = "") -> Match:
    """Return the match of a column that keeps its own name because a channel map says so."""
    return replace(_unmatched(replace(candidate, unit=unit or candidate.unit), ()), why="by the channel map")


def _unmatched(candidate: Candidate, claims: Sequence[Match]) -> Match:
    """Keep a column under its own name, in SI if its unit is known."""
    unit = find_unit(candidate.unit) if candidate.unit else None
    if (
        unit is not None
        and unit.symbol == "g"
        and (is_acceleration(candidate.name) or not is_about_mass(candidate.name))
    ):
        unit = units.unit_of("gn")
    return Match(None, max((claim.confidence for claim in claims), default=0.0), unit)


def _claims(candidate: Candidate, system: str) -> list[Match]:
    """Return what a column could be, best first."""
    name = candidate.written or candidate.name
    bare = name if candidate.unit.isalpha() else name.removesuffix(candidate.unit)
    written = find_unit(candidate.unit) if candidate.unit else None
    sounds = _sounds(bare, written)
    if written is not None and (rest := _without_suffix(name, candidate.unit)):
        either = dict(sounds)
        for canonical, value in _sounds(rest, written):
            either[canonical] = max(either.get(canonical, 0.0), value)
        sounds = sorted(either.items(), key=lambda pair: -pair[1])
    if not sounds:
        return []
    look = _look(candidate.values)
    claims = []
    for canonical, likeness in sounds:
        word = CHANNEL_BY_NAME[canonical]
        unit = find_unit_for(candidate.unit, word.dimension)
        assumed = unit is None and written is None
        if assumed:
            unit, likeness = plausible_unit(word, look, system), likeness * _UNIT_MISSING
        elif unit is None and canonical != "launch_switch":  # a switch is logged as a state or as its voltage
            unit, likeness = written, likeness * _UNIT_CONTRADICTS
        wording = likeness
        if likeness >= ACCEPTED and unit is not None:
            likeness *= _plausibility(word, look, unit)
        claims.append(Match(canonical, round(min(likeness, 0.99), 3), unit, assumed, wording=wording))
    return sorted(claims, key=lambda claim: -claim.confidence)


def _without_suffix(name: str, unit: str) -> str:
    """Return a name such as ``oil_press_kPa`` without the unit that ends it; empty where it doesn't end in one."""
    rest = name.removesuffix(unit)
    bare = rest.rstrip("_- .")
    return bare if unit and bare != rest != name else ""


def _sounds(name: str, written: units.Unit | None) -> list[tuple[str, float]]:
    """Return what a name sounds like, alone or with what its unit measures (``Oil [psi]`` is an oil pressure)."""
    measured = _MEASURES.get(written.dimension) if written is not None else None
    if measured is None or tokens(name) & set(_MEASURES.values()):
        return list(wordings(name))
    likeness = dict(wordings(name))
    for canonical, value in wordings(f"{name} {measured}"):
        if canonical in likeness:
            likeness[canonical] = max(likeness[canonical], _BY_UNIT * value)
    return list(likeness.items())


def _look(values: NDArray[np.float64]) -> list[float]:
    """Return a few of the finite values in order, without the outermost, enough for a light look at their range."""
    thinned = values[:: max(1, values.size // _SAMPLES)]
    ordered: list[float] = sorted(thinned[np.isfinite(thinned)].tolist())
    beyond = len(ordered) // 20
    return ordered[beyond : len(ordered) - beyond]


def _plausibility(word: ChannelWord, look: Sequence[float], unit: units.Unit) -> float:
    if not look:
        return 1.0
    low, high = bisect_left(look, unit.from_si(word.low)), bisect_right(look, unit.from_si(word.high))
    return 0.4 + 0.6 * (high - low) / len(look)


def plausible_unit(word: ChannelWord, look: Sequence[float], system: str = "") -> units.Unit:
    """Return the unit that numbers without one are most likely in. ``look`` is in order. Common practice, no source."""
    top = max(abs(look[0]), abs(look[-1])) if look else 0.0
    return units.unit_of(_likely_symbol(word, top, system))


def _likely_symbol(word: ChannelWord, top: float, system: str) -> str:
    metric = system == "metric"
    match word.dimension:
        case "angular_speed":
            return "rpm"
        case "acceleration":
            return "gn" if top <= 6.5 else "m/s²"
        case "ratio":
            return "%" if word.name in ("throttle", "accelerator_pedal") and top > 1.5 else "1"
        case "speed":
            # below walking pace times three no car is on a run: such numbers are metres per second
            return "m/s" if top <= 15 else "km/h" if metric or top > 230 else "mph"
        case "temperature":
            return "°F" if system == "us" or top > 135 else "°C"
        case "pressure":
            return _likely_pressure(top, metric)
        case "length":
            return _likely_length(word, top, system)
        case "angle":
            return "deg"
        case "angular_rate":
            return "deg/s"
        case "mass_flow":
            return "g/s"
    return units.SI_UNITS[word.dimension]


def _likely_pressure(top: float, metric: bool) -> str:
    if top <= 12:
        return "bar"
    return "kPa" if metric or top > 160 else "psi"


def _likely_length(word: ChannelWord, top: float, system: str) -> str:
    if word.name == "distance":
        return "ft" if system == "us" else "m"
    if top <= 1:
        return "m"
    return "mm" if system == "metric" or top > 20 else "in"
