"""The built-in adjustables are consistent. Their values are common practice, no source, so none is checked."""

from __future__ import annotations

import pytest

from runlog import catalogue, units


def test_names_and_spellings_are_unique_and_lower_case():
    words = [word for entry in catalogue.KNOWN for word in (entry.name, *entry.words)]
    assert len(words) == len(set(words)) == len(catalogue.BY_NAME)
    assert all(word == word.lower().strip() for word in words)


@pytest.mark.parametrize("entry", catalogue.KNOWN, ids=lambda entry: entry.name)
def test_every_entry_can_be_used(entry):
    assert units.unit_of(entry.unit).symbol == entry.unit
    assert entry.step > 0
    assert entry.minutes >= 0
    assert set(entry.cautions) <= set(catalogue.CAUTIONS)
    assert entry.acts in (catalogue.LAUNCH, catalogue.EARLY, catalogue.POWER)


@pytest.mark.parametrize(
    ("name", "letter"),
    [
        ("launch rpm", "W"),
        ("rear tyre pressure", "T"),
        ("shift rpm", "R"),
        ("ballast rear", "B"),
        ("front ride height", "J"),
        ("boost target", "F"),
        ("upper-link preload", "D"),
    ],
)
def test_what_can_hurt_carries_its_caution(name, letter):
    assert letter in catalogue.BY_NAME[name].cautions


def test_caution_letters_become_texts_in_their_order():
    first, second = catalogue.cautions_for("WT")
    assert first.startswith("the front may rise")
    assert "tyre maker's limits" in second
    assert catalogue.cautions_for("") == ()


def test_an_unknown_letter_is_a_key_error():
    with pytest.raises(KeyError, match="X"):
        catalogue.cautions_for("X")
