"""Open questions listed, answered, and what was answered."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any, Final

from runlog.errors import NotFound, UsageError
from runlog.records import Given, RunKey
from runlog.store import crew, history, originals, results
from runlog.workflows.intake.crew import say
from runlog.workflows.intake.ingest import add_typed
from runlog.workflows.intake.maps import settle_columns
from runlog.workflows.keeping.undo import undo
from runlog.workflows.questions.content import question_part
from runlog.workflows.questions.of_words import SEVERAL

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Sequence

    from runlog.results import Answer, Question
    from runlog.store.connection import Logbook


_CORRECTED: Final = "corrected by an answer about"
"""how the name of a sheet begins that an answer wrote"""


def open_questions(
    book: Logbook, car: str | None = None, date: dt.date | None = None, keys: Collection[RunKey] | None = None
) -> list[tuple[RunKey, Question]]:
    """Return the questions that wait for an answer, in order of the runs; one for several of them once."""
    found: list[tuple[RunKey, Question]] = []
    seen: set[tuple[object, ...]] = set()
    for key, questions in results.asked(book, car, date):
        if keys is not None and key not in keys:
            continue
        for question in questions:
            about = (_reach(key, question), question.id)
            if question.answers and about not in seen:
                seen.add(about)
                found.append((key, question))
    return found


def _reach(key: RunKey, question: Question) -> object:
    """Return what an answer stands for: a run, a day, or every file with a header, which the identity names."""
    if any(item.effect is not None and item.effect["do"] == "columns" for item in question.answers):
        return None
    return key.date if question.whole_day else key


def answer(book: Logbook, key: RunKey, question: str, pressed: str, by: str | None = None) -> str:
    """Keep the answer to a run's question and do what it does; return what was said.

    ``question`` is its id, or what it begins with; ``pressed`` the answer's key. An answered question can be answered
    again with another key: the newest holds, and a sheet that the one before led to is withdrawn.
    """
    asked, chosen = _chosen(book, key, question, pressed)
    effect = chosen["effect"]
    sheet = _sheet(key, effect) if effect is not None and effect["do"] == "sheet" else None
    _withdraw_sheets(book, key, asked["id"], sheet)
    if sheet is not None:
        # first, so that a program that dies in between leaves a true sheet and no question about it
        add_typed(book, "sheet", sheet, f"{_CORRECTED} {key}", Given())
    say(
        book,
        f"answer about {key}",
        {
            "what": "answer",
            "car": key.car,
            "date": key.date.isoformat(),
            "run": None if asked["whole_day"] else key.number,
            "by": by,
            "question": asked["id"],
            "key": pressed,
            "asked": asked["text"],
            "answered": chosen["text"],
            "effect": None if effect is None else {name: value for name, value in effect.items() if value is not None},
            "offered": [_offered(item) for item in asked["answers"]],
        },
    )
    if effect is not None and effect["do"] == "columns":
        # last, so that undoing the last change takes back what the answer did; the question is open until it is done
        settle_columns(book, effect["text"], effect["columns"], f"answer about {str(key).replace('/', ' ')}")
    return f"{key}: {asked['text']} — {chosen['text']}"


def _withdraw_sheets(book: Logbook, key: RunKey, question: str, sheet: bytes | None) -> None:
    """Withdraw what earlier answers to a question wrote into a sheet, but for ``sheet``."""
    said = [fact for fact in crew.said(book, key.car, "answer") if (fact.date, fact.number) == (key.date, key.number)]
    effects = [fact.content["effect"] for fact in said if fact.content["question"] == question]
    written = {originals.digest(_sheet(key, effect)) for effect in effects if effect and effect["do"] == "sheet"}
    written -= {originals.digest(sheet)} if sheet is not None else set()
    out = history.withdrawals(book) if written else {}
    for entry in originals.entries(book) if written else []:
        if entry.sha256 in written and entry.name.startswith(_CORRECTED) and entry.identity not in out:
            undo(book, entry.number)


def _offered(item: dict[str, Any]) -> dict[str, Any]:
    effect = item["effect"]
    return {
        "key": item["key"],
        "text": item["text"],
        **({} if effect is None else {"effect": {name: value for name, value in effect.items() if value is not None}}),
    }


def _chosen(book: Logbook, key: RunKey, question: str, pressed: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return a question, open or answered before, and the answer with this key."""
    known = {item["id"]: item for item in (*_answered(book, key), *_open(book, key))}
    matching = [item for name, item in known.items() if name == question or name.startswith(f"{question}-")]
    if len(matching) != 1:
        names = ", ".join(item["id"] for item in (matching or known.values())) or "none"
        problem = "fits several questions" if matching else "no such question"
        raise NotFound(f"{key}: {question!r}: {problem}; questions of this run: {names}")
    chosen = next((item for item in matching[0]["answers"] if item["key"] == pressed.lower()), None)
    if chosen is None:
        keys = "; ".join(f"{item['key']} {item['text']}" for item in matching[0]["answers"])
        raise UsageError(f"{key}: {pressed!r} is no answer to {matching[0]['id']}; accepted: {keys}")
    return matching[0], chosen


def _open(book: Logbook, key: RunKey) -> list[dict[str, Any]]:
    questions = dict(results.asked(book, key.car, key.date)).get(key, [])
    return [
        {
            "id": question.id,
            "text": question.text,
            "whole_day": question.whole_day,
            "answers": [_plain(item) for item in question.answers],
        }
        for question in questions
        if question.answers
    ]


def _plain(item: Answer) -> dict[str, Any]:
    return {"key": item.key, "text": item.text, "effect": dict(item.effect) if item.effect else None}


def _answered(book: Logbook, key: RunKey) -> list[dict[str, Any]]:
    found = []
    for fact in crew.said(book, None, "answer"):
        whole_day = fact.number is None
        if fact.date != key.date or not (whole_day or (fact.car, fact.number) == (key.car, key.number)):
            continue
        offered = [{"effect": None, **item} for item in fact.content["offered"]]
        found.append(
            {
                "id": fact.content["question"],
                "text": fact.content["asked"],
                "whole_day": whole_day,
                "answers": offered,
            }
        )
    return found


def _sheet(key: RunKey, effect: dict[str, Any]) -> bytes:
    """Return the sheet that says what was really done, from this run on: a typed entry like any other."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(("car", "date", "run", "item", "value", "unit"))
    for item in effect["text"].split(SEVERAL):
        writer.writerow((key.car, key.date, key.number, item, f"{effect['value']:g}", effect["unit"]))
    return text.getvalue().encode()


def answers_page(
    book: Logbook, asked: Sequence[tuple[RunKey, Question]], car: str | None, date: dt.date | None
) -> dict[str, Any]:
    """Return open questions and what was answered, newest first, in the shape of ``answer --json``."""
    said = [fact for fact in crew.said(book, car, "answer") if date is None or fact.date == date]
    return {
        "open": [{"run": str(key), **question_part(question)} for key, question in asked],
        "answered": [
            {
                "run": f"{fact.car}/{fact.date.isoformat()}" + (f"/{fact.number}" if fact.number else ""),
                "id": fact.content["question"],
                "text": fact.content["asked"],
                "key": fact.content["key"],
                "answer": fact.content["answered"],
                "at": fact.at.isoformat(timespec="minutes"),
                "by": fact.by or None,
            }
            for fact in reversed(said)
        ],
    }
