"""Whether what the trace shows asks for calling a run spoiled: a question to the crew, who decides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from runlog.constants import FOOT
from runlog.workflows.results.counting import from_beam

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

LEAST_CONFIDENCE = 0.6
"""of an event that is worth a question. Common practice, no source."""
SPOILS = {
    "spin": ("car", "the driven wheels spinning"),
    "shake": ("car", "tyre shake"),
    "wheelstand": ("car", "a wheelstand"),
    "throttle stab": ("driver", "the throttle closing for a moment"),
    "throttle again": ("driver", "a throttle lift that was taken up again"),
}
"""events that make a run's figures its own: whose doing they are, and how they are asked about"""
CAR_AT_RISK = {"shake": "inspect driveline and wheels first", "wheelstand": "inspect the front end first"}


@dataclass(frozen=True)
class Proposal:
    """That a run be called spoiled: by what, whose doing, where [m from the beam], and how it is asked."""

    name: str
    whose: str
    distance: float | None
    text: str


def proposals(
    events: Iterable[Mapping[str, Any]], spoiled: str | None, finish: float, rollout: float
) -> tuple[Proposal, ...]:
    """Return what to ask about each kind of event that spoils runs; nothing where the run is called spoiled already.

    ``finish`` [m from the beam]: what happens later doesn't touch the figures; ``rollout`` [m] from rest to the beam.
    """
    if spoiled is not None:
        return ()
    asked: dict[str, Mapping[str, Any]] = {}
    for event in events:
        late = event["time"] < 0.0 or (event["distance"] is not None and event["distance"] > rollout + finish)
        if event["name"] in SPOILS and event["confidence"] >= LEAST_CONFIDENCE and not late:
            asked.setdefault(event["name"], event)
    places = {name: from_beam(event["distance"], rollout) for name, event in asked.items()}
    return tuple(
        Proposal(name, SPOILS[name][0], places[name], _question(name, event, places[name]))
        for name, event in asked.items()
    )


def _question(name: str, event: Mapping[str, Any], place: float | None) -> str:
    where = "" if place is None else f", {place / FOOT:.0f} ft"
    risk = f"; {CAR_AT_RISK[name]}" if name in CAR_AT_RISK else ""
    return f"the trace shows {SPOILS[name][1]} at {event['time']:.1f} s{where}: is the run spoiled?{risk}"
