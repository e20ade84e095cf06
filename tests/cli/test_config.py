"""What is set, in which order it is looked for, and what is said of a setting that can't be read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from conftest import Program


def setting(runlog: Program, name: str, *words: str, **env: str) -> dict[str, Any]:
    settings = runlog("config", "--json", *words, **env).json()["settings"]
    found: dict[str, Any] = next(row for row in settings if row["key"] == name)
    return found


def test_nothing_set_is_us_units_and_says_so(runlog: Program) -> None:
    found = setting(runlog, "units")
    assert (found["value"], found["source"]) == ("us", None)
    done = runlog("config")
    assert (done.code, done.err) == (0, "")
    assert "not set" in done.out
    assert "no logbook here" in done.out
    assert max(map(len, done.out.splitlines()[:10])) <= 80


def test_option_then_environment_then_folder_then_logbook_then_user(runlog: Program) -> None:
    """Each source is taken away in turn, and the next one holds."""
    user = runlog.write("home/runlog.toml", 'units = "us"\n')
    beside = runlog.write("books/runlog.toml", 'units = "metric"\n')
    runlog("new", "books/marsh.duckdb")
    here = runlog.write("runlog.toml", 'units = "us"\n')
    book = ("--logbook", "books/marsh.duckdb")
    env = {"RUNLOG_UNITS": "metric", "RUNLOG_CONFIG": str(user)}
    assert setting(runlog, "units", *book, "--units", "us", **env) | {"meaning": ""} == {
        "key": "units", "value": "us", "source": "--units", "variable": "RUNLOG_UNITS", "meaning": "",
    }  # fmt: skip
    steps = [("metric", "RUNLOG_UNITS"), ("us", str(here)), ("metric", str(beside)), ("us", str(user))]
    for value, source in steps:
        found = setting(runlog, "units", *book, **env)
        assert (found["value"], found["source"]) == (value, source)
        if source == "RUNLOG_UNITS":
            del env["RUNLOG_UNITS"]
        elif source == str(here):
            here.unlink()
        else:
            beside.unlink(missing_ok=True)


def test_logbook_of_a_file_is_taken_from_its_folder(runlog: Program) -> None:
    runlog.write("books/x", "")
    runlog("new", "books/marsh.duckdb")
    user = runlog.write("home/runlog.toml", 'logbook = "../books/marsh.duckdb"\n')
    found = setting(runlog, "logbook", RUNLOG_CONFIG=str(user))
    assert found["source"] == str(user)
    done = runlog("runs", RUNLOG_CONFIG=str(user))
    assert (done.code, "No runs yet" in done.out) == (0, True)


def test_the_only_logbook_here_goes_before_the_users_usual_one(runlog: Program) -> None:
    user = runlog.write("home/runlog.toml", 'logbook = "missing.duckdb"\n')
    runlog("new", "marsh.duckdb")
    assert setting(runlog, "logbook", RUNLOG_CONFIG=str(user))["source"] == "the only .duckdb file here"
    assert runlog("runs", RUNLOG_CONFIG=str(user)).code == 0
    runlog.write("runlog.toml", 'logbook = "missing.duckdb"\n')
    done = runlog("runs", RUNLOG_CONFIG=str(user))
    assert (done.code, "missing.duckdb" in done.err) == (1, True)


def test_car_that_is_set_is_meant_where_none_is_named(season_copy: Program) -> None:
    season_copy.write("runlog.toml", 'car = "Curlew"\n')
    assert season_copy("effects", "--json").json()["car"] == "curlew"
    assert season_copy("effects", "--car", "heron", "--json").json()["car"] == "heron"
    season_copy.write("runlog.toml", 'car = "egret"\n')
    done = season_copy("effects")
    assert done.code == 1
    assert "no car 'egret' in the logbook, as set by " in done.err
    assert "runlog.toml; there are: curlew" in done.err


def test_turnaround_that_is_set_is_what_plan_reckons_with(season_copy: Program) -> None:
    assert season_copy("plan", "--car", "heron", "--json").json()["turnaround_minutes"] == 45
    assert season_copy("plan", "--car", "heron", "--json", RUNLOG_TURNAROUND="60").json()["turnaround_minutes"] == 60
    done = season_copy("plan", "--car", "heron", "--json", "--turnaround", "30", RUNLOG_TURNAROUND="60")
    assert done.json()["turnaround_minutes"] == 30


def test_all_faults_of_a_file_are_told_at_once_and_nothing_is_done(runlog: Program) -> None:
    runlog.write("runlog.toml", 'units = "imperial"\ncolour = "red"\nturnaround = true\n')
    done = runlog("new", "marsh.duckdb")
    assert done.code == 1
    assert "key units: found 'imperial'; accepted: us or metric" in done.err
    assert "key colour: found an unknown key; accepted: units, logbook, car, turnaround" in done.err
    assert "key turnaround: found True; accepted: minutes from 5 to 600" in done.err
    assert not (runlog.folder / "marsh.duckdb").exists()


@pytest.mark.parametrize("content", [b"units = ", b"\xff\xfe", b"units = 'us'\nunits = 'us'\n"])
def test_a_file_that_is_no_toml_says_so(runlog: Program, content: bytes) -> None:
    runlog.write("runlog.toml", content)
    done = runlog("config")
    assert done.code == 1
    assert "a fault in the TOML" in done.err
    assert "Traceback" not in done.err


@pytest.mark.parametrize(
    ("words", "env", "told"),
    [
        ((), {"RUNLOG_UNITS": "imperial"}, "RUNLOG_UNITS: found 'imperial'; accepted: us or metric"),
        (("--units", "si"), {}, "--units: found 'si'; accepted: us or metric"),
        ((), {"RUNLOG_TURNAROUND": "soon"}, "RUNLOG_TURNAROUND: found 'soon'; accepted: minutes from 5 to 600"),
    ],
)
def test_what_cannot_be_read_is_wrong_use(
    runlog: Program, words: tuple[str, ...], env: dict[str, str], told: str
) -> None:
    done = runlog("config", *words, **env)
    assert done.code == 2
    assert told in done.err


def test_what_is_set_for_one_command_is_forgotten_after_it(runlog: Program) -> None:
    from runlog import configuration

    runlog.write("runlog.toml", 'units = "metric"\n')
    assert setting(runlog, "units")["value"] == "metric"
    assert configuration.units() == "us"
    assert setting(runlog, "units", "--units", "us")["source"] == "--units"
    assert configuration.units() == "us"
