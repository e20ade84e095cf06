"""Track-test run log and setup-change analyser for straight-line race cars.

``runlog.open("marsh.duckdb")`` gives the logbook as polars frames: see ``runlog.api``.
"""

from __future__ import annotations

from typing import Any

__version__ = "0.1.0"

_FROM = {
    "open": "runlog.api",
    "Book": "runlog.api",
    **dict.fromkeys(("RunlogError", "NotFound", "UsageError"), "runlog.errors"),
}
"""where each public name is; their types stand in ``__init__.pyi``"""


def __getattr__(name: str) -> Any:
    """Load the public face when it is asked for: the command line needs none of it."""
    if name not in _FROM:
        raise AttributeError(f"module 'runlog' has no attribute {name!r}")
    import importlib

    return getattr(importlib.import_module(_FROM[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *_FROM})
