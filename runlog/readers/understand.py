"""What a text file is, decided at once: encoding, dialect, preamble, header, units row and time base.

Every encoding that the bytes allow is read with every interpretation of the table in it (``sniff``); how well the
characters fit the encoding is one more weight of the score.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from runlog.readers.encodings import possible
from runlog.readers.lines import Layout
from runlog.readers.sniff import best_of, interpretations, with_tabs
from runlog.readers.text import Text, decoded

_ENOUGH: Final = 1 << 18
"""[byte] in which the interpretations under rival encodings are weighed"""
_BY_BLANKS: Final = 0.9
"""weight of cells parted by nothing but blanks"""


@dataclass(frozen=True)
class Understood:
    """A text and the table in it; ``weighed`` are all interpretations, best first."""

    text: Text | None
    """None when it isn't text"""
    layout: Layout | None
    """None when no interpretation finds any numbers"""
    weighed: tuple[Layout, ...] = ()


def understand(content: bytes, missing: frozenset[str] = frozenset()) -> Understood:
    """Return the interpretation of a file's bytes that scores best, and what it was weighed against.

    ``missing``: words, in lower case, of which it is known that they stand for a missing sample.
    """
    fits = possible(content)
    rivals = len(fits) > 1
    found: dict[str, tuple[Text, list[Layout]]] = {}
    for encoding, fit in fits.items():
        text = decoded(content[:_ENOUGH] if rivals else content, encoding)
        if text is not None:
            found[encoding] = _table(text, encoding, fit, missing)
    if not found:
        return Understood(None, None)
    bests = {encoding: best_of(text.data, layouts) for encoding, (text, layouts) in found.items()}
    winner = max(bests, key=lambda name: _score(bests[name], fits[name]))
    text, layouts = found[winner]
    if rivals and len(content) > _ENOUGH:
        # the places in the head's text aren't those in the whole
        whole = decoded(content, winner)
        text, layouts = _table(whole or text, winner, fits[winner], missing)
    best = best_of(text.data, layouts)
    others = [layout for name, (_, some) in found.items() if name != winner for layout in some]
    ordered = sorted([*layouts, *others], key=lambda layout: (layout is not best, -layout.score))
    return Understood(text, best, tuple(ordered))


def _score(best: Layout | None, fit: float) -> tuple[bool, float]:
    """Order encodings: by their best interpretation, those without one by how well the characters fit."""
    return (best is not None, fit if best is None else best.score)


def _table(text: Text, encoding: str, fit: float, missing: frozenset[str]) -> tuple[Text, list[Layout]]:
    """Return the text and its interpretations; blanks between cells are tried where nothing else parts them."""
    layouts = interpretations(text.data, missing)
    more: tuple[tuple[str, float], ...] = ()
    if all(layout.width == 1 for layout in layouts) and (tabbed := with_tabs(text.data)) is not None:
        parted = [layout for layout in interpretations(tabbed, missing) if layout.width > 1]
        if parted:
            text, layouts, more = Text(encoding, tabbed), parted, (("parted by blanks", _BY_BLANKS),)
    return text, [_weighed(layout, encoding, (*more, ("characters of the encoding", fit))) for layout in layouts]


def _weighed(layout: Layout, encoding: str, more: tuple[tuple[str, float], ...]) -> Layout:
    score = layout.score
    for _, weight in more:
        score *= weight
    return replace(layout, score=score, weights=(*layout.weights, *more), encoding=encoding)
