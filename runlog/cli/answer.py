"""``runlog answer``."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from runlog.cli.common import CarOption, JsonOption, LogbookOption, logbook, new_command, note, print_json
from runlog.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runlog.records import RunKey
    from runlog.results import Question
    from runlog.store.connection import Logbook


@new_command(
    "List the questions that the data raise, and answer one by its key. On a terminal each is asked.",
    "runlog answer heron/2031-04-12/5 sheet-launch-rpm t --by 'crew chief'",
)
def app(
    run: Annotated[
        str | None, typer.Argument(metavar="RUN", help="The run that was asked about; all runs by default.")
    ] = None,
    question: Annotated[
        str | None, typer.Argument(metavar="QUESTION", help="The question's name or how it begins.")
    ] = None,
    key: Annotated[str | None, typer.Argument(metavar="KEY", help="The key of the answer.")] = None,
    car: CarOption = None,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who answers.", show_default=False)] = None,
    history: Annotated[bool, typer.Option("--history", help="Show what was answered as well.")] = False,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """List questions, or answer one."""
    from runlog.reports.amounts import prose
    from runlog.workflows.find import find_car, find_run
    from runlog.workflows.questions.answering import answer, answers_page, open_questions

    if question is not None and (key is None or run is None):
        raise UsageError("an answer needs the run, the question and its key, such as: runlog answer RUN QUESTION y")
    with logbook(book, write=question is not None or _asks(as_json=as_json)) as opened:
        of = find_run(opened, run) if run else None
        name = of.car if of else find_car(opened, car) if car else None
        if of is not None and question is not None and key is not None:
            note(prose(answer(opened, of, question, key, by)))
        asked = open_questions(opened, name, of.date if of else None, {of} if of else None)
        if question is None and _asks(as_json=as_json):
            ask(opened, asked, by)
            asked = open_questions(opened, name, of.date if of else None, {of} if of else None)
        page = answers_page(opened, asked, name, of.date if of else None)
    if as_json:
        print_json(page)
    else:
        from runlog.reports.answers import print_answers

        print_answers(page, history=history)


def _asks(*, as_json: bool = False) -> bool:
    """Return whether a person sits in front who can press keys."""
    return sys.stdin.isatty() and not as_json


def ask(book: Logbook, asked: Sequence[tuple[RunKey, Question]], by: str | None = None) -> None:
    """Put each question; Enter leaves it open."""
    from runlog.reports.amounts import prose
    from runlog.reports.answers import print_question
    from runlog.workflows.questions.answering import answer
    from runlog.workflows.questions.content import question_part

    for number, (run, question) in enumerate(asked, 1):
        print_question(number, str(run), question_part(question))
        keys = [item.key for item in question.answers]
        while (pressed := typer.prompt("Key, Enter for later", default="", show_default=False).strip().lower()) != "":
            if pressed in keys:
                note(prose(answer(book, run, question.id, pressed, by)))
                break
            note(f"{pressed!r} is none of {', '.join(keys)}")
