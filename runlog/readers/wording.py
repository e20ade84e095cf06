"""How much a column's name sounds like each canonical channel."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from runlog.readers.cells import word_set
from runlog.vocabulary import CHANNELS

if TYPE_CHECKING:
    from collections.abc import Iterator

_SAME: Final = {
    word: meaning
    for meaning, words in {
        "engine": "eng motor crank crankshaft",
        "rpm": "revs rev drehzahl",
        "temperature": "temp temps temperatur tmp",
        "pressure": "press pres druck",
        "position": "pos posn",
        "acceleration": "accel acc accelerometer beschleunigung",
        "speed": "spd vel velocity geschwindigkeit",
        "voltage": "volt volts spannung",
        "battery": "batt bat vbat batterie",
        "transmission": "trans gearbox trn getriebe",
        "driveshaft": "ds propshaft prop tailshaft kardanwelle",
        "throttle": "thr throt",
        "shock": "shocks damper susp suspension",
        "longitudinal": "long lon inline fwd",
        "lateral": "lat",
        "vertical": "vert",
        "coolant": "clt water wtr h2o kühlmittel kuehlmittel wasser",
        "intake": "inlet",
        "manifold": "mnfld manif",
        "ambient": "amb outside",
        "wheel": "whl rad",
        "pedal": "ped",
        "switch": "sw schalter",
        "button": "btn",
        "left": "l links",
        "right": "r rechts",
        "front": "frt vorn vorne",
        "rear": "hinten",
        "distance": "dist weg",
        "height": "ht",
        "angle": "ang winkel",
        "steering": "steer lenkung",
        "oil": "öl oel",
        "fuel": "kraftstoff",
        "brake": "brk bremse",
        "vehicle": "veh car fahrzeug",
        "gps": "gnss",
    }.items()
    for word in words.split()
}
_PAIRS: Final = {
    "lf": ("left", "front"), "fl": ("left", "front"), "rf": ("right", "front"), "fr": ("right", "front"),
    "lr": ("left", "rear"), "rl": ("left", "rear"), "rr": ("right", "rear"),
}  # fmt: skip
_FILLERS: Final = word_set(
    "sensor signal value val actual measured raw channel ch analog ana avg average can ecu the of a absolute abs gauge "
    "reading data filtered smoothed calc calculated b c d e"
)
# what is wished for, allowed or derived is not what was measured
_NOT_MEASURED: Final = word_set(
    "target desired command commanded cmd setpoint set limit max min maximum minimum error err correction trim duty "
    "corr status fault flag state warning request req demand offset gain derivative deriv ratio delta difference diff "
    "table limiter counter count time timer rate step activation cut retard"
)
_FILLER_WEIGHT: Final = 0.1
_NUMBER_WEIGHT: Final = 0.15
_SPLIT: Final = re.compile(r"[A-ZÄÖÜ]+(?=[A-ZÄÖÜ][a-zäöü])|[A-ZÄÖÜ]?[a-zäöüß]+|[A-ZÄÖÜ]+|\d+")
_UNIT_WORDS: Final = word_set("rpm psi kpa bar mph kmh kph degf degc deg g gs v pct percent volts hz mm")


def _words(name: str) -> Iterator[str]:
    """Yield the words of a name in lower case; ``ENGINERPM`` is two."""
    for word in _SPLIT.findall(name):
        word = word.lower()
        if word.endswith("rpm") and len(word) > len("rpm"):
            yield word.removesuffix("rpm")
            word = "rpm"
        yield word


@lru_cache(maxsize=4096)
def tokens(name: str) -> frozenset[str]:
    """Cut a name into words with one spelling each: ``EngRPM`` and ``engine_rpm`` are ``{engine, rpm}``."""
    found: set[str] = set()
    for word in _words(name.replace("°", "deg").replace("H2O", "water").replace("kPa", "kpa")):
        found.update(_PAIRS.get(word) or (_SAME.get(word, word),))
    return frozenset(found)


def _phrases() -> list[tuple[str, frozenset[str]]]:
    seen: dict[tuple[str, frozenset[str]], None] = {}
    for word in CHANNELS:
        for phrase in (word.name.replace("_", " "), *word.words):
            seen[word.name, tokens(phrase)] = None
    return list(seen)


_PHRASES: Final = _phrases()
_BY_TOKEN: Final = {
    token: [place for place, (_, phrase) in enumerate(_PHRASES) if token in phrase]
    for token in {token for _, phrase in _PHRASES for token in phrase}
}


def _skeleton(token: str) -> str:
    return re.sub(r"(.)\1+", r"\1", token[0] + re.sub(r"[aeiouyäöü]", "", token[1:]))


_BY_SKELETON: Final = {_skeleton(token): token for token in sorted(_BY_TOKEN) if len(token) > 4}


@lru_cache(maxsize=4096)
def _known(token: str) -> str:
    """Return the vocabulary's word for a shortened one: its beginning (``temper``) or its consonants (``drvshft``)."""
    if token in _BY_TOKEN or len(token) < 4:
        return token
    if (word := _BY_SKELETON.get(_skeleton(token))) is not None:
        return word
    return next(
        (word for word in sorted(_BY_TOKEN) if len(word) >= 4 and (word.startswith(token) or token.startswith(word))),
        token,
    )


@lru_cache(maxsize=4096)
def wordings(name: str) -> tuple[tuple[str, float], ...]:
    """Return the channels that a name sounds like, with a likeness from 0 to 1, best first."""
    own = frozenset(_known(token) for token in tokens(name))
    places = {place for token in own for place in _BY_TOKEN.get(token, ())}
    best: dict[str, float] = {}
    for place in places:
        canonical, phrase = _PHRASES[place]
        cylinder = canonical.rpartition("_")[2]
        if cylinder.isdigit() and cylinder not in own:
            continue  # one sensor for all is none of a single cylinder
        likeness = _likeness(own, phrase)
        if likeness > best.get(canonical, 0.25):
            best[canonical] = likeness
    return tuple(sorted(best.items(), key=lambda pair: -pair[1]))


def _likeness(own: frozenset[str], phrase: frozenset[str]) -> float:
    shared = sum(_weight(token) for token in own & phrase)
    extra = sum(_weight(token) for token in own - phrase)
    missing = sum(_weight(token) for token in phrase - own)
    likeness = shared / (shared + 0.8 * extra + 1.1 * missing) if shared else 0.0
    return likeness * (0.4 if (own - phrase) & _NOT_MEASURED else 1.0)


def _weight(token: str) -> float:
    if token.isdigit():
        return _NUMBER_WEIGHT
    if token in _FILLERS:
        return _FILLER_WEIGHT
    return 0.6 if token in _UNIT_WORDS else 1.0


def is_acceleration(name: str) -> bool:
    """Tell whether a name speaks of acceleration."""
    return bool(tokens(name) & {"acceleration", "lateral", "longitudinal", "vertical", "g", "gs"})


def is_about_mass(name: str) -> bool:
    """Tell whether a name speaks of mass, so that ``g`` is grams."""
    return bool(tokens(name) & {"mass", "weight", "fuel", "air", "charge", "cylinder", "masse"})
