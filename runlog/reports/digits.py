"""Figures three lines high, to be read from a step away and in sunlight."""

from __future__ import annotations

from typing import Final

_PIXELS: Final = {
    "0": "111 101 101 101 111",
    "1": "010 110 010 010 111",
    "2": "111 001 111 100 111",
    "3": "111 001 111 001 111",
    "4": "101 101 111 001 001",
    "5": "111 100 111 001 111",
    "6": "111 100 111 101 111",
    "7": "111 001 001 001 001",
    "8": "111 101 111 101 111",
    "9": "111 101 111 001 111",
    "-": "000 000 111 000 000",
    ".": "0 0 0 0 1",
}
"""rows of each figure from the top"""
_BLOCKS: Final = {"00": " ", "10": "▀", "01": "▄", "11": "█"}
"""upper and lower half of a character cell"""


def tall(text: str) -> tuple[str, str, str]:
    """Return a number as three lines; KeyError for what isn't a digit, a point or a minus."""
    rows = [[*_PIXELS[char].split(), "0" * len(_PIXELS[char].split()[0])] for char in text]
    lines = (
        " ".join(
            "".join(_BLOCKS[high + low] for high, low in zip(figure[top], figure[top + 1], strict=True))
            for figure in rows
        )
        for top in (0, 2, 4)
    )
    first, second, third = lines
    return first, second, third
