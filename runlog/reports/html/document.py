"""A document from a template: style and script inlined, a policy that lets nothing else in or out."""

from __future__ import annotations

import base64
import hashlib
import re
from importlib import resources
from typing import TYPE_CHECKING, Any, Final

from runlog.reports import amounts
from runlog.reports.console import NOTHING, clean, number
from runlog.reports.html.vega import data_of, ensure_charts, needs_extra, script, svg_of
from runlog.reports.words import VERDICTS, alarm_words
from runlog.results import ASSUMED

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from jinja2 import Environment

    from runlog.reports.html.charts import Chart

_FILES: Final = "runlog.reports.html"


def render(template: str, content: Mapping[str, Any], charts: Sequence[Chart | None]) -> str:
    """Return a document as one self-contained HTML file.

    ``content`` is plain values, escaped wherever the template shows them; ``charts`` stand in it by their names.
    RunlogError when the extra isn't installed.
    """
    shown = [chart for chart in charts if chart is not None]
    code = script() if shown else ""
    page = _environment().get_template(template)
    made: str = page.render(
        content,
        charts={chart.name: {"chart": chart, "picture": picture(svg_of(chart.spec))} for chart in shown},
        data=data_of({chart.name: chart.spec for chart in shown}),
        style=_text("templates/style.css"),
        script=code,
        policy=_policy(code),
    )
    return made


def ensure_tools() -> None:
    """Raise the RunlogError that names what to install where a document can't be made; before any work is done."""
    _environment()
    ensure_charts()


def _policy(code: str) -> str:
    """Return the content security policy: no network at all, and no script but ours, known by its hash."""
    digest = base64.b64encode(hashlib.sha256(code.encode()).digest()).decode()
    allowed = f"'sha256-{digest}'" if code else "'none'"
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def picture(svg: str) -> dict[str, Any]:
    """Return a drawing as the address of a picture, which runs nothing that stands in it, and its size."""
    size = re.search(r'width="([\d.]+)" height="([\d.]+)"', svg)
    width, height = (round(float(part)) for part in size.groups()) if size else (640, 400)
    coded = base64.b64encode(svg.encode()).decode()
    return {"source": f"data:image/svg+xml;base64,{coded}", "width": width, "height": height}


def _text(path: str) -> str:
    return resources.files(_FILES).joinpath(path).read_text("utf-8")


def _environment() -> Environment:
    try:
        from jinja2 import Environment, PackageLoader, StrictUndefined
        from markupsafe import Markup
    except ImportError:
        raise needs_extra() from None
    made = Environment(
        loader=PackageLoader(_FILES, "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda item: NOTHING if item is None else item if isinstance(item, Markup) else _harmless(item),
    )
    made.globals |= {"moved": amounts.change, "amount": amounts.amount, "setting": amounts.setting}
    made.filters |= {"prose": amounts.prose, "s": number, "signed": _signed, "words": _verdict, "mark": _mark,
                     "percent": _percent, "alarm": alarm_words, "channel": _channel, "inline": Markup}  # fmt: skip
    return made


def _harmless(item: Any) -> Any:
    """Return text with control characters made visible; what isn't text stays."""
    return "\n".join(map(clean, item.split("\n"))) if type(item) is str else item


def _signed(item: float | None, digits: int = 3) -> str:
    """Return a number with its sign, a true minus, and no sign where it rounds to nothing."""
    if item is not None and abs(item) < 0.5 * 10**-digits:
        return number(0.0, digits)
    return number(item, digits, sign=True).replace("-", "−")


def _verdict(effect: Mapping[str, Any]) -> str:
    if effect["verdict"] == "no_difference" and effect.get("share_learned", 1.0) < ASSUMED:
        return "no difference, as was assumed"
    return "held back" if _held(effect) else VERDICTS[effect["verdict"]][0]


def _mark(effect: Mapping[str, Any]) -> str:
    return "?" if _held(effect) else VERDICTS[effect["verdict"]][2]


def _held(effect: Mapping[str, Any]) -> bool:
    """Tell whether runs that were lost at a setting hold a verdict back."""
    return bool(effect.get("note") or (effect.get("held_back") and effect["verdict"] == "cannot_tell"))


def _percent(item: float) -> str:
    return "under 1 %" if item < 0.01 else "over 99 %" if item > 0.99 else f"{100 * item:.0f} %"


def _channel(name: str) -> str:
    return name.replace("_", " ")
