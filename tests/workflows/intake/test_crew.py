"""What the crew says goes the way of every file: kept with its original, made again by a rebuild."""

from __future__ import annotations

import json

import pytest

from runlog.problems import FileFaults
from runlog.store import crew, originals
from runlog.workflows.intake.crew import say
from runlog.workflows.intake.ingest import import_files
from runlog.workflows.intake.rebuild import rebuild

ITEM = {"what": "item", "car": "teal", "date": "2031-04-12", "run": 2, "text": "oil on the left header"}


def test_what_is_typed_is_kept_with_its_text(book):
    (fact,) = say(book, "typed item", ITEM)
    assert crew.said(book) == [fact]
    (entry,) = originals.entries(book)
    assert (entry.kind, entry.name) == ("crew", "typed item")
    assert json.loads(originals.fetch(book, entry.sha256)) == {**ITEM, "at": fact.at.isoformat(timespec="milliseconds")}


def test_a_fault_keeps_all_of_it_out(book):
    with pytest.raises(FileFaults, match="entry 2, key text"):
        say(book, "typed items", ITEM, {**ITEM, "text": ""})
    assert crew.said(book) == []
    assert originals.entries(book) == []


def test_files_are_imported_once_and_a_rebuild_makes_the_same_facts(book, files):
    (files / "crew.jsonl").write_text(json.dumps({**ITEM, "at": "2031-04-12T10:05"}) + "\n", "utf-8")
    report = import_files(book, [files])
    assert next(file for file in report.files if file.path.endswith("crew.jsonl")).kind == "crew"
    assert report.refused == 0
    before = crew.said(book)
    assert len(before) == 1
    assert import_files(book, [files]).stored == 0
    rebuild(book)
    assert crew.said(book) == before


def test_a_car_without_a_file_is_told(book, files):
    (files / "crew.json").write_text(json.dumps({**ITEM, "at": "2031-04-12T10:05"}), "utf-8")
    (report,) = import_files(book, [files / "crew.json"]).files
    assert (report.error, report.warnings) == (None, ["no car file for teal yet"])
