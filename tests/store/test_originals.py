"""The original bytes come back as they were, or it is said that they don't."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from runlog.errors import LogbookError
from runlog.store.connection import Logbook, open_logbook
from runlog.store.originals import Entry, digest, entries, fetch, keep, known


def kept(book: Logbook, content: bytes, given: dict[str, object] | None = None, kind: str = "slips") -> Entry:
    with book.transaction():
        return keep(book, content, Entry(0, kind, digest(content), "x.csv", given or {}, None))


LARGE = {
    "noise": np.random.default_rng(1).bytes(3_000_000),  # doesn't compress
    "text": b"0.01,4200,1.234\n" * 200_000,
}


@pytest.mark.parametrize("content", [b"", b"\0", b"a\r\nb\r", bytes(range(256)), *LARGE.values()], ids=lambda c: len(c))
def test_bytes_come_back_as_they_were(book, content):
    entry = kept(book, content)
    assert fetch(book, entry.sha256) == content
    book.close()
    with open_logbook(book.path) as again:
        assert fetch(again, entry.sha256) == content


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=30)
@given(st.binary(max_size=9000))
def test_any_bytes_come_back(book, content):
    assert fetch(book, kept(book, content).sha256) == content


def test_the_digest_is_the_published_one():
    # FIPS 180-2 appendix B.1, from memory; hashlib is the independent check
    assert digest(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest(b"x" * 10_000) == hashlib.sha256(b"x" * 10_000).hexdigest()


def test_the_same_bytes_are_kept_once_however_often_they_are_entered(book):
    first, second = kept(book, b"abc"), kept(book, b"abc", {"run": "heron/2031-04-12/1"})
    assert (first.number, second.number) == (1, 2)
    assert book.row("select count(*) from book.main.original") == (1,)
    assert [entry.number for entry in entries(book)] == [1, 2]


def test_bytes_are_known_unless_something_new_is_said_of_them(book):
    sha256 = kept(book, b"abc", {"car": "heron"}).sha256
    assert known(book, sha256, {"car": "heron"}) == 1
    assert known(book, sha256, {}) == 1
    assert known(book, sha256, {"car": "plover"}) is None
    assert known(book, digest(b"abd"), {}) is None


def test_what_was_said_of_a_file_is_kept_with_it(book):
    said = {"full": True, "elevation": 34.0, "car": "größer"}
    kept(book, b"abc", said)
    assert entries(book)[0].given == said


@pytest.mark.parametrize(
    "sql",
    [
        "update book.main.original_part set data = '\\x00'::blob where part = 0",
        "delete from book.main.original_part where part = 1",
        "update book.main.original_part set part = 3 - part",
        "delete from book.main.original_part",
    ],
)
def test_damage_is_noticed(book, sql):
    entry = kept(book, np.random.default_rng(2).bytes(15_000))
    assert book.row("select count(*) from book.main.original_part") == (4,)
    book.rows(sql)
    with pytest.raises(LogbookError, match=rf"shop.duckdb: the original {entry.sha256[:12]}… is damaged"):
        fetch(book, entry.sha256)


def test_an_entry_that_is_rolled_back_leaves_nothing(book):
    def fails() -> None:
        with book.transaction():
            keep(book, b"abc", Entry(0, "slips", digest(b"abc"), "x.csv", {}, None))
            raise RuntimeError("stop")

    with pytest.raises(RuntimeError, match="stop"):
        fails()
    for table in ("entry", "original", "original_part"):
        assert book.row(f"select count(*) from book.main.{table}") == (0,)
