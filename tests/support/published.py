"""What commands print, held against the published schemas. Oracle: JSON Schema 2020-12 by the jsonschema library."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator

SCHEMAS = Path(__file__).resolve().parents[2] / "schemas"


def schema(command: str) -> dict[str, Any]:
    """Return the schema of what a command prints."""
    content: dict[str, Any] = json.loads((SCHEMAS / f"{command}_output.schema.json").read_text(encoding="utf-8"))
    return content


def closed(part: Any) -> Any:
    """Return the schema with nothing allowed that it doesn't describe: readers have to take more, we print no more."""
    if isinstance(part, list):
        return [closed(item) for item in part]
    if not isinstance(part, dict):
        return part
    made = {name: closed(value) for name, value in part.items()}
    if "properties" in part and "object" in part.get("type", ""):
        made["additionalProperties"] = False
    return made


def faults(command: str, content: Any) -> list[str]:
    """Return what in a command's output its schema doesn't describe."""
    published = schema(command)
    Draft202012Validator.check_schema(published)
    errors = Draft202012Validator(closed(published)).iter_errors(content)
    return [f"{error.json_path}: {error.message[:200]}" for error in errors]


def valid(command: str, content: Any) -> Any:
    """Return a command's output once its schema describes all of it."""
    assert faults(command, content) == []
    return content
