"""Everything in the catalogue that can hurt someone has its caution, in words that say what to do. Common practice."""

from __future__ import annotations

import pytest

from runlog import catalogue
from runlog.workflows.ahead.candidates import ENGINE
from runlog.workflows.chassis import page as chassis
from runlog.workflows.chassis.launch import CAUTIONS as LAUNCH
from runlog.workflows.chassis.raised import CAUTIONS as RAISED
from runlog.workflows.release.page import CAUTIONS as RELEASE
from runlog.workflows.runs.page import ALWAYS


@pytest.mark.parametrize(
    ("names", "letters"),
    [
        (("launch", "ballast", "link front hole", "link rear hole", "limiter", "boost", "nitrous"), "W"),
        (("tyre pressure", "wing", "toe", "brake bias"), "T"),
        (("final drive", "shift rpm", "tyre set"), "R"),
        (("ballast",), "B"),
        (("ignition", "fuel", "boost", "nitrous", "clutch base"), "F"),
        (("preload", "rear tyre pressure"), "D"),
        (("hole", "spring", "ride height", "pinion"), "J"),
    ],
)
def test_what_can_hurt_has_its_letter(names, letters):
    for entry in catalogue.KNOWN:
        if any(name in entry.name for name in names):
            assert set(letters) <= set(entry.cautions), entry.name


@pytest.mark.parametrize(
    ("letter", "words"),
    [
        ("W", ("front may rise suddenly", "short hit first")),
        ("T", ("never below the minimum pressure", "maker's limits")),
        ("R", ("check every limit at the finish line",)),
        ("D", ("short hit first",)),
        ("J", ("nobody in or under a raised car", "jam nuts")),
        ("F", ("for the engine builder only",)),
        ("B", ("bolt ballast to the structure as the rules say", "weigh the car again")),
    ],
)
def test_a_caution_says_what_to_do(letter, words):
    assert all(text in catalogue.CAUTIONS[letter] for text in words)


def test_pages_defer_to_rules_inspection_and_makers():
    assert "not permission" in ALWAYS
    for texts in ((ALWAYS,), RELEASE, (*chassis.CAUTIONS, *LAUNCH), RAISED):
        together = " ".join(texts)
        assert "rules" in together or "makers" in together or "maker" in together, texts


def test_engine_items_are_known_by_one_letter():
    assert ENGINE == "F"
