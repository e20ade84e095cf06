"""Questions to the crew and their answers on the terminal."""

from __future__ import annotations

from typing import Any

from runlog.reports.amounts import prose
from runlog.reports.console import bullets, console, heading, line


def print_question(number: int, run: str, question: dict[str, Any]) -> None:
    """Print one question with its evidence and the keys that answer it."""
    out = console()
    about = run.rpartition("/")[0] if question["whole_day"] else run
    out.print(line((f"{number}. {about}", "bold"), f"  {question['id']}"))
    bullets(out, [question["text"]], "?")
    bullets(out, question["evidence"], " ")
    for answer in question["answers"]:
        out.print(line("   ", (answer["key"], "bold"), f"  {prose(answer['text'])}"))


def print_answers(page: dict[str, Any], *, history: bool = False) -> None:
    """Print the open questions, and with ``history`` what was answered."""
    out = console()
    if not page["open"]:
        out.print(line("No question is open."))
    for number, question in enumerate(page["open"], 1):
        print_question(number, question["run"], question)
    if history:
        out.print(heading("Answered, newest first"))
        for item in page["answered"]:
            by = f", {item['by']}" if item["by"] else ""
            out.print(line((f"{item['run']}  {item['id']}", "bold"), f"  {item['at'].replace('T', ' ')}{by}"))
            bullets(out, [item["text"]], "?")
            out.print(line(f"   {item['key']}  {prose(item['answer'])}"))
