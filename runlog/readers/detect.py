"""Telling what a file is from what is in it."""

from __future__ import annotations

import tomllib

from runlog.problems import FileFaults
from runlog.readers import packed
from runlog.readers.air import is_air_header
from runlog.readers.crew import is_crew
from runlog.readers.sheet import is_sheet_header
from runlog.readers.slip import is_slip_header
from runlog.readers.table import header_of

KINDS = ("track", "car", "map", "air", "sheet", "slips", "crew", "logger")
"""Every kind of file, in the order in which they are read: later ones need what earlier ones told."""

SUFFIXES = (
    ".toml", ".csv", ".tsv", ".txt", ".log", ".dat", ".asc", ".lvm", ".parquet", ".mf4", ".gz", ".zst", ".zip",
    ".xlsx", ".xlsm",
    ".json", ".jsonl",
)  # fmt: skip
"""Endings that are looked at in a folder; a file named outright may have any."""

_HEAD = 1 << 16
"""[bytes] of a packed table that are looked at"""
_RECORDINGS = (b"PAR1", b"MDF     ")
"""how Parquet and ASAM MDF files begin"""
_TABLES = {"items": "sheet", "car": "car", "track": "track", "channels": "map", "time": "map"}


def kind_of(content: bytes, name: str) -> str | None:
    """Return the kind of a file, or None when it is nothing that runlog reads.

    A TOML file that can't be parsed, or has none of the known tables, counts as the kind its name suggests, so that
    its reader can say what is wrong; a broken one that suggests none as a car file. Compressed files count as what is
    in them; one that can't be unpacked as a logger file, whose reader says why.
    """
    if packed.form_of(content):
        try:
            opened = packed.unpack(content, name, _HEAD)
            if opened.name.lower().endswith(".toml"):
                opened = packed.unpack(content, name)
        except FileFaults:
            return "logger"
        content, name = opened.content, opened.name
    if name.lower().endswith(".toml"):
        suggested = next((kind for kind in ("track", "sheet", "map", "car") if kind in name.lower()), None)
        try:
            tables = tomllib.loads(content.decode("utf-8-sig"))
        except (UnicodeDecodeError, tomllib.TOMLDecodeError):
            return suggested or "car"
        return next((kind for table, kind in _TABLES.items() if isinstance(tables.get(table), dict)), suggested)
    if content.startswith(_RECORDINGS):
        return "logger"
    if is_crew(content):
        return "crew"
    header = header_of(content)
    if is_sheet_header(header):
        return "sheet"
    if is_slip_header(header):
        return "slips"
    if is_air_header(header):
        return "air"
    return "logger"
