"""A drawing as a picture of pixels: the text of an SVG file rendered to PNG.

What renders is the optional extra ``runlog[png]``, a self-contained library that is imported only where it is used.

Fonts are those of the machine. The drawings ask for ``sans-serif``; where no such family is installed another one is
taken, so letters may look different from one machine to the next. On a machine without any fonts, as containers often
are, the lines are all drawn and every word is missing: ``words_are_missing`` tells.
"""

from __future__ import annotations

from runlog.errors import RunlogError

WIDTH_PX = 1600
"""of a picture that a command writes: about twice the drawing's own, sharp on paper and on dense screens"""
_MOST_PX = 20_000
"""a wider picture is a mistake, and would fill the memory"""


def png_of(svg: str, width: int) -> bytes:
    """Return the PNG file of a drawing, ``width`` pixels wide and as high as the drawing's shape makes it, on white.

    Raises RunlogError when the extra isn't installed or the text is no SVG file, ValueError for a width outside
    1 to 20 000.
    """
    return _rendered(svg, width, with_fonts=True)


def words_are_missing(svg: str, png: bytes, width: int) -> bool:
    """Tell whether ``png`` shows none of the drawing's words, for want of fonts: it is what no fonts at all make."""
    return "<text" in svg and png == _rendered(svg, width, with_fonts=False)


def _rendered(svg: str, width: int, *, with_fonts: bool) -> bytes:
    if not 1 <= width <= _MOST_PX:
        raise ValueError(f"a picture {width} pixels wide: 1 to {_MOST_PX} can be made")
    try:
        from resvg_py import svg_to_bytes
    except ImportError:
        raise RunlogError(
            "a PNG is asked for, and nothing that renders one is installed: pip install 'runlog[png]', "
            "or write the drawing with --svg"
        ) from None
    try:
        # white below: the drawing's own paper ends within the last row of pixels and leaves that half see-through
        png: bytes = svg_to_bytes(svg_string=svg, width=width, background="white", skip_system_fonts=not with_fonts)
    except ValueError as error:
        raise RunlogError(f"the drawing can't be rendered: {error}") from None
    return png
