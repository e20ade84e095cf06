"""What the crew said, kept and read back in an order that doesn't hang on how it came in."""

from __future__ import annotations

import datetime as dt
import json

from runlog.readers.crew import read_crew
from runlog.store import crew

HEAD = {"car": "teal", "date": "2031-04-12"}
SAID = (
    {"what": "item", **HEAD, "at": "2031-04-12T12:00", "text": "later"},
    {
        "what": "sign_off",
        **HEAD,
        "at": "2031-04-12T11:00:00.250",
        "by": "A. Crew",
        "step": "60",
        "run": 2,
        "checks": ["a"],
    },
    {"what": "item", **HEAD, "at": "2031-04-12T10:00", "text": "earlier"},
    {"what": "item", "car": "rail", "date": "2031-04-11", "at": "2031-04-13T10:00", "text": "another car"},
)
FACTS = read_crew(json.dumps(SAID).encode(), "x.json")


def test_facts_are_read_back_in_order_of_day_and_time(book):
    crew.save(book, 1, FACTS)
    assert crew.said(book) == sorted(FACTS, key=lambda fact: fact.order)
    assert [fact.content["text"] for fact in crew.said(book, "teal", "item")] == ["earlier", "later"]
    (signed,) = crew.said(book, None, "sign_off")
    assert signed.at == dt.datetime(2031, 4, 12, 11, 0, 0, 250_000)
    assert (signed.by, signed.number) == ("A. Crew", 2)


def test_the_same_said_twice_is_one_fact(book):
    crew.save(book, 1, FACTS[:1])
    crew.save(book, 2, FACTS[::-1])
    assert len(crew.said(book)) == len(FACTS)


def test_a_rebuild_begins_with_none(book):
    crew.save(book, 1, FACTS)
    crew.drop_all(book)
    assert crew.said(book) == []
