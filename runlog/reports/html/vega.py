"""Drawing charts, and the script that draws them live: both from one general-purpose library, an optional extra.

The extra ``runlog[html]`` brings the chart grammar's own libraries with it; nothing is fetched, neither when a document
is made nor when it is read.
"""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from runlog.errors import RunlogError
from runlog.reports.html.charts import LIVE_ONLY

if TYPE_CHECKING:
    from types import ModuleType

    from runlog.reports.html.charts import Spec


def svg_of(spec: Spec) -> str:
    """Return a chart's drawing as the text of an SVG file; RunlogError when the extra isn't installed."""
    drawn: str = _library().vegalite_to_svg(json.dumps(_still(spec)), allowed_base_urls=[])
    return drawn


def _still(spec: Spec) -> Spec:
    """Return a specification without the layers that only answer a pointer."""
    kept = {name: item for name, item in spec.items() if name != "params"}
    for parts in ("layer", "vconcat"):
        if parts in kept:
            kept[parts] = [_still(part) for part in kept[parts] if part.get("description") != LIVE_ONLY]
    return kept


@cache
def script() -> str:
    """Return the script that draws a document's charts live: the chart libraries and our own few lines."""
    own = resources.files("runlog.reports.html").joinpath("templates/charts.js").read_text("utf-8")
    bundle: str = _library().javascript_bundle(own)
    # a script element ends at the first of these, wherever it stands
    return bundle.replace("</script", "<\\/script").replace("<!--", "<\\!--")


def ensure_charts() -> None:
    """Raise the RunlogError that names what to install where charts can't be drawn."""
    _library()


def _library() -> ModuleType:
    try:
        import vl_convert
    except ImportError:
        raise needs_extra() from None
    module: ModuleType = vl_convert
    return module


def needs_extra() -> RunlogError:
    """Return the error that says what to install."""
    return RunlogError("documents and charts need an optional part that isn't installed: pip install 'runlog[html]'")


def data_of(specs: dict[str, Any]) -> str:
    """Return specifications as JSON that can stand in a script element: no text in it can end the element."""
    text = json.dumps(specs, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.translate({ord(mark): f"\\u{ord(mark):04x}" for mark in "<>&\u2028\u2029"})
