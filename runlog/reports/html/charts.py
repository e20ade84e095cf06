"""What the charts of documents share: their grammar is Vega-Lite, written as plain mappings.

A chart is drawn twice from one specification: as a drawing that is in the document from the start, for paper and for
readers without scripts, and live by the script when it comes into view. ``FIT`` is the width of the drawing; the live
chart is made as wide as the place it stands in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from runlog.reports.shown import metric

INK, SOFT, GRID = "#1d2730", "#56616b", "#d9d5cc"
RUST, BLUE, MOSS = "#a8401f", "#1f5f8b", "#5c6b1e"
STROKES: Final = ((INK, (1, 0)), (RUST, (7, 3)), (BLUE, (2, 2)), (MOSS, (9, 3, 2, 3)))
"""(colour, dashes) of lines that have to be told apart, with or without colour"""
FIT: Final = 560
"""[px] plotting width of the drawing"""
LEFT: Final = 46
"""[px] room for the labels of a vertical axis: the same in every panel, so that panels stand under each other"""

LIVE_ONLY: Final = "answers the pointer"
"""description of a layer that a drawing on paper has no use for"""

SCHEMA: Final = "https://vega.github.io/schema/vega-lite/v6.json"
"""the grammar's version; a name, nothing is fetched from there"""

Spec = dict[str, Any]


@dataclass(frozen=True)
class Chart:
    """A chart with its words: ``words`` says what is seen, for those who can't see it and above the drawing."""

    name: str
    title: str
    words: str
    key: str
    """what the marks mean"""
    spec: Spec


def config() -> Spec:
    """Return the look of all charts."""
    font = "Seravek, 'Gill Sans Nova', 'Liberation Sans', Arial, sans-serif"
    axis = {
        "labelColor": SOFT, "titleColor": SOFT, "labelFontSize": 11, "titleFontSize": 11, "titleFontWeight": "normal",
        "domainColor": SOFT, "tickColor": SOFT, "gridColor": GRID, "gridWidth": 0.7, "labelFont": font,
        "titleFont": font,
    }  # fmt: skip
    return {
        "background": "transparent",
        "font": font,
        "view": {"stroke": None},
        "axis": axis,
        "axisY": {"minExtent": LEFT, "maxExtent": LEFT, "tickCount": 4, "domain": False, "ticks": False},
        "axisX": {"grid": False},
        "title": {"anchor": "start", "color": INK, "fontSize": 12, "fontWeight": "bold", "offset": 6, "font": font},
        "text": {"color": INK, "fontSize": 11, "font": font},
        "concat": {"spacing": 12},
    }


def stacked(panels: list[Spec], data: list[dict[str, Any]], **more: Any) -> Spec:
    """Return panels under each other, all from the same rows."""
    return {
        "$schema": SCHEMA,
        "config": config(),
        "data": {"values": data},
        **more,
        "vconcat": [{"width": FIT, **panel} for panel in panels],
    }


def number_axis(fmt: str, **more: Any) -> Spec:
    """Return a vertical axis without a title: the panel's own title says what it shows."""
    return {"title": None, "format": fmt, **more}


@dataclass(frozen=True)
class Shown:
    """How a quantity is shown: its unit, and what a value is multiplied by and then added to."""

    unit: str
    factor: float = 1.0
    shift: float = 0.0
    digits: int = 0

    def of(self, value: float | None) -> float | None:
        """Return a value in the unit shown."""
        return None if value is None else round(value * self.factor + self.shift, self.digits + 1)

    @property
    def format(self) -> str:
        """Return the format of its labels."""
        return f",.{self.digits}f"


def speed_mph() -> Shown:
    """Return how speeds are shown that are held in mph."""
    return Shown("km/h", 1.609344) if metric() else Shown("mph")


def altitude_ft() -> Shown:
    """Return how altitudes are shown that are held in feet."""
    return Shown("m", 0.3048) if metric() else Shown("ft")


def temperature_c() -> Shown:
    """Return how temperatures are shown that are held in °C."""
    return Shown("°C", digits=1) if metric() else Shown("°F", 1.8, 32.0)


def pressure_hpa() -> Shown:
    """Return how air pressures are shown that are held in hPa."""
    return Shown("hPa", digits=1) if metric() else Shown("inHg", 1 / 33.8638866667, digits=2)


def wind_m_s() -> Shown:
    """Return how winds are shown that are held in m/s."""
    return Shown("m/s", digits=1) if metric() else Shown("mph", 1 / 0.44704, digits=1)
