"""Questions in the shape of the machine-readable contract."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from runlog.results import Question


def question_part(question: Question) -> dict[str, Any]:
    """Return a question with its evidence and what may be answered; without answers it is a remark."""
    return {
        "id": question.id,
        "text": question.text,
        "evidence": list(question.evidence),
        "answers": [{"key": answer.key, "text": answer.text} for answer in question.answers],
        "whole_day": question.whole_day,
    }
