"""What the commands print for machines is what the published schemas describe, over the whole demo season.

Oracle: JSON Schema 2020-12 as implemented by the jsonschema library.
"""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from jsonschema import Draft202012Validator
from published import faults, schema

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conftest import Program, Season

COMMANDS = ("answer", "import", "parts", "show", "runs", "compare", "effects", "air", "config", "kit")
CARS = ("curlew", "dunlin", "heron", "plover", "wigeon")


@pytest.mark.parametrize("command", COMMANDS)
def test_schema_is_valid_and_named_plainly(command: str) -> None:
    content = schema(command)
    Draft202012Validator.check_schema(content)
    assert content["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert content["$id"] == f"{command}_output.schema.json"


@pytest.mark.parametrize("command", COMMANDS)
def test_schema_requires_and_explains_every_key(command: str) -> None:
    """Missing values are null, never absent keys."""

    def objects(part: Any) -> Iterator[dict[str, Any]]:
        for value in part.values() if isinstance(part, dict) else part if isinstance(part, list) else ():
            yield from objects(value)
        if isinstance(part, dict) and isinstance(part.get("properties"), dict) and "type" in part:
            yield part

    found = list(objects(schema(command)))
    assert found
    for part in found:
        assert sorted(part["required"]) == sorted(part["properties"])
        assert all("$ref" in item or item.get("description") for item in part["properties"].values())


@pytest.mark.slow
def test_every_run_page_of_the_season(season: Season) -> None:
    keys = [run["key"] for run in season.json("runs")]
    assert len(keys) == 119
    wrong = {key: found for key in keys if (found := faults("show", season.json("show", key)))}
    assert wrong == {}


def test_where_figures_come_from(season: Season) -> None:
    for key in ("heron/2031-04-12/1", "heron/2031-04-12/9", "curlew/2031-05-24/6"):
        assert faults("show", season.json("show", key, "--explain")) == []


def test_settings(season: Season) -> None:
    assert faults("config", season.json("config")) == []


def test_list_of_runs(season: Season) -> None:
    assert faults("runs", season.json("runs")) == []
    assert faults("runs", season.json("runs", "--car", "heron", "--day", "2031-04-12")) == []


@pytest.mark.parametrize("car", CARS)
def test_effects_of_every_car(season: Season, car: str) -> None:
    page = season.json("effects", "--car", car)
    assert faults("effects", page) == []
    # every adjustable of the car file on every increment and on the elapsed time
    spans = [(0, 60), (60, 330), (330, 660), (660, 1000), (1000, 1320)]
    for name in {row["adjustable"] for row in page["effects"]}:
        found = [(row["from_ft"], row["to_ft"]) for row in page["effects"] if row["adjustable"] == name]
        assert set(spans) <= set(found), name
        assert {(0, 660), (0, 1320)} & set(found), name
        assert len(found) == len(set(found)), name


@pytest.mark.parametrize(
    "runs",
    [
        ("heron/2031-04-12/5", "heron/2031-04-12/7"),
        ("heron/2031-04-12/1", "heron/2031-04-12/3", "curlew/2031-05-24/6", "wigeon/2031-07-06/7"),
    ],
)
def test_comparison(season: Season, runs: tuple[str, ...]) -> None:
    assert faults("compare", season.json("compare", *runs)) == []


@pytest.mark.parametrize(
    "options",
    [
        ("--pressure", "29.40inHg"),
        ("--altimeter", "29.92inHg", "--elevation", "640m"),
        ("--pressure", "29.92inHg", "--elevation", "640m", "--wind", "8mph", "--wind-from", "200", "--heading", "70"),
        ("--pressure", "995hPa", "--track-temperature", "110F"),
    ],
)
def test_air(season: Season, options: tuple[str, ...]) -> None:
    assert faults("air", season.json("air", "--temperature", "90F", "--humidity", "60", *options)) == []


@pytest.mark.parametrize(
    "options",
    [
        (),
        *(("--car", car) for car in CARS),
        ("--day", "2031-04-12"),
        ("--temperature", "60F", "--wet-bulb", "52F", "--pressure", "29.4inHg", "--car", "heron", "--wind", "0mph"),
    ],
)
def test_air_beside_the_last_run(season: Season, options: tuple[str, ...]) -> None:
    page = season.json("air", *options)
    assert faults("air", page) == []
    assert page["against"] is not None


def test_import_of_every_file_and_of_refused_ones(runlog: Program, demo_folder: Path) -> None:
    runlog("new", "empty.duckdb")
    parts = [demo_folder / part for part in ("tracks", "cars", "sheets", "pits")]
    page = runlog("import", *parts, "--dry-run", "--json").json()
    assert len(page["files"]) == 86
    assert faults("import", page) == []
    logs = [file for file in page["files"] if file["kind"] == "logger"]
    assert len(logs) == 16
    assert all(file["time"] == file["times"][0] for file in logs)
    runlog.write("bad/noise.csv", b"\x00\x01\x02\xff" * 100)
    runlog.write("bad/slips.csv", "run,t60_s\n1,abc\n")
    refused = runlog("import", "bad", "--json")
    assert refused.code == 1
    page = json.loads(refused.out)
    assert page["refused"] == 2
    assert faults("import", page) == []


# The schemas must be able to say no: a sound sample made by hand, then one thing wrong with it at a time.

RUN = {
    "key": "egret/2032-03-01/2", "car": "egret", "date": "2032-03-01", "time": None, "track": None, "number": 2,
    "lane": None, "purpose": None, "clean": True, "spoiled_reason": None, "spoiled_class": None,
    "valid_to_ft": 60, "note": None,
}  # fmt: skip
AIR = {
    "temperature_c": 20.0, "relative_humidity_pct": 50.0, "station_pressure_hpa": 1013.25, "density_kg_m3": 1.1993,
    "density_ratio": 0.979, "density_altitude_ft": 719.0, "wind_along_track_m_s": None, "track_temperature_c": None,
    "source": "typed",
}  # fmt: skip
EFFECT = {
    "adjustable": "launch rpm", "step": 200, "unit": "rpm", "from_ft": 0, "to_ft": 60, "mean_s": -0.01,
    "lo50_s": -0.02, "hi50_s": 0.0, "lo90_s": -0.03, "hi90_s": 0.01, "probability_helps": 0.8,
    "verdict": "cannot_tell", "inseparable_from": [], "runs_needed": 6, "baseline": 4000, "share_learned": 0.4,
    "prior_origin": "default", "together": [], "together_mean_s": None, "together_lo90_s": None,
    "together_hi90_s": None, "beyond_tried": False, "confounded_with_day": False, "runs_each_side": [3, 2],
    "cautions": [],
    "change_made": {
        "from": 4000, "to": 4200, "mean_s": -0.01, "lo90_s": -0.03, "hi90_s": 0.01, "probability_helps": 0.8,
        "verdict": "cannot_tell", "note": "", "held_back": None,
    },
    "note": "", "through": [{"quantity": "anti-squat", "amount": 12.5, "unit": "%"}], "geometry": None,
}  # fmt: skip
BEND = {"curvature_mean_s": 0.0, "curvature_sd_s": 0.0025}
SPANS = [(0, 60), (60, 330), (330, 660), (660, 1000), (1000, 1320)]
SPLIT = {"measured_s": 1.4, "corrected_s": None, "counts": True}
UNKNOWN_SPLIT = dict.fromkeys(("trace_s", "trace_sd_s", "expected_s", "expected_sd_s"))
UNKNOWN_INCREMENT = dict.fromkeys(("measured_s", "corrected_s", "previous_corrected_s", "best_corrected_s"))
SAMPLES: dict[str, Any] = {
    "air": {
        **AIR, "dry_air_pressure_hpa": 1001.6, "pressure_altitude_ft": 0.0, "water_content_g_kg": 7.3,
        "reference": "standard air", "warnings": [], "dew_point_c": 9.27, "wet_bulb_c": None,
        "vapour_pressure_hpa": 11.74, "virtual_temperature_c": 21.3, "water_content_gr_lb": 51.0, "elevation_m": None,
        "altimeter_setting_hpa": None, "track": None, "track_assumed": False, "day": None, "time": None,
        "series": None, "runs": None, "against": None,
    },
    "kit": {"files": [{"path": "pits/air.csv", "title": "air"}]},
    "config": {
        "settings": [
            {"key": "units", "value": None, "source": None, "variable": "RUNLOG_UNITS", "meaning": "units of the pages"}
        ],
        "logbook_problem": None,
        "files": [{"path": "runlog.toml", "whose": "user", "exists": False}],
    },
    "runs": [
        {
            **RUN,
            **dict.fromkeys(
                ["reaction_s", *(f"{kind}{name}" for kind in ("", "corrected_") for name in (
                    "t60_s", "t330_s", "t660_s", "v660_mph", "t1000_s", "t1320_s", "v1320_mph"))]
            ),
            "t60_s": 1.4,
            "coasted_ft": [],
        }
    ],
    "effects": {
        "car": "egret", "runs_used": 5, "days": 1, "runs_left_out": [{"key": "egret/2032-03-01/1", "why": "no slip"}],
        "suspects": [], "priors_too_narrow": False, "reference": "standard air", "next": [],
        "next_held": [], "effects": [EFFECT],
        "repeatability": [
            {"from_ft": a, "to_ft": b, "sd_s": 0.01, "lo90_s": 0.005, "hi90_s": 0.02, "measured": True}
            for a, b in SPANS
        ],
        "day": None,
        "priors": [
            {
                "adjustable": "launch rpm", "step": 200, "unit": "rpm", "curved": True, "origin": "default",
                "increments": [
                    {"from_ft": a, "to_ft": b, "mean_s": 0.0, "sd_s": 0.01, **BEND}
                    for a, b in SPANS
                ],
                "through": [{"quantity": "anti-squat", "amount": 12.5, "unit": "%", "origin": "fleet of 2 cars"}],
            }
        ],
        "shared": [],
        "on_the_clock": [
            {
                "adjustable": "front tyre pressure", "from": 32, "to": 36, "slip_s": -0.02, "ground_s": 0.001,
                "ground_sd_s": 0.004, "text": "gains on the clock",
            }
        ],
        "spoiled_runs": {"car": 1, "driver": 0, "track": 0, "timing": 0, "not_told": 0},
        "lost_runs": [
            {
                "adjustable": "launch rpm", "unit": "rpm",
                "settings": [{"setting": 4000, "runs": 3, "spoiled": 1, "rate": 0.15, "lo90": 0.02, "hi90": 0.37}],
            }
        ],
    },
    "show": {
        "run": RUN, "air": AIR, "reference": "standard air", "caveats": [],
        "splits": [{"distance_ft": feet, **SPLIT, **UNKNOWN_SPLIT} for _, feet in SPANS],
        "increments": [{"from_ft": a, "to_ft": b, **UNKNOWN_INCREMENT} for a, b in SPANS],
        "speeds": [
            {"distance_ft": feet, "measured_mph": None, "corrected_mph": None, "counts": False} for feet in (660, 1320)
        ],
        "trace": None, "changes": [{"item": "launch rpm", "from": None, "to": "4200", "unit": "rpm"}],
        "verdicts": [], "on_the_clock": [], "off_plan": [], "questions": [], "asked": [],
        "start_record": None, "driver_report": None, "parts": [{"part": "engine", "name": "No. 1"}],
        "open_items": [], "clearance": None, "plan": None,
        "cautions": ["mind"],
        "explanation": [{"figure": "x", "value": "1", "origin": "a slip", "formula": "as printed", "source": "it"}],
    },
    "import": {
        "files": [
            {
                "path": "a.csv", "kind": "logger", "stored": True, "unchanged": False, "run": "egret/2032-03-01/2",
                "error": None, "encoding": "utf-8", "delimiter": ",", "decimal": ".", "header_line": 1,
                "first_data_line": 2, "rows": 10,
                "times": [{"column": "Time", "unit": "s", "start_s": 0.0, "end_s": 0.9, "rate_hz": 10.0}],
                "time": {"column": "Time", "unit": "s", "start_s": 0.0, "end_s": 0.9, "rate_hz": 10.0},
                "channels": [{"name": "x", "canonical": None, "unit": "", "samples": 10, "confidence": 0.0}],
                "parts": [], "explanation": None, "reread": [], "warnings": [],
            }
        ],
        "stored": 1, "unchanged": 0, "refused": 0,
    },
}  # fmt: skip
SAMPLES["parts"] = {
    "car": "egret", "runs": 3,
    "parts": [
        {
            "part": "engine", "name": "No. 2", "in_car": True, "since": "egret/2032-03-01/2", "runs": 2, "long_runs": 1,
            "runs_before": 0,
        }
    ],
}  # fmt: skip
SAMPLES["answer"] = {
    "open": [
        {
            "run": "egret/2032-03-01/2", "id": "lift-a1b2c3", "text": "did the driver lift?", "evidence": ["so"],
            "answers": [{"key": "y", "text": "yes"}], "whole_day": False,
        }
    ],
    "answered": [
        {
            "run": "egret/2032-03-01", "id": "pressure-station", "text": "which?", "key": "a", "answer": "altimeter",
            "at": "2032-03-01T10:00", "by": None,
        }
    ],
}  # fmt: skip
SAMPLES["compare"] = {
    "reference": "standard air",
    "runs": [
        {
            "run": RUN,
            "air": None,
            "splits": [
                {"distance_ft": feet, "measured_s": None, "corrected_s": None, "difference_s": None}
                for _, feet in SPANS
            ],
            "increments": [
                {"from_ft": a, "to_ft": b, "measured_s": None, "corrected_s": None, "difference_s": None}
                for a, b in SPANS
            ],
            "speeds": SAMPLES["show"]["speeds"],
            "trace": None,
        }
    ]
    * 2,
    "along_track": {
        "station_ft": [0, 60],
        "runs": [
            {
                "key": "egret/2032-03-01/2",
                "time_s": [0.0, 1.4],
                "speed_mph": [8.0, None],
                "difference_s": [0.0, None],
                "lost_s": [0.0, None],
            }
        ]
        * 2,
    },
    "setup": [{"item": "launch rpm", "unit": "rpm", "values": ["4000", None]}],
}


@pytest.mark.parametrize("command", COMMANDS)
def test_sound_sample_is_accepted(command: str) -> None:
    assert faults(command, SAMPLES[command]) == []


def places(part: Any, way: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the way to every key in a sample."""
    for name, value in part.items() if isinstance(part, dict) else enumerate(part) if isinstance(part, list) else ():
        if isinstance(part, dict):
            yield (*way, name)
        yield from places(value, (*way, name))


def changed(sample: Any, way: tuple[Any, ...], value: Any = ...) -> Any:
    """Return a copy with the value at a place replaced, or the key dropped."""
    made = copy.deepcopy(sample)
    part = made
    for step in way[:-1]:
        part = part[step]
    if value is ...:
        del part[way[-1]]
    else:
        part[way[-1]] = value
    return made


@pytest.mark.parametrize("command", COMMANDS)
def test_a_missing_key_is_refused_wherever_it_is(command: str) -> None:
    ways = list(places(SAMPLES[command]))
    assert ways
    assert [way for way in ways if not faults(command, changed(SAMPLES[command], way))] == []


@pytest.mark.parametrize("command", COMMANDS)
def test_a_wrong_type_is_refused_wherever_it_is(command: str) -> None:
    ways = list(places(SAMPLES[command]))
    # an object in a list is nothing that any key may hold
    assert [way for way in ways if not faults(command, changed(SAMPLES[command], way, [[{}]]))] == []


@pytest.mark.parametrize(
    ("command", "way", "value"),
    [
        ("effects", ("effects", 0, "verdict"), "better"),
        ("effects", ("effects", 0, "change_made", "verdict"), "worse"),
        ("effects", ("effects", 0, "probability_helps"), 80),
        ("effects", ("effects", 0, "mean_s"), None),
        ("effects", ("effects", 0, "mean_s"), "-0.01"),
        ("show", ("run", "key"), "egret 2032-03-01 2"),
        ("show", ("splits", 1, "distance_ft"), 300),
        ("show", ("splits",), []),
        ("show", ("increments", 0, "to_ft"), 330),
        ("show", ("cautions",), []),
        ("show", ("run", "clean"), None),
        ("runs", (0, "t60_s"), "1.4"),
        ("runs", (0, "t60_s"), -1.4),
        ("runs", (0, "date"), "1 March"),
        ("compare", ("runs",), []),
        ("air", ("relative_humidity_pct",), 130),
        ("air", ("density_kg_m3",), None),
        ("import", ("files", 0, "kind"), "spreadsheet"),
        ("import", ("files", 0, "header_line"), 0),
        ("import", ("files", 0, "channels", 0, "confidence"), 2),
        ("import", ("stored",), 1.5),
    ],
)
def test_a_value_that_cannot_be_is_refused(command: str, way: tuple[Any, ...], value: Any) -> None:
    assert faults(command, changed(SAMPLES[command], way, value)) != []
