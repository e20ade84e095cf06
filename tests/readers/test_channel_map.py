"""Channel maps: what is accepted, what is refused and how."""

from __future__ import annotations

import jsonschema
import pytest

from runlog.problems import FileFaults
from runlog.readers.channel_map import ChannelMapModel, ChannelRule, fingerprint, read_channel_map

WHOLE = b"""
[channels]
"DS RPM" = "driveshaft_speed"
"Aux 3" = "ignore"
"Aux 4" = { channel = "oil_pressure", unit = "psi", scale = 2.5, invert = true }
"Boost" = { unit = "bar" }
[time]
column = "Zeit"
unit = "ms"
rate_hz = 100
"""


def test_everything_is_read():
    found = read_channel_map(WHOLE, "map.toml")
    assert found.rule_for("DS RPM") == ChannelRule("driveshaft_speed")
    assert found.rule_for("Aux 4") == ChannelRule("oil_pressure", "psi", 2.5, True)
    assert found.rule_for("Boost") == ChannelRule(None, "bar")
    assert found.rule_for("Aux 3").ignored
    assert found.rule_for("Aux 5") is None
    assert (found.time_column, found.time_unit, found.rate_hz) == ("Zeit", "ms", 100)


def test_names_are_found_whatever_their_case_and_by_the_whole_cell():
    found = read_channel_map(b'[channels]\n"DS RPM [1/min]" = "driveshaft_speed"\n', "map.toml")
    assert found.rule_for("DS RPM", "ds rpm [1/min]") == ChannelRule("driveshaft_speed")


def test_an_empty_map_is_a_map():
    assert not read_channel_map(b"", "map.toml").rules


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (b'[channels]\n"A" = "warp_speed"\n', "key channels.A: found 'warp_speed'.*unknown channel.*driveshaft_speed"),
        (b'[channels]\n"A" = { channel = "warp" }\n', "key channels.A.channel: found 'warp'.*unknown channel"),
        (b'[channels]\n"A" = { unit = "furlong" }\n', "key channels.A.unit: found 'furlong'.*unknown unit"),
        (b'[channels]\n"A" = { scale = 0 }\n', "key channels.A.scale: found 0.*greater than 0"),
        (b'[channels]\n"A" = { colour = "red" }\n', "key channels.A.colour: found 'red'"),
        (b'[time]\nunit = "kg"\n', "key time.unit: found 'kg'.*not a unit of time; accepted: s, ms"),
        (b"[time]\nrate_hz = -1\n", "key time.rate_hz: found -1.*greater than 0"),
        (b"[chanels]\n", "key chanels"),
        (b"[channels\n", "a fault in the TOML"),
        (b"\xff\xfe\x00", "bytes that aren't UTF-8"),
    ],
)
def test_faults_name_the_key(text, message):
    with pytest.raises(FileFaults, match=f"(?s)map.toml.*{message}"):
        read_channel_map(text, "map.toml")


def test_all_faults_are_reported_at_once():
    with pytest.raises(FileFaults) as caught:
        read_channel_map(b'[channels]\n"A" = "warp"\n"B" = { unit = "furlong" }\n[time]\nrate_hz = 0\n', "map.toml")
    assert len(caught.value.problems) == 3


def test_the_model_makes_a_valid_schema():
    """JSON Schema 2020-12, checked by the jsonschema library."""
    schema = ChannelMapModel.model_json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    check = jsonschema.Draft202012Validator(schema)
    assert check.is_valid({"channels": {"A": "throttle", "B": {"unit": "psi"}}, "time": {"rate_hz": 10}})
    assert not check.is_valid({"channels": {"B": {"scale": -1}}})
    assert not check.is_valid({"channel": {}})


def test_fingerprint_knows_names_units_and_order():
    base = fingerprint(["Time", "RPM"], ["s", "rpm"])
    assert base == fingerprint([" time", "Rpm "], ["S", "RPM"])
    assert base != fingerprint(["RPM", "Time"], ["rpm", "s"])
    assert base != fingerprint(["Time", "RPM"], ["ms", "rpm"])
    assert fingerprint(["A", "B"], ["", ""]) != fingerprint(["A B"], [""])
