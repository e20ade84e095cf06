"""What a file is, told from what is in it."""

from __future__ import annotations

import zlib
from pathlib import Path

import pytest

from runlog.readers.detect import KINDS, kind_of

DEMO = Path(__file__).resolve().parents[2] / "demo_runs"


@pytest.mark.parametrize(
    ("content", "name", "kind"),
    [
        ('[car]\nname = "x"\n', "x.toml", "car"),
        ('[track]\nname = "x"\n', "x.toml", "track"),
        ('[channels]\n"A" = "throttle"\n', "x.toml", "map"),
        ('[time]\ncolumn = "t"\n', "x.toml", "map"),
        ('car = "x"\n[items]\na = 1\n', "x.toml", "sheet"),
        ("\ufeff[car]\n", "x.TOML", "car"),
        ("[carr]\n", "x.toml", None),
        ("[carr]\n", "car_x.toml", "car"),  # its reader says what is wrong
        ("", "x.toml", None),
        ("[items\n", "changes_sheet.toml", "sheet"),
        ("[[[\n", "x.toml", "car"),
        ("item,value,unit\na,1,lb\n", "x.csv", "sheet"),
        ("car;date;run;t60_s\n", "x.txt", "slips"),
        ("\n\ncar,date,Pass,60 ft,330 ft\n", "x.csv", "slips"),
        ("60 ft,330 ft\n1.4,3.9\n", "x.csv", "slips"),
        ("time,temperature_F,relative_humidity_pct,station_pressure_inHg\n", "x.csv", "air"),
        ("time,temperature_C,relative_humidity_pct,altimeter_hPa\n", "x.csv", "air"),
        ("Time,Engine RPM,Relative Humidity\n0,1,2\n", "x.csv", "logger"),
        ("Time (s),Engine RPM\n0.0,1000\n", "x.csv", "logger"),
        ("", "x.csv", "logger"),  # its reader says that it is empty
    ],
)
def test_kinds(content, name, kind):
    assert kind_of(content.encode(), name) == kind


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-8-sig"])
def test_kinds_in_other_encodings(encoding):
    assert kind_of("car;date;run;t60_s\n".encode(encoding), "x.csv") == "slips"


@pytest.mark.parametrize(
    "content",
    [bytes(range(256)), zlib.compress(b"x" * 999), b"\xff\xfe\x00", b"\xff\xfe" + b"\xd8" * 20001, b"\x00" * 50_000],
)
def test_binary_files_do_not_disturb(content):
    assert kind_of(content, "x.bin") == "logger"
    assert kind_of(content, "x.toml") in ("car", None)


def test_every_kind_is_a_known_one():
    kinds = {kind_of(path.read_bytes(), path.name) for path in DEMO.rglob("*") if path.suffix in (".csv", ".toml")}
    assert kinds == {"car", "track", "sheet", "slips", "air", "logger"}
    assert kinds <= set(KINDS)


@pytest.mark.parametrize(
    ("pattern", "kind"),
    [
        ("cars/*.toml", "car"),
        ("tracks/*.toml", "track"),
        ("sheets/*.csv", "sheet"),
        ("pits/*/slips.csv", "slips"),
        ("pits/*/air.csv", "air"),
        ("pits/*/changes*", "sheet"),
        ("pits/*/heron_*.csv", "logger"),
    ],
)
def test_the_demo_season(pattern, kind):
    paths = list(DEMO.glob(pattern))
    assert paths
    assert {kind_of(path.read_bytes(), path.name) for path in paths} == {kind}
