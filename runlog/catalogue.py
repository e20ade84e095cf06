"""The adjustables that the program knows from the start.

Usual steps, minutes and cautions are common practice, no source: starting values that a car file overrides. The maker's
figures, the sanctioning body's rules and licensed technical inspection always win.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

CAUTIONS: Final[dict[str, str]] = {
    "W": "the front may rise suddenly: make a short hit first, and check the wheelie bars",
    "T": "affects the tyres or high-speed stability: inside the tyre maker's limits, never below the minimum pressure",
    "R": "raises engine, driveshaft or tyre speed: check every limit at the finish line",
    "D": "may pull to one side: make a short hit first",
    "J": "nobody in or under a raised car; then check jam nuts, clearance and bind through the whole travel",
    "F": "risk of engine damage or fire: for the engine builder only",
    "B": "bolt ballast to the structure as the rules say, then weigh the car again",
}
"""What stands beside a proposed change, by letter."""

LAUNCH, EARLY, POWER = "launch", "early", "power"
"""Where an adjustable is expected to act: the first 60 ft, the first 330 ft, or all the way by power and drag."""


@dataclass(frozen=True)
class KnownAdjustable:
    """A catalogue entry: what the shop changes, in which unit and by how much at a time."""

    name: str
    unit: str
    step: float
    minutes: float
    cautions: str
    acts: str
    curved: bool
    """True when the best setting is expected inside the range, not at an end."""
    words: tuple[str, ...] = ()
    """Other spellings in setup sheets, lower case."""


def _entry(name: str, unit: str, step: float, minutes: float, cautions: str, acts: str = LAUNCH, *words: str,
           curved: bool = False) -> KnownAdjustable:  # fmt: skip
    return KnownAdjustable(name, unit, step, minutes, cautions, acts, curved, words)


KNOWN: Final[tuple[KnownAdjustable, ...]] = (
    _entry("rear tyre pressure", "psi", 0.5, 5, "TD", LAUNCH, "rear tire pressure", "rear pressure", curved=True),
    _entry(
        "rear tyre pressure left",
        "psi",
        0.5,
        5,
        "TD",
        LAUNCH,
        "rear tire pressure left",
        "lr tyre pressure",
        curved=True,
    ),
    _entry(
        "rear tyre pressure right",
        "psi",
        0.5,
        5,
        "TD",
        LAUNCH,
        "rear tire pressure right",
        "rr tyre pressure",
        curved=True,
    ),
    _entry("front tyre pressure", "psi", 2, 5, "T", POWER, "front tire pressure"),
    _entry("rear tyre set", "set", 1, 30, "TR", LAUNCH, "rear tire set"),
    _entry("launch rpm", "rpm", 200, 5, "WR", LAUNCH, "launch engine speed", curved=True),
    _entry("shift rpm", "rpm", 100, 5, "R", POWER, "shift engine speed", curved=True),
    _entry("launch ignition retard", "deg", 2, 10, "WF", LAUNCH, "launch retard"),
    _entry("upper link front hole", "hole", 1, 25, "WJ", LAUNCH, "upper front hole"),
    _entry("upper link rear hole", "hole", 1, 25, "WJ", LAUNCH, "upper rear hole"),
    _entry("lower link front hole", "hole", 1, 25, "WJ", LAUNCH, "lower front hole"),
    _entry("lower link rear hole", "hole", 1, 25, "WJ", LAUNCH, "lower rear hole"),
    _entry("pinion angle", "deg", 0.5, 20, "J", LAUNCH),
    _entry("upper-link preload", "flat", 1, 15, "DJ", LAUNCH, "upper link preload"),
    _entry("anti-roll bar preload", "flat", 1, 10, "DJ", LAUNCH, "anti-roll preload", "arb preload"),
    _entry("rear shock extension", "click", 2, 5, "W", LAUNCH, curved=True),
    _entry("rear shock compression", "click", 2, 5, "", LAUNCH, curved=True),
    _entry("front shock extension", "click", 2, 5, "W", LAUNCH, curved=True),
    _entry("front shock compression", "click", 2, 5, "W", LAUNCH, curved=True),
    _entry("rear spring", "lb/in", 25, 45, "WJ", LAUNCH),
    _entry("front spring", "lb/in", 25, 45, "WJ", LAUNCH),
    _entry("rear ride height", "in", 0.125, 20, "J", LAUNCH),
    _entry("front ride height", "in", 0.125, 20, "J", LAUNCH),
    _entry("front travel limiter", "in", 0.5, 15, "W", LAUNCH),
    _entry("wheelie-bar height", "in", 0.5, 10, "WD", LAUNCH, "wheelie bar height"),
    _entry("ballast rear", "lb", 25, 20, "BW", EARLY, "rear ballast"),
    _entry("ballast front", "lb", 25, 20, "BW", EARLY, "front ballast"),
    _entry("final drive", "1", 0.1, 120, "R", POWER, "final drive ratio", "axle ratio", curved=True),
    _entry("converter stall", "rpm", 200, 150, "RJ", EARLY, "stall speed", curved=True),
    _entry("clutch base pressure", "lb", 25, 30, "WF", LAUNCH, curved=True),
    _entry("ignition timing", "deg", 1, 10, "F", POWER, curved=True),
    _entry("fuel jet", "in", 0.001, 15, "F", POWER, curved=True),
    _entry("boost target", "psi", 1, 10, "FW", POWER),
    _entry("nitrous delay", "s", 0.1, 5, "FW", EARLY),
    _entry("wing angle", "deg", 1, 10, "T", POWER),
    _entry("front toe", "in", 0.03125, 30, "TD", POWER),
    _entry("brake bias", "turn", 0.5, 10, "T", POWER),
)

BY_NAME: Final[dict[str, KnownAdjustable]] = {
    word: entry for entry in KNOWN for word in (entry.name, *entry.words)
}  # fmt: skip


NEEDS_PART: Final = frozenset({"final drive", "converter stall", "rear tyre set", "rear spring", "front spring"})
"""what is changed by fitting another part, not by setting it: only to what is at hand"""


def cautions_for(letters: str) -> tuple[str, ...]:
    """Return the caution texts of a string of caution letters, in their order."""
    return tuple(CAUTIONS[letter] for letter in letters)
