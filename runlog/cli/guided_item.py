"""``runlog item add`` without a word at a terminal: what was found, asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from runlog.cli.asking import HOW, Ask, talk
from runlog.cli.common import logbook, note
from runlog.errors import NotFound, UsageError

if TYPE_CHECKING:
    from pathlib import Path

    from runlog.cli.asking import Said
    from runlog.store.connection import Logbook

STOP, BEFORE, SHOP = DUE = ("stop", "before next run", "shop")
NONE: Final = "none"


def ask_item(book: Path | None, given: Said) -> Said:
    """Return what is to be kept: ``run``, ``text``, ``due``, ``settings`` (names by commas, none, or nothing), ``by``.

    ``given`` holds what was said with options already; the logbook is free while the crew types.
    """
    note(HOW)
    return talk(
        [
            Ask("run", lambda _: "Run", lambda said: _newest(book, said.get("car")), lambda _, run: _find(book, run)),
            Ask("text", lambda _: "What was found", lambda _: "", lambda _, text: _said(text)),
            Ask("due", lambda _: f"To be dealt with ({', '.join(DUE)})", lambda _: BEFORE, lambda _, due: _due(due)),
            Ask(
                "settings",
                lambda said: f"Settings that caused it, by commas, or {NONE}; Enter: {_moved(book, said)}",
                lambda _: "",
                lambda said, names: _named(book, said, names),
                asked=lambda said: said["due"] == STOP,
            ),
            Ask("by", lambda _: "Who says so, Enter for nobody", lambda said: _last(book, said), lambda *_: None),
        ],
        given,
    )


def settings_of(said: Said) -> list[str] | None:
    """Return the adjustables that caused a stop item; None: those changed since the last clean run."""
    names = [name.strip() for name in said.get("settings", "").split(",") if name.strip()]
    return [] if names == [NONE] else names or None


def _said(text: str) -> None:
    if not text:
        raise UsageError("say what was found; Ctrl-C stores nothing")


def _due(text: str) -> None:
    if text not in DUE:
        raise UsageError(f"found {text!r}; accepted: {', '.join(DUE)}")


def _newest(book: Path | None, car: str | None) -> str:
    """Return the newest run of the car that is meant; nothing where it has none yet."""
    from runlog.workflows.find import find_car, find_run

    with logbook(book) as opened:
        name = find_car(opened, car)
        try:
            return str(find_run(opened, f"{name}/latest"))
        except NotFound:
            return ""


def _find(book: Path | None, run: str) -> None:
    from runlog.workflows.find import find_run

    if run:
        with logbook(book) as opened:
            find_run(opened, run)


def _car(opened: Logbook, said: Said) -> str:
    from runlog.workflows.find import find_car, find_run

    return find_run(opened, said["run"]).car if said["run"] else find_car(opened, said.get("car"))


def _moved(book: Path | None, said: Said) -> str:
    """Return which settings a stop item bars where none is named."""
    from runlog.workflows.find import find_run
    from runlog.workflows.release.listing import would_bar

    with logbook(book) as opened:
        moved = would_bar(opened, find_run(opened, said["run"])) if said["run"] else []
    return f"{', '.join(moved)} (changed since the last clean run)" if moved else NONE


def _named(book: Path | None, said: Said, names: str) -> None:
    from runlog.workflows.release.listing import named

    with logbook(book) as opened:
        named(opened, _car(opened, said), settings_of({"settings": names}))


def _last(book: Path | None, said: Said) -> str:
    """Return who said the newest open item of the car."""
    from runlog.store import crew

    with logbook(book) as opened:
        items = crew.said(opened, _car(opened, said), "item")
    return max(items, key=lambda fact: fact.order).by if items else ""
