"""Which encodings a file's bytes may be in, and how well its characters fit each."""

from __future__ import annotations

import codecs
import re
import unicodedata
from typing import Final

HEAD: Final = 65536
"""[byte] looked at for byte-order marks, zeros and control characters; even, as UTF-16 needs"""
_MARKS: Final = (
    # UTF-32's mark begins with UTF-16's, so it is looked for first
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_SINGLE: Final = {"cp1252": 1.0, "latin-1": 1.0, "cp850": 0.97, "mac-roman": 0.96}
"""encodings of one byte a character, and how usual they are against each other"""
_BEYOND: Final = re.compile(rb"[\x80-\xff]+")
_MOST_RUNS: Final = 400
_HIGH_CONTROLS: Final = re.compile(rb"[\x80-\x9f]")
_UNIT_SIGNS: Final = frozenset("°µμ²³¹±Ω·×½¼‰–—…‘’“”„«»€§")
"""characters beyond letters that tables of measurements have"""


def possible(content: bytes) -> dict[str, float]:
    """Return the encodings that a file may be in, Python's names, each with how well its characters fit it, 0 to 1.

    Empty when it isn't text. A mark at the beginning, and zeros in every second byte, are taken at their word unless
    the rest contradicts them; bytes beyond ASCII fit an encoding as far as they are letters and signs in it.
    """
    mark = next((name for bytes_, name in _MARKS if content.startswith(bytes_)), None)
    if mark in ("utf-16", "utf-32"):
        return {mark: 1.0}
    wide = _wide(content[:HEAD]) if mark is None else None
    if wide is not None:
        return {wide: 1.0}
    if b"\x00" in content[:HEAD].rstrip(b"\x00"):
        return {}
    plain = mark or "utf-8"
    body = content[len(codecs.BOM_UTF8) :] if mark else content
    if body.isascii() or _is_utf8(body):
        return {plain: 1.0}
    runs = [found[0] for _, found in zip(range(_MOST_RUNS), _BEYOND.finditer(body), strict=False)]
    whole = sum(_decodes(run) for run in runs) / len(runs)
    found = {plain: 0.1 + 0.9 * whole}
    controls = _HIGH_CONTROLS.search(body) is not None
    for name, usual in _SINGLE.items():
        # cp1252 and Latin-1 differ in 0x80–0x9F only, where Latin-1 has control codes that no export writes
        if name != ("latin-1" if controls else "cp1252"):
            # what decodes as UTF-8 is hardly anything else
            found[name] = usual * _fit(b"".join(runs), name) * (1.0 - 0.9 * whole) * (0.5 if mark else 1.0)
    return found


def _wide(head: bytes) -> str | None:
    """Tell UTF-16 without a mark: digits, commas and Latin letters have a zero in every second byte."""
    pairs = len(head) // 2
    if pairs < 2:
        return None
    low, high = head[0 : 2 * pairs : 2].count(0), head[1 : 2 * pairs : 2].count(0)
    if high > 0.7 * pairs and low == 0:
        return "utf-16-le"
    if low > 0.7 * pairs and high == 0:
        return "utf-16-be"
    return None


def _is_utf8(content: bytes) -> bool:
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for start in range(0, len(content), 1 << 20):
            decoder.decode(content[start : start + (1 << 20)])
    except UnicodeDecodeError:
        return False
    return True  # a character cut off at the very end is a truncated file, not another encoding


def _decodes(run: bytes) -> bool:
    try:
        run.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _fit(run: bytes, encoding: str) -> float:
    """Return the share of the characters that a table of measurements may hold."""
    text = run.decode(encoding, errors="replace")
    good = sum(1 for char in text if char in _UNIT_SIGNS or unicodedata.category(char) in ("Ll", "Lu", "Zs"))
    return good / len(text)
