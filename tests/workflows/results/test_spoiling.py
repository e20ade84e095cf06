"""When the trace asks whether a run is spoiled."""

from __future__ import annotations

import pytest

from runlog.workflows.results.spoiling import SPOILS, proposals

ROLLOUT = 0.2286
"""[m] 9 in"""


def event(
    name: str, time: float = 0.8, distance: float | None = 6.096 + ROLLOUT, confidence: float = 0.8
) -> dict[str, object]:
    return {"name": name, "time": time, "distance": distance, "confidence": confidence, "text": ""}


@pytest.mark.parametrize("name", SPOILS)
def test_a_sure_event_is_asked_about_with_time_and_place(name: str) -> None:
    (question,) = proposals([event(name)], None, 402.0, ROLLOUT)
    assert SPOILS[name][1] in question.text
    assert "at 0.8 s, 20 ft: is the run spoiled?" in question.text
    assert (question.whose, question.distance) == (SPOILS[name][0], pytest.approx(6.096))


def test_what_can_hurt_is_looked_at_first() -> None:
    assert "inspect the front end first" in proposals([event("wheelstand")], None, 402.0, ROLLOUT)[0].text
    assert "inspect driveline and wheels first" in proposals([event("shake")], None, 402.0, ROLLOUT)[0].text


@pytest.mark.parametrize(
    "quiet",
    [
        event("shift"),
        event("front wheels up"),
        event("spin", confidence=0.5),
        event("spin", time=-9.0, distance=None),
        event("throttle stab", time=9.6, distance=430.0),
    ],
)
def test_nothing_is_asked_about(quiet: dict[str, object]) -> None:
    """Ordinary events, unsure ones, a burnout's spin before the launch, and what comes after the last figure."""
    assert proposals([quiet], None, 402.0, ROLLOUT) == ()


def test_each_kind_is_asked_once_and_not_where_the_crew_said_so() -> None:
    both = [event("spin"), event("spin", time=1.5), event("shake")]
    assert len(proposals(both, None, 402.0, ROLLOUT)) == 2
    assert proposals(both, "car: spin", 402.0, ROLLOUT) == ()
