"""``runlog add change`` without a word at a terminal: what was changed, asked for."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from runlog.cli.asking import BACK, HOW, Ask, prompt, talk
from runlog.cli.common import logbook, note, plain, run_key
from runlog.errors import NotFound, RunlogError, UsageError

if TYPE_CHECKING:
    from pathlib import Path

    from runlog.records import RunKey


def ask_changes(book: Path | None, car: str | None, run: str | None) -> tuple[RunKey, list[str]]:
    """Return the run that they hold from and the changes; the logbook is free while the crew types."""
    from runlog.workflows.find import find_car
    from runlog.workflows.release import done

    note(HOW)
    said = talk(
        [
            Ask("car", lambda _: "Car", lambda _: _car(book, None), lambda _, answer: _car(book, answer)),
            Ask(
                "run",
                lambda _: "First run with the change",
                lambda said: _next(book, said["car"]),
                lambda _, answer: run_key(answer or "?"),
            ),
        ],
        {**({"car": _car(book, car)} if car or run else {}), **({"run": run} if run else {})},
    )
    key: RunKey = run_key(said["run"])
    with logbook(book) as opened:
        find_car(opened, key.car)
        items = done.standing(opened, key)
        try:
            planned = done.planned(opened, key)
        except NotFound:
            planned = []
    for n, item in enumerate(items, 1):
        note(f"{n:>3}  {item['item']} {_now(item)}")
    return key, _changes(book, key, items, planned)


def _changes(book: Path | None, key: RunKey, items: list[dict[str, Any]], planned: list[str]) -> list[str]:
    texts: list[str] = []
    told: list[str] = []
    while True:
        waiting = [text for text in planned if text.split("=")[0] not in {_name(one) for one in texts}]
        end = "Enter when that is all" if texts else "number, name, or launch rpm=4400"
        answer = prompt(f"Changed ({end})", waiting[0] if waiting else "")
        if answer == "" and texts:
            return texts
        if answer == BACK:
            texts = texts[:-1]
            told = _read(book, key, texts) if texts else []
            note("  without changes so far" if not texts else f"  so far: {', '.join(texts)}")
            continue
        try:
            text = _whole(items, answer)
            warnings = _read(book, key, [*texts, text])
        except RunlogError as fault:
            note(f"  ✗ {fault}")
            continue
        for warning in warnings[len(told) :]:
            note(f"  ! {warning}")
        texts, told = [*texts, text], warnings


def _read(book: Path | None, key: RunKey, texts: list[str]) -> list[str]:
    """Return what there is to warn of; an error says what can't be kept."""
    from runlog.workflows.release import done

    if not texts[-1]:
        raise UsageError('say what was changed, such as "launch rpm=4400"; Ctrl-C stores nothing')
    with logbook(book) as opened:
        warnings: list[str] = done.read_changes(opened, key, texts)["warnings"]
        return warnings


def _whole(items: list[dict[str, Any]], answer: str) -> str:
    """Return a change in full: of an adjustable that is only named, the new value is asked for."""
    from runlog.reports import amounts

    words = answer.lower()
    number = int(words) - 1 if words.isdecimal() else -1
    item = items[number] if 0 <= number < len(items) else next((one for one in items if one["item"] == words), None)
    if item is None:
        _in_which_unit(items, answer)
        return answer
    value = prompt(f"{item['item']}, now {_now(item)}; new")
    if value in ("", BACK):
        return ""
    bare = value.replace(".", "", 1).isdecimal() and item["unit"] not in ("1", "hole")
    unit = f" {amounts.symbol(item['unit'])}" if bare else ""
    return f"{item['item']}={value}{unit}"


def _in_which_unit(items: list[dict[str, Any]], answer: str) -> None:
    """Refuse a number without unit where the page shows another unit than the one that would be taken."""
    from runlog.reports import amounts

    found = re.fullmatch(r"\s*(.*?)\s*[=+\-−]\s*[\d.]+\s*", answer.lower())
    item = next((one for one in items if found and one["item"] == found[1]), None)
    if item is not None and amounts.symbol(item["unit"]) != item["unit"]:
        raise UsageError(f"{answer!r}: say the unit, {amounts.symbol(item['unit'])} or {item['unit']}")


def _now(item: dict[str, Any]) -> str:
    from runlog.reports import amounts

    return plain("not known" if item["value"] is None else amounts.amount(item["value"], item["unit"]))


def _name(text: str) -> str:
    return text.split("=")[0].strip().lower()


def _car(book: Path | None, text: str | None) -> str:
    from runlog.workflows.find import find_car

    with logbook(book) as opened:
        return find_car(opened, text)


def _next(book: Path | None, car: str) -> str:
    from runlog.workflows.release import done

    with logbook(book) as opened:
        return str(done.next_key(opened, car.lower()))
