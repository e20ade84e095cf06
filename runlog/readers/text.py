"""From the bytes of a file to UTF-8 text: encodings, byte-order marks, line ends."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from typing import Final

from runlog.readers.encodings import HEAD, possible

_CONTROL: Final = re.compile(rb"[\x00-\x08\x0e-\x1b\x7f]")
# a spreadsheet's end-of-file mark and form feeds turn up in honest text; more than this share of them doesn't
_CONTROL_SHARE: Final = 0.002


@dataclass(frozen=True)
class Text:
    """Text of a file as UTF-8 without a mark, lines ended by LF or CR LF; ``encoding`` decodes the original bytes."""

    encoding: str
    data: bytes


def decoded(content: bytes, encoding: str) -> Text | None:
    """Return the file's text under an encoding; bytes that aren't in it are replaced. None when it isn't text."""
    if encoding in ("utf-8", "utf-8-sig"):
        data = content.removeprefix(codecs.BOM_UTF8)
    else:
        data = content.decode(encoding, errors="replace").encode("utf-8")
    data = data.rstrip(b"\x00\x1a")  # room that a logger set aside and didn't fill, an end-of-file mark
    if len(_CONTROL.findall(data[:HEAD])) > _CONTROL_SHARE * len(data[:HEAD]):
        return None
    if b"\r" in data[:HEAD] and b"\n" not in data[:HEAD]:
        data = data.replace(b"\r", b"\n")
    return Text(encoding, data)


def read_text(content: bytes) -> Text | None:
    """Return the file's text in the encoding that its characters fit best, or None when it isn't text.

    The encoding's name is Python's: ``utf-8``, ``utf-8-sig``, ``utf-16`` (marked), ``utf-16-le``, ``utf-16-be``,
    ``latin-1``, ``cp1252``, ``cp850``, ``mac-roman``.
    """
    fits = possible(content)
    return decoded(content, max(fits, key=lambda name: fits[name])) if fits else None
