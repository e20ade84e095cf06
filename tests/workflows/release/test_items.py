"""Open items: until someone says that they were dealt with, the most urgent first."""

from __future__ import annotations

import itertools
import json

import pytest

from runlog.errors import NotFound, UsageError
from runlog.readers.crew import read_crew
from runlog.workflows.release.items import OpenItem, all_items, open_items
from runlog.workflows.release.listing import find_item

HEAD = {"car": "teal", "date": "2031-04-12"}
FACTS = read_crew(
    json.dumps(
        [
            {"what": "item", **HEAD, "at": "2031-04-12T10:00", "text": "wax", "due": "at the shop"},
            {"what": "item", **HEAD, "at": "2031-04-12T10:01", "text": "bolt"},
            {"what": "item", **HEAD, "at": "2031-04-12T10:02", "text": "leak", "due": "stop"},
        ]
    ).encode(),
    "x.json",
)
CLOSED = read_crew(
    json.dumps(
        {
            "what": "item_closed",
            **HEAD,
            "at": "2031-04-12T11:00",
            "item": FACTS[2].id,
            "text": "gasket",
            "by": "A. Crew",
        }
    ).encode(),
    "x.json",
)


def test_the_most_urgent_come_first():
    assert [item.text for item in open_items(FACTS)] == ["leak", "bolt", "wax"]


@pytest.mark.parametrize("facts", list(itertools.permutations([*FACTS, *CLOSED])))
def test_a_closed_item_is_no_longer_open_in_whatever_order_it_was_told(facts):
    assert [item.text for item in open_items(facts)] == ["bolt", "wax"]
    last = all_items(facts)[-1]
    assert last.part()["closed"] == {"date": "2031-04-12", "text": "gasket", "by": "A. Crew"}


def test_an_item_is_named_by_its_number_or_the_beginning_of_its_identity():
    items = open_items(FACTS)
    assert find_item(items, "1").text == "leak"
    assert find_item(items, items[2].fact.id[:5]) == items[2]
    with pytest.raises(NotFound, match="no open item '7': 'runlog item list' numbers them"):
        find_item(items, "7")
    with pytest.raises(NotFound, match="no item is open"):
        find_item([], "1")
    with pytest.raises(UsageError, match="fits several items"):
        find_item([items[0], OpenItem(items[0].fact)], items[0].fact.id)
