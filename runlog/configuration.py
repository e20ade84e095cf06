"""What a shop sets once: in the environment, in a file ``runlog.toml``, or for one command by an option.

Looked for in this order, the first that says something holds: the command's option; the environment; ``runlog.toml`` in
the folder worked in; the one beside the logbook; the user's own. Each setting knows where it comes from.
"""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from runlog.errors import UsageError
from runlog.problems import Problems

if TYPE_CHECKING:
    from collections.abc import Callable

FILE: Final = "runlog.toml"


def _units(found: object) -> str:
    if not isinstance(found, str) or found.strip().lower() not in ("us", "metric"):
        raise ValueError("us or metric")
    return found.strip().lower()


def _name(found: object) -> str:
    if not isinstance(found, str) or not found.strip():
        raise ValueError("a car's name")
    return found.strip().lower()


def _path(found: object) -> str:
    if not isinstance(found, str) or not found.strip():
        raise ValueError("the path of a logbook")
    return found


def _minutes(found: object) -> float:
    try:
        minutes = float(found) if isinstance(found, str | int | float) and not isinstance(found, bool) else -1.0
    except ValueError:
        minutes = -1.0
    if not 5 <= minutes <= 600:
        raise ValueError("minutes from 5 to 600")
    return minutes


@dataclass(frozen=True)
class Key:
    """A setting: its name, how its value is read, what it is when nobody says, and what it is for."""

    name: str
    read: Callable[[object], Any]
    default: Any
    meaning: str

    @property
    def variable(self) -> str:
        """The environment variable that says it."""
        return f"RUNLOG_{self.name.upper()}"


KEYS: Final = {
    key.name: key
    for key in (
        Key("units", _units, "us", "units of the pages: us or metric"),
        Key("logbook", _path, None, "the logbook; a path in a file is taken from that file's folder"),
        Key("car", _name, None, "the car that commands mean when none is named"),
        Key("turnaround", _minutes, 45.0, "minutes from run to run that plan reckons with"),
    )
}


@dataclass(frozen=True)
class Setting:
    """A setting that holds: its value as read, and where it was said (empty: nowhere, it is the default)."""

    key: Key
    value: Any
    source: str = ""


@dataclass(frozen=True)
class File:
    """A file that was looked at: its values as read; empty where it isn't there."""

    path: Path
    whose: str
    """``this folder``, ``the logbook's folder`` or ``user``"""
    values: dict[str, Any] = field(default_factory=dict)
    exists: bool = False


@dataclass
class _Said:
    """What has been said to this process, like the environment that it stands beside."""

    options: dict[str, Setting] = field(default_factory=dict)
    here: tuple[File, ...] = ()
    beside: tuple[File, ...] = ()
    user: tuple[File, ...] = ()


_said = _Said()


def begin(folder: Path, user_file: Path | None = None) -> None:
    """Forget what was said and read the files again.

    Raises ``FileFaults`` with every fault of a file, ``UsageError`` for a variable that can't be read.
    """
    forget()
    _said.here = (_read(folder / FILE, "this folder"),)
    _said.user = () if user_file is None else (_read(user_file, "user"),)
    for key in KEYS.values():
        _environment(key)


def forget() -> None:
    """Forget what options and files said: what is set for one command holds for that command."""
    _said.options, _said.here, _said.beside, _said.user = {}, (), (), ()


def beside(logbook: Path) -> None:
    """Read the file beside the logbook too, where that is another than those read."""
    path = logbook.absolute().parent / FILE
    if all(path != other.path for other in files()):
        _said.beside = (_read(path, "the logbook's folder"),)


def say(name: str, value: object, option: str) -> None:
    """Note what an option says; ``UsageError`` when it can't be read."""
    _said.options[name] = Setting(KEYS[name], _understood(KEYS[name], value, option), option)


def files() -> tuple[File, ...]:
    """Return the files that are looked at, the first that says something goes first."""
    return (*_said.here, *_said.beside, *_said.user)


def find(name: str, *, user: bool = True) -> Setting:
    """Return a setting with where it was said; without ``user`` the user's own file is left out."""
    key = KEYS[name]
    found = _said.options.get(name) or _environment(key)
    if found is not None:
        return found
    for file in files() if user else (*_said.here, *_said.beside):
        if name in file.values:
            return Setting(key, file.values[name], str(file.path))
    return Setting(key, key.default)


def units() -> str:
    """Return ``us`` or ``metric``."""
    return str(find("units").value)


def _environment(key: Key) -> Setting | None:
    text = os.environ.get(key.variable)
    return Setting(key, _understood(key, text, key.variable), key.variable) if text else None


def _understood(key: Key, found: object, where: str) -> Any:
    try:
        return key.read(found)
    except ValueError as error:
        raise UsageError(f"{where}: found {found!r}; accepted: {error}") from None


def _read(path: Path, whose: str) -> File:
    try:
        content = path.read_bytes()
    except OSError:  # not there, or not for us to read: nothing is said
        return File(path, whose)
    problems = Problems(str(path))
    values: dict[str, Any] = {}
    try:
        found = tomllib.loads(content.decode("utf-8-sig"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        problems.add("", f"a fault in the TOML: {error}", "TOML 1.0 in UTF-8")
        found = {}
    for name, value in found.items():
        if name not in KEYS:
            problems.add(f"key {name}", "an unknown key", ", ".join(KEYS))
            continue
        try:
            values[name] = KEYS[name].read(value)
        except ValueError as error:
            problems.add(f"key {name}", repr(value)[:60], str(error))
    problems.raise_if_any()
    if "logbook" in values:
        values["logbook"] = str(path.parent / Path(values["logbook"]).expanduser())
    return File(path, whose, values, exists=True)
