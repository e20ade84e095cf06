"""The published schemas of the TOML files that people write, generated from the models that read them.

``python -m runlog.readers.schemas DIR`` writes them. They are JSON Schema 2020-12; a date in a TOML file counts as its
ISO text. A reader checks more than a schema can say: units that fit, names that are known, values that go together.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from runlog.readers.car import CarFileModel
from runlog.readers.channel_map import ChannelMapModel
from runlog.readers.crew import CrewFileModel
from runlog.readers.sheet import SheetFileModel
from runlog.readers.track import TrackFileModel

if TYPE_CHECKING:
    from pydantic import BaseModel

_MODELS: Final[dict[str, tuple[str, type[BaseModel]]]] = {
    "car": ("Car file", CarFileModel),
    "track": ("Track file", TrackFileModel),
    "channel_map": ("Channel map", ChannelMapModel),
    "crew": ("What the crew says", CrewFileModel),
    "setup_sheet": ("Setup sheet", SheetFileModel),
}


def schemas() -> dict[str, dict[str, Any]]:
    """Return every published schema by the name of its file."""
    return {f"{name}.schema.json": _schema(name, title, model) for name, (title, model) in _MODELS.items()}


def _schema(name: str, title: str, model: type[BaseModel]) -> dict[str, Any]:
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"{name}.schema.json",
        "title": title,
    }
    return {**head, **{key: value for key, value in model.model_json_schema().items() if key not in head}}


def text_of(schema: dict[str, Any]) -> str:
    """Return a schema as its file has it."""
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def write(folder: Path) -> None:
    """Write every schema into a folder."""
    for name, schema in schemas().items():
        (folder / name).write_text(text_of(schema), "utf-8")


if __name__ == "__main__":
    write(Path(sys.argv[1]))
