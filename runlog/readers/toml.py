"""TOML files checked by a model: every fault at once, each with its key, what was found and what is accepted."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BaseModel, ValidationError

from runlog.problems import Problems

if TYPE_CHECKING:
    from collections.abc import Mapping

Model = TypeVar("Model", bound=BaseModel)

_PREFACE = re.compile(r"^(Value error, |Input should be |(String|List|Dictionary) should have )")
"""What the models' messages begin with, before they say what is accepted."""


Check = Callable[[dict[str, Any]], Iterable[tuple[str, object, str]]]
"""Looks at a file's content as parsed, whatever its shape; yields (key, found, accepted) for each fault."""


def read_toml(content: bytes, problems: Problems, model: type[Model], *checks: Check) -> Model | None:
    """Return the file's content as the model has it, or None when a problem was noted.

    ``checks`` look at what a model can't: it stops at the first fault of a part.
    """
    try:
        found = tomllib.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        problems.add(f"byte {error.start}", "bytes that aren't UTF-8", "a TOML file in UTF-8")
        return None
    except tomllib.TOMLDecodeError as error:
        problems.add("", f"a fault in the TOML: {error}", "TOML 1.0")
        return None
    before = len(problems.found)
    read = None
    try:
        read = model.model_validate(found)
    except ValidationError as error:
        note_faults(error, problems)
    for check in checks:
        for key, value, accepted in check(found):
            problems.add(f"key {key}", shown(value), accepted)
    return None if len(problems.found) > before else read


def read_file(content: bytes, file: str, model: type[Model], *checks: Check) -> Model:
    """Return a file's content as the model has it; ``FileFaults`` with every fault when it can't be accepted."""
    problems = Problems(file)
    found = read_toml(content, problems, model, *checks)
    problems.raise_if_any()
    if found is None:
        raise AssertionError
    return found


def note_faults(error: ValidationError, problems: Problems, lead: str = "") -> None:
    """Note every fault that a model found, each with its key; ``lead`` says in which part of the file."""
    for fault in error.errors(include_url=False):
        _note(fault, problems, lead)


def _note(fault: Mapping[str, Any], problems: Problems, lead: str) -> None:
    place = f"{lead}key {'.'.join(str(part) for part in fault['loc'])}"
    if fault["type"] == "missing":
        problems.add(place, "nothing", "a value, it can't be left out")
    elif fault["type"] == "extra_forbidden":
        problems.add(place, "an unknown key", "the keys of the published schema")
    else:
        problems.add(place, shown(fault["input"]), _PREFACE.sub("", str(fault["msg"])).replace("a valid ", "a "))


def shown(found: object) -> str:
    """Return what was found in a file as a message shows it, cut where it is long."""
    text = repr(found)
    return text if len(text) <= 60 else text[:59] + "…"
