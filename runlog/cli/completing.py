"""What a shell offers after Tab: cars, runs, days, tracks, adjustables of the logbook that is meant.

A parameter is known by what it is called in the help (its metavar), so that a new command is completed without a word
of its own. Loaded only while a shell asks; the logbook is only read, and what can't be read offers nothing.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from runlog import configuration
from runlog.cli.common import logbook_path, user_file
from runlog.errors import RunlogError
from runlog.store import facts, results
from runlog.store.connection import open_logbook

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from runlog.store.connection import Logbook

    _Source = Callable[[Logbook, str | None], Iterator["Offer"]]

_WAIT_S: Final = 0.3
"""for a logbook that another program holds: a person waits at the keyboard"""
_MOST_RUNS: Final = 400
_PLAIN: Final = re.compile(r"[\w .,:/|=%°+-]*")
"""What no shell acts on, quoted or not. A name in a logbook from elsewhere may hold a command: it is not offered."""

Offer = tuple[str, str]
"""what is offered, and a word about it"""


def _cars(book: Logbook, _: str | None) -> Iterator[Offer]:
    for name in sorted({key.car for key in results.run_keys(book)} | set(results.cars_with_file(book))):
        yield name, "car"


def _runs(book: Logbook, _: str | None) -> Iterator[Offer]:
    newest = sorted(results.run_keys(book), key=lambda key: (key.date, key.car, key.number), reverse=True)
    for car in sorted({key.car for key in newest}):
        yield f"{car}/latest", "its newest run"
    for key in newest[:_MOST_RUNS]:
        yield str(key), "run"


def _days(book: Logbook, _: str | None) -> Iterator[Offer]:
    keys = results.run_keys(book)
    for date in sorted({key.date for key in keys}, reverse=True):
        yield date.isoformat(), ", ".join(sorted({key.car for key in keys if key.date == date}))


def _tracks(book: Logbook, _: str | None) -> Iterator[Offer]:
    for name in sorted(facts.tracks(book)):
        yield name, "track"


def _adjustables(book: Logbook, car: str | None) -> Iterator[Offer]:
    seen: dict[str, str] = {}
    for name, file in facts.cars(book).items():
        if car in (None, name):
            for item in file.adjustables:
                seen.setdefault(item.name, item.unit)
    yield from sorted(seen.items())


def _settings(book: Logbook, car: str | None) -> Iterator[Offer]:
    for name, unit in _adjustables(book, car):
        yield f"{name}=", unit


_OF_LOGBOOK: Final[dict[str, _Source]] = {
    "CAR": _cars,
    "RUN": _runs,
    "KEY": _runs,
    "DAY": _days,
    "DATE": _days,
    "TRACK": _tracks,
    "NAME=VALUE": _settings,
    "CHANGE": _settings,
}
_ADJUSTABLE_OPTIONS: Final = {"--adjustable", "--setting"}
_FIXED: Final = {
    "us|metric": ("us", "metric"),
    "LANE": ("left", "right"),
    "DIST": ("60", "330", "660", "full"),
}


def complete(parameter: Any, context: Any, incomplete: str) -> list[Offer]:
    """Return what to offer for a parameter of a command after ``incomplete``; nothing where nothing is known."""
    metavar = parameter.metavar or ""
    options = set(parameter.opts)
    sources: list[_Source]
    if metavar == "NAME" and options & _ADJUSTABLE_OPTIONS:
        sources = [_adjustables]
    elif metavar == "NAME=VALUE" or metavar.startswith("CHANGE"):
        sources = [_settings]
    elif metavar == "WHAT":
        sources = [_cars, _days, _runs]
    else:
        sources = [_OF_LOGBOOK[word] for word in re.findall("[A-Z]+", metavar) if word in _OF_LOGBOOK]
    offers = [(word, "") for word in _fixed(metavar, options)]
    if sources:
        offers += _from_logbook(sources, context)
    wanted = incomplete.lower()
    return [
        (_as_typed(text), said if _PLAIN.fullmatch(said) else "")
        for text, said in offers
        if text.lower().startswith(wanted) and _PLAIN.fullmatch(text)
    ]


def _fixed(metavar: str, options: set[str]) -> tuple[str, ...]:
    if metavar == "KIND" and "--as" in options:
        from runlog.readers.detect import KINDS

        return KINDS
    if metavar == "KIND":
        from runlog.workflows.plots import KINDS as PLOTS

        return tuple(PLOTS)
    if metavar == "TABLE":
        from runlog.workflows.tables import TABLES

        return (*TABLES, "effects")
    return _FIXED.get(metavar, ())


def _from_logbook(sources: Sequence[_Source], context: Any) -> list[Offer]:
    """Read from the logbook that the words typed so far mean."""
    said = context.params
    car = said.get("car")
    try:
        configuration.begin(Path.cwd(), user_file())
        path = logbook_path(Path(said["book"]) if said.get("book") else None)
        with open_logbook(path, read_only=True, wait_s=_WAIT_S) as book:
            return [offer for source in sources for offer in source(book, car if isinstance(car, str) else None)]
    except (RunlogError, OSError):
        return []
    finally:
        configuration.forget()


def _as_typed(text: str) -> str:
    """Return an offer as the shell takes it: Bash puts it into the line as it is, the others mark blanks themselves."""
    if os.environ.get("_RUNLOG_COMPLETE") != "complete_bash":
        return text
    words = os.environ.get("COMP_WORDS", "").split("\n")
    place = os.environ.get("COMP_CWORD", "")
    typed = words[int(place)] if place.isdigit() and int(place) < len(words) else ""
    return text if typed[:1] in ("'", '"') else re.sub(r"([\s|&;<>()$`\\\"'*?#~])", r"\\\1", text)
