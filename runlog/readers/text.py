"""From the bytes of a file to UTF-8 text: encodings, byte-order marks, line ends."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from typing import Final

_HEAD: Final = 65536
_MARKS: Final = (
    # UTF-32's mark begins with UTF-16's, so it is looked for first
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_CONTROL: Final = re.compile(rb"[\x00-\x08\x0e-\x1b\x7f]")
# a spreadsheet's end-of-file mark and form feeds turn up in honest text; more than this share of them doesn't
_CONTROL_SHARE: Final = 0.002


@dataclass(frozen=True)
class Text:
    """Text of a file as UTF-8 without a mark, lines ended by LF or CR LF; ``encoding`` decodes the original bytes."""

    encoding: str
    data: bytes


def read_text(content: bytes) -> Text | None:
    """Return the file's text, or None when it isn't text.

    The encoding's name is Python's, and decodes the file as it is: ``utf-8``, ``utf-8-sig``, ``utf-16`` (marked),
    ``utf-16-le``, ``utf-16-be``, ``latin-1``, ``cp1252``.
    """
    encoding = next((name for mark, name in _MARKS if content.startswith(mark)), None) or _unmarked(content)
    if encoding is None:
        return None
    if encoding in ("utf-8", "utf-8-sig"):
        data = content.removeprefix(codecs.BOM_UTF8)
    else:
        data = content.decode(encoding, errors="replace").encode("utf-8")
    data = data.rstrip(b"\x00")  # room that a logger set aside and didn't fill
    if len(_CONTROL.findall(data[:_HEAD])) > _CONTROL_SHARE * len(data[:_HEAD]):
        return None
    if b"\r" in data[:_HEAD] and b"\n" not in data[:_HEAD]:
        data = data.replace(b"\r", b"\n")
    return Text(encoding, data)


def _unmarked(content: bytes) -> str | None:
    wide = _wide(content[:_HEAD])
    if wide is not None:
        return wide
    if b"\x00" in content[:_HEAD].rstrip(b"\x00"):
        return None
    if content.isascii() or _is_utf8(content):
        return "utf-8"
    # cp1252 and Latin-1 differ in 0x80–0x9F only, where Latin-1 has control codes that no export writes
    return "cp1252" if re.search(rb"[\x80-\x9f]", content) else "latin-1"


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
