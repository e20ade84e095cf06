"""Words that stand for a missing sample: found with the rest of the interpretation, or told. Texts made here."""

from __future__ import annotations

import pytest

from runlog.problems import FileFaults
from runlog.readers.explain import explain
from runlog.readers.logger import read_recordings
from runlog.readers.logger_csv import read_logger
from runlog.readers.sniff import sniff

LINES = ["Zeit [s];Drehzahl [1/min];Druck [bar];Gang"] + [
    f"{n / 20:.2f};{900 + n};{'AUSFALL' if 60 < n < 90 else f'{4 + 0.01 * n:.2f}'};{'N' if n < 150 else n % 4 + 1}"
    for n in range(200)
]
TEXT = "\n".join(LINES).replace(".", ",").encode()


def test_a_word_that_stands_again_and_again_among_numbers_is_a_missing_sample():
    told = explain(TEXT, "log.csv")
    (chosen,) = (item for item in told.interpretations if item.chosen)
    assert dict(chosen.weights)["words of its own for gaps"] == 0.999
    (words,) = (choice for choice in told.choices if choice.what == "missing-value words")
    assert words.chosen == "'AUSFALL' (29)"
    assert "again and again among numbers: 'ausfall'" in words.why
    log = read_logger(TEXT, "log.csv")
    assert {channel.name: channel.values.size for channel in log.channels} == {"Drehzahl": 200, "Druck": 171}
    assert any("'Druck': 29 of 200 cells hold words, not numbers, such as 'AUSFALL'" in said for said in log.warnings)


def test_a_column_that_is_mostly_a_word_is_left_out_unless_it_is_told_what_it_means():
    (said,) = (said for said in read_logger(TEXT, "log.csv").warnings if "'Gang'" in said)
    assert said.endswith("such as 'N', beside 50 numbers and was left out; with --missing WORD a word means no sample")
    (log,) = read_recordings(TEXT, "log.csv", missing=frozenset({"n"}))
    assert {channel.name: channel.values.size for channel in log.channels}["Gang"] == 50
    only = "\n".join(f"{line.split(';')[0]};{line.split(';')[3]}" for line in LINES).encode()
    with pytest.raises(FileFaults, match=r"no column of numbers beside the time.*'Gang'.*--missing WORD"):
        read_logger(only, "log.csv")


def test_numbers_that_loggers_write_without_a_sample_are_gaps():
    """-999 and the like: common practice, no source."""
    speed = [900 + 10 * n for n in range(100)]
    flag = [65535 if n % 7 == 0 else 0 for n in range(100)]
    level = [-999 - n for n in range(100)]
    rows = [
        f"{n / 20:.2f},{-999 if n in (5, 6) else speed[n]},{flag[n]},{level[n]},{7 if n == 8 else n}"
        for n in range(100)
    ]
    text = "\n".join(["Time,RPM,Flag,Level,Odd", *rows]).encode()
    log = read_logger(text, "log.csv")
    sizes = {channel.name: channel.values.size for channel in log.channels}
    assert sizes == {"RPM": 98, "Flag": 100, "Level": 100, "Odd": 100}  # a flag has two values, a level comes near
    assert "column 'RPM' reads -999 (2 times), as loggers do without a sample: taken as gaps" in log.warnings
    (told,) = read_recordings(text, "log.csv", missing=frozenset({"7"}))
    assert {channel.name: channel.values.size for channel in told.channels}["Odd"] == 98


def test_states_and_words_that_stand_once_are_not_taken_for_one():
    rows = [f"{n / 20:.2f},{900 + n},{'off' if n % 9 == 0 else n},{'KAPUTT' if n == 50 else n}" for n in range(100)]
    layout = sniff("\n".join(["Time,RPM,A,B", *rows]).encode())
    assert layout is not None
    assert layout.missing == frozenset()
