"""Channel maps as commands: written from a log, used, listed, shown, forgotten."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

import duckdb
import pytest

from runlog.readers.channel_map import read_channel_map

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Program

LOG = 'Time [s],RPM,Aux "3" [psi],Odd\x7f name,G\n' + "".join(
    f"{n / 10:.1f},{900 + 50 * n},{40 + n % 3},{n},{0.1 * (n % 5):.1f}\n" for n in range(60)
)
KEY = "heron/2031-08-01/1"


@pytest.fixture
def shop(runlog: Program, demo_folder: Path) -> Program:
    """A logbook with a car, and a log."""
    runlog("new", "a.duckdb")
    assert runlog("import", demo_folder / "cars" / "heron.toml").code == 0
    runlog.write("log.csv", LOG)
    return runlog


def test_a_written_map_says_what_was_understood(shop: Program) -> None:
    text = shop("map", "write", "log.csv").out
    channels = tomllib.loads(text)["channels"]
    assert channels["RPM"] == {"channel": "engine_speed", "unit": "rpm"}
    assert set(read_channel_map(text.encode(), "x.toml").rules) == set(channels)
    assert '# "Aux \\"3\\"" = "ignore"' in text
    assert '# "Odd\\u007f name" = "ignore"' in text


def test_a_written_map_steers_no_terminal_and_still_names_the_column(shop: Program) -> None:
    name = "\u202e\u2066\u200b\U000e0041 \U0001f3c1 x\x9f"
    shop.write("odd.csv", LOG.replace("RPM", name, 1))
    text = shop("map", "write", "odd.csv").out
    assert all(char.isprintable() or char == "\n" for char in text)
    commented = next(line for line in text.splitlines() if "\U0001f3c1" in line and "=" in line)
    assert name in tomllib.loads(commented.removeprefix("# "))


def test_using_a_written_map_unchanged_changes_nothing(shop: Program) -> None:
    """Samples by the map are those without it."""
    assert shop("map", "write", "log.csv", "--to", "log.toml").code == 0
    assert shop("import", "log.csv", "--run", KEY).code == 0
    (plain,) = shop("import", "log.csv", "--run", KEY, "--dry-run", "--json", "--explain").json()["files"]
    assert plain["unchanged"]
    assert shop("import", "log.csv", "--run", "heron/2031-08-01/2", "--map", "log.toml").code == 0
    with duckdb.connect(str(shop.folder / "a.duckdb"), read_only=True) as book:
        samples = [
            book.execute(
                "select name, canonical, time, value from sample where number = ? order by all", [n]
            ).fetchall()
            for n in (1, 2)
        ]
    assert samples[0] == samples[1]
    assert len(samples[0]) >= 180


def test_an_edited_map_is_remembered_listed_shown_and_forgotten(shop: Program) -> None:
    shop("map", "write", "log.csv", "--to", "log.toml")
    path = shop.folder / "log.toml"
    path.write_text(
        path.read_text("utf-8").replace("[channels]", '[channels]\n"Odd\\u007f name" = "throttle"'), "utf-8"
    )
    assert shop("import", "log.csv", "--run", KEY, "--map", "log.toml").code == 0
    (item,) = shop("map", "list", "--json").json()
    assert (item["name"], item["logs"]) == ("log.toml", 1)
    fingerprint = item["fingerprint"]
    assert fingerprint[:12] in shop("map", "list").out
    assert shop("map", "show", fingerprint[:6]).out == path.read_text("utf-8")
    assert shop("map", "show", fingerprint, "--json").json()["content"] == path.read_text("utf-8")

    def throttle(name: str) -> str | None:
        shop.write(name, LOG.replace("0.1,950", "0.1,951"))
        (file,) = shop("import", name, "--run", KEY, "--dry-run", "--json").json()["files"]
        return next((c["name"] for c in file["channels"] if c["canonical"] == "throttle"), None)

    assert throttle("second.csv") == "Odd\x7f name"
    done = shop("map", "forget", fingerprint[:6])
    assert (done.code, fingerprint in done.out) == (0, True)
    assert throttle("second.csv") is None
    assert shop("map", "list", "--json").json() == []
    assert shop("rebuild").code == 0
    assert throttle("second.csv") is None
    with duckdb.connect(str(shop.folder / "a.duckdb"), read_only=True) as book:  # what was stored stays
        assert book.execute("select count(*) from channel where canonical = 'throttle'").fetchall() == [(1,)]
    # and it may come back
    assert shop("import", "second.csv", "--run", "heron/2031-08-01/2", "--map", "log.toml").code == 0
    assert [item["logs"] for item in shop("map", "list", "--json").json()] == [2]


@pytest.mark.parametrize("with_header", [True, False])
def test_a_map_that_comes_after_logs_reads_them_again(shop: Program, with_header: bool) -> None:
    """Both logs of its header and no other; a rebuild comes to the same, and the map again changes nothing."""
    shop.write("second.csv", LOG.replace("0.1,950", "0.1,951"))
    shop.write("other.csv", LOG.replace("Odd", "Even"))
    for number, name in enumerate(("other.csv", "log.csv", "second.csv"), start=1):
        assert shop("import", name, "--run", f"heron/2031-08-01/{number}").code == 0
    text = shop("map", "write", "log.csv").out.replace("[channels]", '[channels]\n"Odd\\u007f name" = "throttle"')
    lines = [line for line in text.splitlines() if with_header or not line.startswith("fingerprint")]
    if not with_header:
        lines = ["[channels]", '"Odd\\u007f name" = "throttle"']
    shop.write("late.toml", "\n".join(lines) + "\n")

    def throttles() -> list[tuple[int, str]]:
        with duckdb.connect(str(shop.folder / "a.duckdb"), read_only=True) as book:
            rows = book.execute("select number, name from channel where canonical = 'throttle' order by all")
            return [(number, name) for number, name in rows.fetchall()]

    assert throttles() == []
    done = shop("import", "late.toml", "--json").json()["files"][0]
    assert done["reread"] == ["heron/2031-08-01/2", "heron/2031-08-01/3"]
    assert throttles() == [(2, "Odd\x7f name"), (3, "Odd\x7f name")]
    assert shop("rebuild").code == 0
    assert throttles() == [(2, "Odd\x7f name"), (3, "Odd\x7f name")]
    (again,) = shop("import", "late.toml", "--json").json()["files"]
    assert (again["unchanged"], again["reread"]) == (True, [])
    assert [file["unchanged"] for file in shop("import", "log.csv", "--json").json()["files"]] == [True]
    assert shop("verify").code == 0
    assert "late.toml" in shop("undo").out  # takes back what it had read again as well
    assert throttles() == []


CLOSE = "Time [s],Engine RPM,Throttle A [%],Throttle B [%],Oil Pressure [psi]\n" + "".join(
    f"{n / 10:.1f},{900 + 50 * n},{2 if n < 20 else 100},{4 if n < 20 else 97},{40 + n % 3}\n" for n in range(60)
)


def test_which_of_two_close_candidates_is_asked_and_the_answer_settles_every_log_of_the_header(shop: Program) -> None:
    shop.write("log.csv", CLOSE)
    shop.write("second.csv", CLOSE.replace("0.1,950", "0.1,951"))
    shop.write("oil.toml", '[channels]\n"Oil Pressure" = { scale = 2.0 }\n')
    assert shop("import", "log.csv", "--run", KEY, "--map", "oil.toml").code == 0
    asked = shop("import", "second.csv", "--run", "heron/2031-08-02/1", "--map", "oil.toml")
    assert (asked.code, "runlog answer" in asked.err) == (0, False)  # the same question as before isn't new
    (question,) = shop("answer", "--json").json()["open"]
    assert question["text"] == "which column is the throttle, 'Throttle A' or 'Throttle B'? 'Throttle A' was taken"
    assert [text.partition(":")[0] for text in question["evidence"]] == ["'Throttle A'", "'Throttle B'"]
    assert all("% sure, rests at both ends" in text for text in question["evidence"])
    assert "reads 4 to 97 %" in question["evidence"][1]

    def channels() -> set[tuple[str, str]]:
        with duckdb.connect(str(shop.folder / "a.duckdb"), read_only=True) as book:
            rows = book.execute("select name, canonical from channel where canonical in ('throttle', 'oil_pressure')")
            return set(rows.fetchall())

    oil = ("Oil Pressure", "oil_pressure")
    assert channels() == {("Throttle A", "throttle"), oil}
    assert shop("answer", KEY, question["id"], "b", "--by", "crew chief").code == 0
    assert channels() == {("Throttle B", "throttle"), oil}  # in both logs
    page = shop("answer", "--history", "--json").json()
    assert [(said["key"], said["by"]) for said in page["answered"]] == [("b", "crew chief")]
    assert page["open"] == []
    kept = next(item for item in shop("map", "list", "--json").json() if item["fingerprint"])
    assert (kept["logs"], kept["columns"]) == (2, 2)  # the unit that an earlier map settled is still settled
    assert shop("answer", KEY, question["id"], "n").code == 0
    assert channels() == {oil}
    assert shop("undo").code == 0
    assert channels() == {("Throttle B", "throttle"), oil}
    assert shop("verify").code == 0


def test_the_page_says_which_logs_were_read_again(shop: Program) -> None:
    assert shop("import", "log.csv", "--run", KEY).code == 0
    shop("map", "write", "log.csv", "--to", "late.toml")
    done = shop("import", "late.toml")
    assert f"logs read again with it: {KEY}" in " ".join(done.out.split())


def test_a_map_for_another_header_is_not_used(shop: Program) -> None:
    shop("map", "write", "log.csv", "--to", "log.toml")
    shop.write("other.csv", LOG.replace("Odd", "Even"))
    (file,) = shop("import", "other.csv", "--run", KEY, "--map", "log.toml", "--json").json()["files"]
    assert "the channel map named for it settles nothing of its header and was not used" in file["warnings"]


@pytest.mark.parametrize(
    ("words", "code", "text"),
    [
        (("show", "abc"), 1, "no channel map 'abc' in the logbook; there are: none"),
        (("forget", "abc"), 1, "no channel map 'abc' in the logbook"),
        (("write", "none.csv"), 1, "none.csv: no such file"),
        (("write", "car.toml"), 2, "car.toml is not a logger file but car"),
        (("write", "log.csv", "--to", "log.csv"), 2, "log.csv exists already: choose another name"),
        (("write", "broken.csv"), 1, "broken.csv: found no lines of numbers"),
    ],
)
def test_faults(shop: Program, words: tuple[str, ...], code: int, text: str) -> None:
    shop.write("car.toml", "[car]\n")
    shop.write("broken.csv", "a,b\nc,d\ne,f\n")
    done = shop("map", *words)
    assert (done.code, text in done.err) == (code, True), done.err


def test_no_maps(shop: Program) -> None:
    assert "runlog map write LOG.csv" in shop("map", "list").out


def test_why_fits_the_screen_and_stands_in_json(shop: Program) -> None:
    done = shop("import", "log.csv", "--run", KEY, "--dry-run", "--explain")
    assert done.code == 0
    assert max(map(len, done.out.splitlines())) <= 80
    assert "\x7f" not in done.out
    for word in ("encoding: utf-8", "delimiter: comma", "time base: Time", "RPM [rpm, assumed]: engine_speed"):
        assert word in done.out
    (file,) = shop("import", "log.csv", "--run", KEY, "--dry-run", "--explain", "--json").json()["files"]
    assert set(file["explanation"]) == {"interpretations", "choices", "channels"}
    (plain,) = shop("import", "log.csv", "--run", KEY, "--dry-run", "--json").json()["files"]
    assert plain["explanation"] is None
