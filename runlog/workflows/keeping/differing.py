"""Where two entries say different things of the same thing: which of what they say differs."""

from __future__ import annotations

import json
from typing import Any


def differences(before: str | None, after: str) -> list[dict[str, Any]]:
    """Return {what, from, to} for everything that two sayings (JSON) of one thing tell differently.

    Lists are compared as wholes. ``from`` is None where nothing was said before, ``to`` where nothing is any more.
    """
    old, new = _flat(before), _flat(after)
    names = [*old, *(name for name in new if name not in old)]
    return [
        {"what": name, "from": old.get(name), "to": new.get(name)} for name in names if old.get(name) != new.get(name)
    ]


def _flat(says: str | None) -> dict[str, Any]:
    content = json.loads(says) if says else {}
    return dict(_leaves(content, "")) if isinstance(content, dict) else {}


def _leaves(content: dict[str, Any], lead: str) -> list[tuple[str, Any]]:
    found: list[tuple[str, Any]] = []
    for name, value in content.items():
        if isinstance(value, dict):
            found += _leaves(value, f"{lead}{name} ")
        else:
            found.append((f"{lead}{name}", value))
    return found
