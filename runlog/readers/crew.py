"""What the crew says, kept as JSON: one object, a list of them, or one a line; ``what`` tells the kind of each."""

from __future__ import annotations

import codecs
import hashlib
import json
from typing import TYPE_CHECKING, Annotated, Any, Final

from pydantic import Field, RootModel, ValidationError

from runlog.problems import Problems
from runlog.readers.crew_words import (
    AnswerModel,
    CheckModel,
    CombinationModel,
    CrewModel,
    ItemClosedModel,
    ItemModel,
    SettingReleasedModel,
    SignOffModel,
    StartAgainModel,
)
from runlog.readers.record_words import DriverReportModel, StartRecordModel
from runlog.readers.toml import note_faults, shown
from runlog.records import CrewFact

if TYPE_CHECKING:
    from collections.abc import Iterator

Said = (
    ItemModel
    | ItemClosedModel
    | CheckModel
    | SignOffModel
    | StartAgainModel
    | SettingReleasedModel
    | CombinationModel
    | AnswerModel
    | DriverReportModel
    | StartRecordModel
)  # fmt: skip
MODELS: Final[dict[str, type[CrewModel]]] = {
    "item": ItemModel,
    "item_closed": ItemClosedModel,
    "check": CheckModel,
    "sign_off": SignOffModel,
    "start_again": StartAgainModel,
    "setting_released": SettingReleasedModel,
    "combination": CombinationModel,
    "answer": AnswerModel,
    "driver_report": DriverReportModel,
    "start_record": StartRecordModel,
}
_COMMON: Final = set(CrewModel.model_fields)
_IDENTITY: Final = 12
_LARGEST: Final = 16 << 20
"""[bytes] more than any crew says; a larger file is not even looked at"""


class CrewFileModel(
    RootModel[Annotated[Said, Field(discriminator="what")] | list[Annotated[Said, Field(discriminator="what")]]]
):
    """What the crew said: one thing, or a list. A file with one object a line is read as well."""


def is_crew(content: bytes) -> bool:
    """Tell whether a file is JSON that says something of a car."""
    if len(content) > _LARGEST or content.removeprefix(codecs.BOM_UTF8).lstrip()[:1] not in (b"{", b"["):
        return False
    try:
        first = next(_objects(content.decode("utf-8-sig")), None)
    except ValueError:
        return False
    return isinstance(first, dict) and "what" in first


def read_crew(content: bytes, file: str) -> tuple[CrewFact, ...]:
    """Return everything said in a file; ``FileFaults`` with every fault when any of it can't be accepted."""
    problems = Problems(file)
    found: list[CrewFact] = []
    try:
        objects = list(_objects(content.decode("utf-8-sig")))
    except UnicodeDecodeError as error:
        problems.add(f"byte {error.start}", "bytes that aren't UTF-8", "a JSON file in UTF-8")
    except ValueError as error:
        problems.add("", f"a fault in the JSON: {error}", "JSON (RFC 8259): an object, a list of them, or one a line")
    else:
        if not objects:
            problems.add("", "nothing", f"objects with a key what: {', '.join(MODELS)}")
        for n, item in enumerate(objects, 1):
            fact = _read(item, f"entry {n}, ", problems)
            if fact is not None:
                found.append(fact)
    problems.raise_if_any()
    return tuple(found)


def write_crew(*said: dict[str, Any]) -> bytes:
    """Return the text that is kept as the original of what was said; None is left out."""
    lines = (
        json.dumps({key: value for key, value in item.items() if value is not None}, ensure_ascii=False)
        for item in said
    )
    return "".join(f"{line}\n" for line in lines).encode()


def _objects(text: str) -> Iterator[Any]:
    """Yield the objects of a JSON text, whichever way it holds several; ValueError where it is broken."""
    decoder = json.JSONDecoder(parse_constant=_no_constant)
    try:
        if text.lstrip().startswith("["):
            yield from decoder.decode(text)
            return
        place = _skip(text, 0)
        while place < len(text):
            item, place = decoder.raw_decode(text, place)
            yield item
            place = _skip(text, place)
    except RecursionError:
        raise ValueError("nested too deeply") from None


def _no_constant(text: str) -> float:
    raise ValueError(f"{text} is no number of JSON")


def _skip(text: str, place: int) -> int:
    while place < len(text) and text[place] in " \t\r\n":
        place += 1
    return place


def _read(item: Any, lead: str, problems: Problems) -> CrewFact | None:
    what = item.get("what") if isinstance(item, dict) else None
    model = MODELS.get(what) if isinstance(what, str) else None
    if model is None:
        found = shown(what if isinstance(item, dict) else item)
        problems.add(f"{lead}key what", found, f"one of {', '.join(MODELS)}")
        return None
    try:
        return _fact(model.model_validate(item))
    except ValidationError as error:
        note_faults(error, problems, lead)
        return None


def _fact(said: CrewModel) -> CrewFact:
    # defaults are left out, so that a model may gain a field without changing what was said before
    told = {**said.model_dump(mode="json", exclude_defaults=True, exclude_none=True), "what": said.what}
    canonical = json.dumps(told, sort_keys=True, ensure_ascii=False)
    identity = hashlib.sha256(canonical.encode()).hexdigest()[:_IDENTITY]
    content = said.model_dump(mode="json", exclude=_COMMON)
    return CrewFact(identity, said.what, said.car, said.date, said.run, said.at, said.by or "", content)
