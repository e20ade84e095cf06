"""Withdrawals and choices between entries, kept as JSON like anything typed; they name an entry by its identity."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

from runlog.problems import Problems
from runlog.records import Choice, Withdrawal

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

_IDENTITY = re.compile("[0-9a-f]{64}")
_MOST = 100_000
"""things that one choice settles at most"""


def write_withdrawal(identity: str, name: str, at: dt.datetime, *, withdrawn: bool) -> bytes:
    """Return the text that is kept of a withdrawal or its reversal; ``name`` and ``at`` (UTC) are for people."""
    return _text({"entry": identity, "name": name, "withdrawn": withdrawn, "at": at.isoformat()})


def write_choice(identity: str, name: str, at: dt.datetime, things: Sequence[str]) -> bytes:
    """Return the text that is kept of a choice."""
    return _text({"entry": identity, "name": name, "things": list(things), "at": at.isoformat()})


def read_withdrawal(content: bytes, file: str) -> Withdrawal:
    """Return a withdrawal; ``FileFaults`` when it isn't one."""
    found, problems = _read(content, file)
    if not isinstance(found.get("withdrawn"), bool):
        problems.add("key withdrawn", _shown(found.get("withdrawn")), "true or false")
    problems.raise_if_any()
    return Withdrawal(found["entry"], found["withdrawn"])


def read_choice(content: bytes, file: str) -> Choice:
    """Return a choice; ``FileFaults`` when it isn't one."""
    found, problems = _read(content, file)
    things = found.get("things")
    if not (isinstance(things, list) and 0 < len(things) <= _MOST and all(isinstance(item, str) for item in things)):
        problems.add("key things", _shown(things), "a list of texts")
    problems.raise_if_any()
    return Choice(found["entry"], tuple(found["things"]))


def _read(content: bytes, file: str) -> tuple[dict[str, Any], Problems]:
    problems = Problems(file)
    try:
        found = json.loads(content)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        problems.add("", "no JSON object", "a JSON object that names an entry")
        problems.raise_if_any()
    if not (isinstance(found.get("entry"), str) and _IDENTITY.fullmatch(found["entry"])):
        problems.add("key entry", _shown(found.get("entry")), "the identity of an entry, 64 hexadecimal digits")
    return found, problems


def _shown(value: object) -> str:
    return repr(value)[:60]


def _text(content: dict[str, Any]) -> bytes:
    return f"{json.dumps(content, ensure_ascii=False)}\n".encode()
