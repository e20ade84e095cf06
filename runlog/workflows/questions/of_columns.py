"""Questions about the columns of a logger's file: which of several is the channel?

The answer is a channel map for the header, so it holds for every file with it, whichever car or day it is of.
"""

from __future__ import annotations

import string
from typing import TYPE_CHECKING, Final

from runlog.readers.channel_map import KEEP
from runlog.results import Answer, Question
from runlog.workflows.questions.case import of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runlog.records import CloseCall
    from runlog.workflows.questions.case import RunCase

_NEITHER: Final = "n"
_KEYS: Final = string.ascii_lowercase.replace(_NEITHER, "")[:12]
_LONGEST: Final = 24
"""characters of a column's name that are shown, so that a question stays a line or two"""


def column_questions(case: RunCase) -> Iterator[Question]:
    """Yield a question for each channel that several columns of the run's log may be nearly as surely."""
    if case.columns is None:
        return
    header, close_calls = case.columns
    for close in close_calls:
        yield _question(header, close)


def _question(header: str, close: CloseCall) -> Question:
    spoken = close.canonical.replace("_", " ")
    names = [contender.name for contender in close.contenders]
    shown = [repr(name if len(name) <= _LONGEST else f"{name[:_LONGEST]}…") for name in names]
    answers = [
        Answer(key, f"{name} is the {spoken}", _effect(header, {column: close.canonical}))
        for key, name, column in zip(_KEYS, shown, names, strict=False)
    ]
    every = "neither" if len(names) == 2 else "none of them"
    answers.append(Answer(_NEITHER, f"{every}: each keeps its own name", _effect(header, dict.fromkeys(names, KEEP))))
    listed = f"{', '.join(shown[: len(_KEYS)][:-1])} or {shown[: len(_KEYS)][-1]}"
    return Question(
        f"channel-{close.canonical.replace('_', '-')}-{of(header, *names)}",
        f"which column is the {spoken}, {listed}? {shown[0]} was taken",
        tuple(
            f"{name}: {100 * one.confidence:.0f} % sure, {one.why}"
            for name, one in zip(shown, close.contenders, strict=True)
        ),
        tuple(answers),
        whole_day=True,
    )


def _effect(header: str, rules: dict[str, str]) -> dict[str, object]:
    return {"do": "columns", "text": header, "columns": rules}
