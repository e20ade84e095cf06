"""Asking a person at a terminal, one question after the other: Enter takes what is offered, each answer is checked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import typer

from runlog.cli.common import note, plain
from runlog.errors import RunlogError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    Said = dict[str, str]

BACK, BLANK = "<", "-"
HOW: Final = "Enter takes what is in brackets, - leaves it blank, < goes back, Ctrl-C stores nothing."


@dataclass(frozen=True)
class Ask:
    """One question: the name its answer is kept under, and what is said, offered and accepted, given those before."""

    name: str
    text: Callable[[Said], str]
    offered: Callable[[Said], str]
    check: Callable[[Said, str], object]
    """raises a ``RunlogError`` for what can't be taken"""
    asked: Callable[[Said], bool] = lambda _: True


def prompt(text: str, offered: str = "") -> str:
    """Return an answer, what is offered in its place, or nothing."""
    shown = f" [{plain(offered)}]" if offered else ""
    said = str(typer.prompt(f"{plain(text)}{shown}", default="", show_default=False)).strip()
    return "" if said == BLANK else said or offered


def talk(asks: Sequence[Ask], given: Said) -> Said:
    """Return the answers; what was given already isn't asked."""
    said, place = dict(given), 0
    while place < len(asks):
        one = asks[place]
        if one.name in given or not one.asked(said):
            place += 1
            continue
        answer = prompt(one.text(said), one.offered(said))
        if answer == BACK:
            before = [n for n in range(place) if asks[n].name not in given and asks[n].asked(said)]
            place = before[-1] if before else place
            continue
        try:
            one.check(said, answer)
        except RunlogError as fault:
            note(f"  ✗ {fault}")
            continue
        said[one.name] = answer
        place += 1
    return said
