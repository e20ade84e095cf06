"""Keeping other customers' cars out of a document that is handed over."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Collection

INSTEAD = "another car"


def without_names(content: Any, names: Collection[str]) -> Any:
    """Return plain values with every whole word that is one of the names replaced, keys of mappings left alone.

    What the crew typed may name any car of the logbook; so may the key of one of its runs in a question.
    """
    if not names:
        return content
    longest_first = sorted(names, key=len, reverse=True)
    pattern = re.compile(rf"(?<![\w-])(?:{'|'.join(map(re.escape, longest_first))})(?![\w-])", re.IGNORECASE)
    return _replaced(content, pattern)


def _replaced(content: Any, pattern: re.Pattern[str]) -> Any:
    if isinstance(content, str):
        return pattern.sub(INSTEAD, content)
    if isinstance(content, list):
        return [_replaced(item, pattern) for item in content]
    if isinstance(content, dict):
        return {name: _replaced(item, pattern) for name, item in content.items()}
    return content
