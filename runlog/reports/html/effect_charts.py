"""Chart of effects with their intervals: one row for each change, its name above its bar."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.reports.amounts import change
from runlog.reports.console import clean, number
from runlog.reports.html import charts
from runlog.reports.html.charts import FIT, INK, MOSS, RUST, SOFT, Chart, Spec
from runlog.reports.words import VERDICTS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

_ROW = 40
_COLOURS = {"helped": MOSS, "hurt": RUST}


def effects_chart(effects: Sequence[Mapping[str, Any]], row_px: int = _ROW) -> Chart | None:
    """Return what each change did to the elapsed time; ``effects`` as in ``review --json``. None without any."""
    if not effects:
        return None
    rows = [_row(effect) for effect in effects]
    reach = effects[0]["to_ft"]
    return Chart(
        "effects",
        f"What each change did to the time to {reach} ft",
        " ".join(f"{row['name']}: {row['said']}." for row in rows),
        "● most likely · bar: 90 % interval · left of the line is quicker · ▼ helped · ▲ hurt · "
        "= no difference that matters · ? cannot tell yet · & cannot separate",
        bars(rows, "seconds; negative is quicker", row_px),
    )


def bars(rows: list[dict[str, Any]], title: str, row_px: int = _ROW) -> Spec:
    """Return rows of ``name``, ``mark``, ``mean``, ``low``, ``high`` and ``colour`` as bars under their names.

    Rows may have ``wide_low`` and ``wide_high``, drawn as a thin line behind.
    """
    y = {"field": "name", "type": "ordinal", "sort": None, "axis": None, "scale": {"paddingInner": 0}}
    x = {"type": "quantitative", "axis": {"title": title, "format": "+.3f", "grid": True, "tickCount": 5},
         "scale": {"padding": 4}}  # fmt: skip
    colour = {"field": "colour", "type": "nominal", "scale": None}
    tooltip = [
        {"field": "name", "title": "change"},
        {"field": "said", "title": "what it did"},
    ]
    wide = {
        "transform": [{"filter": "isValid(datum.wide_low)"}],
        "mark": {"type": "rule", "strokeWidth": 1.2, "yOffset": 9, "stroke": SOFT, "strokeDash": [2, 2]},
        "encoding": {"x": {**x, "field": "wide_low"}, "x2": {"field": "wide_high"}},
    }
    return {
        "$schema": charts.SCHEMA,
        "config": charts.config(),
        "width": FIT + charts.LEFT,
        "height": {"step": row_px},
        "data": {"values": rows},
        "encoding": {"y": y, "tooltip": tooltip},
        "layer": [
            {"mark": {"type": "rule", "stroke": INK, "strokeWidth": 1}, "encoding": {"x": {"datum": 0}, "y": None}},
            *([wide] if any(row.get("wide_low") is not None for row in rows) else []),
            {
                "mark": {"type": "bar", "height": 7, "yOffset": 9, "cornerRadius": 1},
                "encoding": {"x": {**x, "field": "low"}, "x2": {"field": "high"}, "color": colour},
            },
            {
                "mark": {"type": "point", "filled": True, "size": 55, "yOffset": 9, "fill": "#fff", "stroke": INK,
                         "strokeWidth": 1.8, "opacity": 1},
                "encoding": {"x": {**x, "field": "mean"}},
            },
            {
                "mark": {"type": "text", "align": "left", "yOffset": -7, "x": 0, "fontSize": 12},
                "encoding": {"text": {"field": "label"}},
            },
        ],
    }  # fmt: skip


def _row(effect: Mapping[str, Any]) -> dict[str, Any]:
    words, _, mark = VERDICTS[effect["verdict"]]
    if effect["note"]:
        words, mark = "held back", "?"
    name = clean(f"{effect['item']} {change(effect['from'], effect['to'], effect['unit'])}")
    mean, low, high = (number(effect[field], sign=True) for field in ("mean_s", "lo90_s", "hi90_s"))
    settled = None if effect["note"] else _COLOURS.get(effect["verdict"])
    return {
        "name": name,
        "label": f"{mark} {name}",
        "mean": round(effect["mean_s"], 4),
        "low": round(effect["lo90_s"], 4),
        "high": round(effect["hi90_s"], 4),
        "colour": settled or "#8f979d",
        "said": f"{words}, {mean} s [{low}, {high}]",
    }
