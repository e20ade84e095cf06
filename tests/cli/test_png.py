"""Drawings as pictures: what is written is held against the PNG specification (ISO/IEC 15948) with zlib alone."""

from __future__ import annotations

import re
import struct
import sys
import zlib
from typing import TYPE_CHECKING

import pytest

from runlog.errors import RunlogError
from runlog.reports import picture

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Program

RUNS = ("heron/2031-04-12/5", "heron/2031-04-12/6")
SQUARES = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 10" width="20" height="10">'
    '<rect width="10" height="10" fill="#ff0000"/><rect x="10" width="10" height="10" fill="#0000ff"/>{}</svg>'
)
WORDS = '<text x="1" y="9" style="font:8px sans-serif">word</text>'


def pixels(png: bytes) -> list[list[tuple[int, ...]]]:
    """Return the rows of an 8-bit RGB or RGBA picture that isn't interlaced; chunks have to carry their right CRC."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"  # clause 5.2
    chunks: list[tuple[bytes, bytes]] = []
    at = 8
    while at < len(png):
        (length,) = struct.unpack_from(">I", png, at)
        kind, data = png[at + 4 : at + 8], png[at + 8 : at + 8 + length]
        assert struct.unpack_from(">I", png, at + 8 + length) == (zlib.crc32(kind + data),)
        chunks.append((kind, data))
        at += 12 + length
    assert (chunks[0][0], chunks[-1][0]) == (b"IHDR", b"IEND")
    width, height, depth, colour, *_, interlaced = struct.unpack(">IIBBBBB", chunks[0][1])
    assert depth == 8
    assert not interlaced
    size = {2: 3, 6: 4}[colour]
    raw = zlib.decompress(b"".join(data for kind, data in chunks if kind == b"IDAT"))
    rows, before = [], bytearray(width * size)
    for n in range(height):
        start = n * (1 + width * size)
        before = _unfiltered(raw[start], raw[start + 1 : start + 1 + width * size], before, size)
        rows.append([tuple(before[i : i + size]) for i in range(0, width * size, size)])
    return rows


def _unfiltered(kind: int, line: bytes, above: bytearray, size: int) -> bytearray:
    """Undo the filter of one row: clause 9.2."""
    made = bytearray(line)
    for i in range(len(made)):
        a, b, c = (made[i - size], above[i], above[i - size]) if i >= size else (0, above[i], 0)
        made[i] = (made[i] + (0, a, b, (a + b) // 2, _nearest(a, b, c))[kind]) & 0xFF
    return made


def _nearest(a: int, b: int, c: int) -> int:
    return min((abs(b - c), 0, a), (abs(a - c), 1, b), (abs(a + b - 2 * c), 2, c))[2]


def drawn_size(path: Path) -> tuple[float, float]:
    """Return width and height that a drawing's ``viewBox`` gives."""
    found = re.search(r'viewBox="0 0 (\d+) (\d+)"', path.read_text("utf-8"))
    assert found
    return float(found[1]), float(found[2])


def test_colours_and_places_are_those_of_the_drawing() -> None:
    pytest.importorskip("resvg_py")
    rows = pixels(picture.png_of(SQUARES.format(""), 60))
    assert (len(rows[0]), len(rows)) == (60, 30)
    assert {row[5][:3] for row in rows} == {(255, 0, 0)}
    assert {row[55][:3] for row in rows} == {(0, 0, 255)}


@pytest.mark.parametrize("command", [("compare", *RUNS), ("chassis", "heron")], ids=lambda words: words[0])
def test_picture_beside_the_drawing(
    season_copy: Program, command: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The picture has the drawing's shape and more than paper and ink; what is printed stays the same."""
    pytest.importorskip("resvg_py")
    done = season_copy(*command, "--png", "wide.png")
    assert done.code == 0, done.err
    assert struct.unpack_from(">I", (season_copy.folder / "wide.png").read_bytes(), 16) == (picture.WIDTH_PX,)
    monkeypatch.setattr(picture, "WIDTH_PX", 333)  # few enough pixels to go through one by one
    done = season_copy(*command, "--svg", "a.svg", "--png", "a.png")
    assert done.code == 0, done.err
    assert "written to a.png" in done.err
    assert done.out == season_copy(*command).out
    rows = pixels((season_copy.folder / "a.png").read_bytes())
    width, height = drawn_size(season_copy.folder / "a.svg")
    assert len(rows[0]) == 333
    assert len(rows) == pytest.approx(333 * height / width, abs=1)
    assert len({pixel[:3] for row in rows for pixel in row}) > 2
    assert {pixel[3] for row in rows for pixel in row if len(pixel) == 4} <= {255}  # paper, not see-through


def test_without_the_extra_the_error_names_it(season_copy: Program, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "resvg_py", None)
    for command in (("compare", *RUNS), ("chassis", "heron")):
        done = season_copy(*command, "--png", "a.png")
        assert done.code == 1
        assert "pip install 'runlog[png]'" in " ".join(done.err.split())
        assert not (season_copy.folder / "a.png").exists()
        assert season_copy(*command, "--svg", "a.svg").code == 0  # the drawing needs no extra


def test_a_picture_that_cannot_be_written_or_made(season_copy: Program) -> None:
    pytest.importorskip("resvg_py")
    done = season_copy("chassis", "heron", "--png", "nowhere/a.png")
    assert done.code == 1
    assert "can't be written" in done.err
    done = season_copy("compare", RUNS[0], "heron/2031-04-26/2", "--png", "none.png")
    assert done.code == 1
    assert "not every run has a trace" in done.err
    with pytest.raises(RunlogError, match="can't be rendered"):
        picture.png_of("<svg", 100)
    for width in (0, 20_001):
        with pytest.raises(ValueError, match="pixels wide"):
            picture.png_of(SQUARES, width)


def test_missing_words_are_told(season_copy: Program, monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine without fonts is one whose fonts are not read."""
    library = pytest.importorskip("resvg_py")
    assert not picture.words_are_missing(SQUARES.format(""), picture.png_of(SQUARES.format(""), 60), 60)
    bare = library.svg_to_bytes(svg_string=SQUARES.format(WORDS), width=60, skip_system_fonts=True)
    assert picture.words_are_missing(SQUARES.format(WORDS), bare, 60)
    render = library.svg_to_bytes
    monkeypatch.setattr(library, "svg_to_bytes", lambda **given: render(**{**given, "skip_system_fonts": True}))
    done = season_copy("chassis", "heron", "--png", "a.png")
    assert done.code == 0
    assert "this machine has no fonts" in " ".join(done.err.split())


def test_words_are_drawn_with_any_font() -> None:
    """Skipped where no font is installed: nothing can be drawn there."""
    pytest.importorskip("resvg_py")
    with_words = picture.png_of(SQUARES.format(WORDS), 60)
    if picture.words_are_missing(SQUARES.format(WORDS), with_words, 60):
        pytest.skip("no fonts on this machine")
    assert pixels(with_words) != pixels(picture.png_of(SQUARES.format(""), 60))
