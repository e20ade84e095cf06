"""Compressed files, made by Python's own gzip and zipfile and by the Zstandard library."""

from __future__ import annotations

import gzip
import io
import sys
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runlog.problems import FileFaults
from runlog.readers import packed
from runlog.readers.detect import kind_of
from runlog.readers.logger import read_recordings
from runlog.readers.packed import unpack

if sys.version_info >= (3, 14):
    from compression import zstd
else:
    from backports import zstd

SLIPS = b"car,date,run,t60_s\nteal,2031-04-12,1,1.41\n"


def zipped(**members: bytes) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name.replace("__dot__", "."), content)
    return buffer.getvalue()


PACKERS = {
    "gzip": (gzip.compress, "x.csv.gz"),
    "zstd": (zstd.compress, "x.csv.zst"),
    "zip": (lambda content: zipped(x__dot__csv=content), "outer.zip"),
}


@pytest.mark.parametrize("form", PACKERS)
@given(content=st.binary(max_size=2000))
def test_what_was_packed_comes_out(form, content):
    pack, name = PACKERS[form]
    found = unpack(pack(content), f"pits/{name}")
    assert (found.content, found.name.replace("\\", "/"), found.form) == (content, "pits/x.csv", form)


@pytest.mark.parametrize("form", PACKERS)
@settings(deadline=None, max_examples=25)
@given(values=st.lists(st.integers(-10_000, 10_000), min_size=3, max_size=80))
def test_a_packed_recording_reads_as_the_recording(form, values):
    lines = "".join(f"{n / 50:.2f},{value},{value / 7:.3f}\n" for n, value in enumerate(values))
    content = f"Time [s],Engine RPM,Oil Pressure [psi]\n{lines}".encode()
    pack, name = PACKERS[form]
    opened = unpack(pack(content), name)
    (packed_log,), (log,) = read_recordings(opened.content, opened.name), read_recordings(content, "x.csv")
    for one, other in zip(packed_log.channels, log.channels, strict=True):
        assert (one.name, one.canonical, one.time.tolist(), one.values.tolist()) == (
            other.name, other.canonical, other.time.tolist(), other.values.tolist(),
        )  # fmt: skip


@given(content=st.binary(max_size=200).filter(lambda content: not packed.form_of(content)))
def test_what_is_not_packed_stays(content):
    assert unpack(content, "x.csv").content == content


@pytest.mark.parametrize("form", PACKERS)
def test_kinds_are_seen_through_the_packing(form):
    pack, name = PACKERS[form]
    assert kind_of(pack(SLIPS), name) == "slips"
    toml = pack(b'[car]\nname = "x"\n') if form != "zip" else zipped(x__dot__toml=b'[car]\nname = "x"\n')
    assert kind_of(toml, name.replace("csv", "toml")) == "car"


def test_gzip_in_several_members_is_one_file():
    """RFC 1952, 2.2: a gzip file is a series of members."""
    assert unpack(gzip.compress(b"a,b\n") + gzip.compress(b"1,2\n"), "x.gz").content == b"a,b\n1,2\n"


@pytest.mark.parametrize(
    ("content", "text"),
    [
        (zipped(a=b"1", b=b"2"), r"x\.zip: found a zip with 2 files in it \(a, b\); accepted: a zip with exactly one"),
        (zipped(), "a zip with nothing in it"),
        (gzip.compress(SLIPS * 99)[:-20], "a gzip file that can't be unpacked"),
        (gzip.compress(SLIPS)[:10] + b"\xff" * 40, "a gzip file that can't be unpacked"),
        (zstd.compress(SLIPS * 99)[:-3], "a zstd file that can't be unpacked"),
        (zstd.compress(SLIPS)[:5] + b"\x07" * 20, "a zstd file that can't be unpacked"),
        (zipped(a=SLIPS * 99)[:60], "a zip file that can't be unpacked"),
    ],
    # packed bytes hold the time, so they can't name a test
    ids=["two in a zip", "none in a zip", "cut gzip", "broken gzip", "cut zstd", "broken zstd", "cut zip"],
)
def test_faults(content, text):
    with pytest.raises(FileFaults, match=text):
        unpack(content, "x.zip")
    assert kind_of(content, "x.zip") == "logger"  # its reader says what is wrong


def test_shadow_files_of_an_operating_system_do_not_count():
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("log/", b"")
        archive.writestr("log/a.csv", SLIPS)
        archive.writestr("__MACOSX/log/._a.csv", b"\x00")
    assert unpack(buffer.getvalue(), "x.zip").content == SLIPS


@pytest.mark.parametrize("form", PACKERS)
def test_a_bomb_is_one_clear_error(form, monkeypatch):
    monkeypatch.setattr(packed, "_ALWAYS", 1 << 20)
    pack, name = PACKERS[form]
    bomb = pack(bytes(40 << 20))
    with pytest.raises(FileFaults, match=r"bytes that unpack to more than \d+ MB; accepted: at most 200 times"):
        unpack(bomb, name)


def test_the_head_alone_is_read_of_a_bomb(monkeypatch):
    monkeypatch.setattr(packed, "_ALWAYS", 1 << 20)
    assert unpack(gzip.compress(bytes(40 << 20)), "x.gz", head=100).content == bytes(100)
