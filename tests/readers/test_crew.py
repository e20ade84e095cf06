"""What the crew says: read from JSON in any of its shapes, every fault at once, the same content the same fact."""

from __future__ import annotations

import datetime as dt
import json
from typing import get_args

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.problems import FileFaults
from runlog.readers.crew import MODELS, CrewFileModel, Said, is_crew, read_crew, write_crew
from runlog.readers.crew_words import Step
from runlog.readers.detect import kind_of
from runlog.readers.schemas import schemas
from runlog.records import STEPS

HEAD = {"car": "teal", "date": "2031-04-12", "at": "2031-04-12T10:05"}
ITEM = {"what": "item", **HEAD, "run": 3, "text": "oil on the  left header", "due": "stop"}
SIGNED = {"what": "sign_off", **HEAD, "by": "A. Crew", "step": "60", "checks": ["wheel nuts"]}


def test_every_kind_has_its_model():
    assert set(get_args(Said)) == set(MODELS.values())
    assert get_args(Step) == STEPS
    for what, model in MODELS.items():
        assert get_args(model.model_fields["what"].annotation) == (what,)


def test_one_thing_is_read():
    (fact,) = read_crew(json.dumps(ITEM).encode(), "x.json")
    assert (fact.what, fact.car, fact.date, fact.number) == ("item", "teal", dt.date(2031, 4, 12), 3)
    assert (fact.at, fact.by) == (dt.datetime(2031, 4, 12, 10, 5), "")
    assert fact.content == {"text": "oil on the left header", "due": "stop", "settings": None}


@pytest.mark.parametrize(
    "text",
    [
        json.dumps([ITEM, SIGNED]),
        json.dumps(ITEM) + "\n" + json.dumps(SIGNED),
        "\ufeff" + json.dumps(ITEM, indent=1) + "\n\n" + json.dumps(SIGNED, indent=1) + "\n",
    ],
)
def test_several_are_a_list_or_one_after_the_other(text):
    assert [fact.what for fact in read_crew(text.encode(), "x.jsonl")] == ["item", "sign_off"]
    assert kind_of(text.encode(), "x.jsonl") == "crew"


def test_the_same_content_is_the_same_fact_however_it_is_written():
    (one,) = read_crew(json.dumps(ITEM).encode(), "x.json")
    (other,) = read_crew(json.dumps(dict(reversed({**ITEM, "by": None}.items())), indent=3).encode(), "y.json")
    assert one.id == other.id
    (later,) = read_crew(json.dumps({**ITEM, "at": "2031-04-12T10:06"}).encode(), "x.json")
    assert later.id != one.id


def test_every_fault_is_reported_at_once():
    text = json.dumps([{**ITEM, "text": "", "due": "soon", "more": 1}, {**SIGNED, "by": None}, {"what": "rumour"}, 7])
    with pytest.raises(FileFaults) as caught:
        read_crew(text.encode(), "x.json")
    said = str(caught.value)
    assert "x.json, entry 1, key text: found ''; accepted: words, at most 600 characters" in said
    assert "x.json, entry 1, key due: found 'soon'; accepted: 'stop', 'before next run' or 'at the shop'" in said
    assert "x.json, entry 1, key more: found an unknown key" in said
    assert "x.json, entry 2, key by: found None; accepted: a name, at most 60 characters" in said
    assert "x.json, entry 3, key what: found 'rumour'; accepted: one of item, item_closed" in said
    assert "x.json, entry 4, key what: found 7" in said


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b'{"what": "item"', "a fault in the JSON"),
        (b'{"what": "item", "run": NaN}', "NaN is no number of JSON"),
        (b"\xff\xfe\x00", "bytes that aren't UTF-8"),
        (b" \n", "found nothing"),
        (b"[" * 100_000, "nested too deeply"),
    ],
)
def test_broken_files_are_refused(content, said):
    with pytest.raises(FileFaults, match=said):
        read_crew(content, "x.json")


@pytest.mark.parametrize("content", [b"{}", b"[1]", b"[", b"", b"a,b\n1,2\n", b'{"run": "a/b/c"}', b"[" * 100_000])
def test_other_files_are_not_taken_for_it(content):
    assert not is_crew(content)


def test_a_time_with_a_zone_is_refused():
    with pytest.raises(FileFaults, match=r"key at: .*a local date and time"):
        read_crew(json.dumps({**ITEM, "at": "2031-04-12T10:05+02:00"}).encode(), "x.json")


def test_the_schema_accepts_what_the_reader_accepts():
    validator = jsonschema.Draft202012Validator(schemas()["crew.schema.json"])
    assert validator.is_valid(ITEM)
    assert validator.is_valid([ITEM, SIGNED])
    assert not validator.is_valid({**SIGNED, "step": "61"})
    assert not validator.is_valid({key: value for key, value in SIGNED.items() if key != "by"})
    assert CrewFileModel.model_validate([ITEM, SIGNED]).root


TEXT = st.text(min_size=1, max_size=40).filter(lambda text: text.strip())


@given(TEXT, st.sampled_from(["stop", "before next run", "at the shop"]), st.integers(1, 99) | st.none())
def test_what_is_written_is_read_back(text, due, run):
    content = write_crew({**ITEM, "text": text, "due": due, "run": run})
    (fact,) = read_crew(content, "x.jsonl")
    assert fact.content["text"] == " ".join(text.split())
    assert (fact.content["due"], fact.number) == (due, run)
