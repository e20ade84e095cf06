"""The published schemas: as the models have them, valid JSON Schema 2020-12, and no stricter or laxer in shape."""

from __future__ import annotations

import datetime as dt
import json
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from runlog.problems import FileFaults
from runlog.readers.car import read_car
from runlog.readers.channel_map import read_channel_map
from runlog.readers.schemas import schemas, text_of
from runlog.readers.sheet import read_sheets
from runlog.readers.track import read_track

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "schemas"
DEMO = ROOT / "demo_runs"
SCHEMAS = schemas()


def plain(value: Any) -> Any:
    """Return TOML content as JSON has it: a date is its ISO text."""
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [plain(item) for item in value]
    return value.isoformat() if isinstance(value, dt.date) else value


def accepts(kind: str, text: str) -> bool:
    validator = jsonschema.Draft202012Validator(SCHEMAS[f"{kind}.schema.json"])
    return validator.is_valid(plain(tomllib.loads(text)))


def reader_accepts(kind: str, text: str) -> bool:
    content = text.encode()
    try:
        match kind:
            case "car":
                read_car(content, "x.toml")
            case "track":
                read_track(content, "x.toml")
            case "channel_map":
                read_channel_map(content, "x.toml")
            case _:
                car = read_car((DEMO / "cars" / "heron.toml").read_bytes(), "heron.toml")
                read_sheets(content, "x.toml", {"heron": car})
    except FileFaults:
        return False
    return True


@pytest.mark.parametrize("name", SCHEMAS)
def test_the_published_file_is_the_generated_one(name):
    assert (FOLDER / name).read_text("utf-8") == text_of(SCHEMAS[name]), "run python -m runlog.readers.schemas schemas"


@pytest.mark.parametrize("name", SCHEMAS)
def test_it_is_a_valid_schema_with_a_plain_name(name):
    schema = json.loads((FOLDER / name).read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["$id"] == name
    assert schema["title"]


def test_they_can_be_written_from_the_command_line(tmp_path):
    subprocess.run([sys.executable, "-m", "runlog.readers.schemas", str(tmp_path)], check=True, timeout=60)
    written = {path.name: path.read_text("utf-8") for path in tmp_path.iterdir()}
    assert written == {name: text_of(schema) for name, schema in SCHEMAS.items()}


@pytest.mark.parametrize(
    ("kind", "pattern"), [("car", "cars/*.toml"), ("track", "tracks/*.toml"), ("setup_sheet", "pits/*/*.toml")]
)
def test_the_demo_files_are_valid(kind, pattern):
    paths = list(DEMO.glob(pattern))
    assert paths
    for path in paths:
        assert accepts(kind, path.read_text("utf-8")), path.name


CAR = {
    "name": '"heron"',
    "race_weight": '"2650 lb"',
    "wheelbase": '"105 in"',
    "power": '"820 hp"',
    "tyre_circumference": '"100.5 in"',
    "final_drive": "4.1",
}


def car_text(more: str = "", **changes: str | None) -> str:
    lines = {**CAR, **changes}
    return "[car]\n" + "".join(f"{key} = {value}\n" for key, value in lines.items() if value) + more


TRACK = '[track]\nname = "lowfield"\nelevation = "34 m"\n'
LEVER = '[[car.adjustable]]\nname = "launch rpm"\n'
SHEET = 'car = "heron"\ndate = 2031-04-12\nrun = 2\n[items]\n'

GOOD = [
    ("car", car_text()),
    ("car", car_text(f"{LEVER}step = 100\nlow = 3000\nprior_mean_s = [0.0, 0.1]\nprior_sd_s = [0.1, 0.1]\n")),
    (
        "car",
        car_text('[[car.adjustable]]\nname = "strut"\nholes = [{ label = "1", x = "-2.5 in" }, { label = "2" }]\n'),
    ),
    ("car", car_text('[car.limits.oil_pressure]\nlow = "30 psi"\n')),
    ("car", car_text(race_weight='"1.2e3 kg"')),
    ("car", car_text(wheelbase='"105in"')),
    ("track", f'{TRACK}heading_deg = 0\nfinish_ft = 660\nrollout = "10 in"\n'),
    ("channel_map", ""),
    ("channel_map", '[channels]\n"A" = "throttle"\n"B" = { unit = "psi", scale = 2 }\n[time]\nrate_hz = 100\n'),
    ("setup_sheet", f'{SHEET}"launch rpm" = 4200\n"driver" = "no change"\n'),
    ("setup_sheet", 'car = "heron"\nfull = true\nnote = "x"\n[items]\n"launch rpm" = "4200 rpm"\n'),
]

BAD = [
    ("car", ""),
    ("car", "[carr]\n"),
    ("car", 'car = "heron"\n'),
    ("car", car_text(name='"Blue Heron"')),
    ("car", car_text(name=f'"{"x" * 41}"')),
    ("car", car_text(race_weight="2650")),
    ("car", car_text(race_weight='"2650"')),
    ("car", car_text(race_weight='"heavy"')),
    ("car", car_text(power=None)),
    ("car", car_text(final_drive='"4.1"')),
    ("car", car_text(final_drive="0.4")),
    ("car", car_text("colour = 1\n")),
    ("car", car_text('aspiration = "magic"\n')),
    ("car", car_text("gear_ratios = [1.8, 0]\n")),
    ("car", car_text("front_weight_pct = 0.4\n")),
    ("car", car_text('[car.limits.warp]\nlow = "1 psi"\n')),
    ("car", car_text("[car.limits.oil_pressure]\nlow = 30\n")),
    ("car", car_text(f"{LEVER}step = 0\n")),
    ("car", car_text(f'{LEVER}curved = "yes"\n')),
    ("car", car_text(f'{LEVER}cautions = "X"\n')),
    ("car", car_text(f"{LEVER}holes = [{{ label = 1 }}]\n")),
    ("car", car_text(f'{LEVER}acts = "late"\n')),
    ("track", '[track]\nname = "lowfield"\n'),
    ("track", f"{TRACK}heading_deg = 360\n"),
    ("track", f"{TRACK}finish_ft = 500\n"),
    ("track", f"{TRACK}rollout = 9\n"),
    ("channel_map", "[chanels]\n"),
    ("channel_map", '[channels]\n"A" = { scale = 0 }\n'),
    ("channel_map", "[time]\nrate_hz = -1\n"),
    ("setup_sheet", 'car = "heron"\nfull = true\n'),
    ("setup_sheet", f"{SHEET}"),
    ("setup_sheet", f"{SHEET}a = true\n"),
    ("setup_sheet", f'{SHEET}a = ""\n'),
    ("setup_sheet", f"{SHEET}a = [1]\n"),
    ("setup_sheet", SHEET.replace("run = 2", "run = 0") + "a = 1\n"),
    ("setup_sheet", SHEET.replace("run = 2", 'run = "two"') + "a = 1\n"),
    ("setup_sheet", SHEET.replace("run = 2", "colour = 2") + "a = 1\n"),
]


@pytest.mark.parametrize(("kind", "text"), GOOD)
def test_what_the_reader_accepts_the_schema_accepts(kind, text):
    assert reader_accepts(kind, text)
    assert accepts(kind, text)


@pytest.mark.parametrize(("kind", "text"), BAD)
def test_what_the_reader_refuses_for_its_shape_the_schema_refuses(kind, text):
    assert not reader_accepts(kind, text)
    assert not accepts(kind, text)
