"""Logger exports. What a file holds is written down beside it; nothing is taken from the reader itself."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from runlog.problems import FileFaults
from runlog.readers.channel_map import read_channel_map
from runlog.readers.logger_csv import looks_like_logger, read_logger

RPM = np.pi / 30  # [rad/s] definition of the revolution per minute
G = 9.80665  # [m/s²] ISO 80000-3


def read(text, encoding="utf-8", **options):
    return read_logger(text.encode(encoding), "log.csv", **options)


def channel(logger, name):
    return next(item for item in logger.channels if item.name == name or item.canonical == name)


PLAIN = "Time [s],Engine RPM [rpm]\n0.00,1000\n0.01,1100\n0.02,1250\n"


def rows(head, times, delimiter=",", numbers=("1000", "1100", "1250")):
    return head + "\n" + "".join(f"{time}{delimiter}{number}\n" for time, number in zip(times, numbers, strict=True))


HEAD = "Time [s],Engine RPM [rpm]"
SEMI = "Time [s];Engine RPM [rpm]"
COMMAS = ("0,00", "0,01", "0,02")
POINTS = ("0.00", "0.01", "0.02")
CLOCKS = ("10:00:00.00", "10:00:00.01", "10:00:00.02")
WIDE = "Engine RPM [rpm];Oil Pressure [psi]\n1000;40\n1100;41\n1250;42\n"

# what differs, text, encoding, delimiter, decimal, header line, first data line
DIALECTS = [
    ("plain", PLAIN, "utf-8", ",", ".", 1, 2),
    ("semicolon, decimal comma", rows(SEMI, COMMAS, ";"), "utf-8", ";", ",", 1, 2),
    ("semicolon, point", rows(SEMI, POINTS, ";"), "utf-8", ";", ".", 1, 2),
    ("tab", PLAIN.replace(",", "\t"), "utf-8", "\t", ".", 1, 2),
    ("tab, decimal comma", PLAIN.replace(",", "\t").replace(".", ","), "utf-8", "\t", ",", 1, 2),
    ("pipe", PLAIN.replace(",", "|"), "utf-8", "|", ".", 1, 2),
    ("byte-order mark", PLAIN, "utf-8-sig", ",", ".", 1, 2),
    ("UTF-16 with mark", PLAIN, "utf-16", ",", ".", 1, 2),
    ("UTF-16 little end first, no mark", PLAIN, "utf-16-le", ",", ".", 1, 2),
    ("UTF-16 big end first, no mark", PLAIN, "utf-16-be", ",", ".", 1, 2),
    ("CR LF", PLAIN.replace("\n", "\r\n"), "utf-8", ",", ".", 1, 2),
    ("CR", PLAIN.replace("\n", "\r"), "utf-8", ",", ".", 1, 2),
    ("no newline at the end", PLAIN.rstrip(), "utf-8", ",", ".", 1, 2),
    ("blanks round the cells", PLAIN.replace(",", " , "), "utf-8", ",", ".", 1, 2),
    ("trailing delimiters", PLAIN.replace("\n", ",\n"), "utf-8", ",", ".", 1, 2),
    ("trailing delimiters below only", PLAIN.replace("0\n", "0,\n"), "utf-8", ",", ".", 1, 2),
    ("quoted", rows('"Time [s]","Engine RPM [rpm]"', [f'"{t}"' for t in POINTS]), "utf-8", ",", ".", 1, 2),
    ("quoted decimal commas", rows(HEAD, [f'"{t}"' for t in COMMAS]), "utf-8", ",", ",", 1, 2),
    ("thousands", rows(HEAD, POINTS, numbers=('"1,000.0"', '"1,100.0"', '"1,250.0"')), "utf-8", ",", ".", 1, 2),
    ("thousands, comma", rows(SEMI, COMMAS, ";", ("1.000,0", "1.100,0", "1.250,0")), "utf-8", ";", ",", 1, 2),
    ("units in a row", rows("Time,Engine RPM\ns,rpm", POINTS), "utf-8", ",", ".", 1, 3),
    ("units in a row, in brackets", rows("Time,Engine RPM\n[s],[rpm]", POINTS), "utf-8", ",", ".", 1, 3),
    ("units in round brackets", PLAIN.replace("[", "(").replace("]", ")"), "utf-8", ",", ".", 1, 2),
    ("units after a blank", rows("Time s,Engine Speed 1/min", POINTS), "utf-8", ",", ".", 1, 2),
    ("units after an underscore", rows("time_s,engine_rpm", POINTS), "utf-8", ",", ".", 1, 2),
    ("milliseconds", rows("Time [ms],Engine RPM [rpm]", (0, 10, 20)), "utf-8", ",", ".", 1, 2),
    ("milliseconds by the name", rows("Time_ms,Engine RPM", (0, 10, 20)), "utf-8", ",", ".", 1, 2),
    ("milliseconds by the steps", rows("Time,Engine RPM", (0, 10, 20)), "utf-8", ",", ".", 1, 2),
    ("microseconds", rows("Timestamp (us),Engine RPM (rpm)", (0, 10000, 20000)), "utf-8", ",", ".", 1, 2),
    ("clock", rows("Time,Engine RPM [rpm]", CLOCKS), "utf-8", ",", ".", 1, 2),
    (
        "clock, decimal comma",
        rows("Zeit;Drehzahl", [t.replace(".", ",") for t in CLOCKS], ";"),
        "utf-8",
        ";",
        ",",
        1,
        2,
    ),
    ("clock, colon", rows("Time,Engine RPM", [t.replace(".", ":") for t in CLOCKS]), "utf-8", ",", ".", 1, 2),
    ("minutes and seconds", rows("Time,Engine RPM", [t[3:] for t in CLOCKS]), "utf-8", ",", ".", 1, 2),
    ("date-time", rows("Time,Engine RPM", [f"2031-04-12T{t}" for t in CLOCKS]), "utf-8", ",", ".", 1, 2),
    ("rate above", "Sample Rate,100,Hz\n" + WIDE.replace(";", ","), "utf-8", ",", ".", 2, 3),
    ("rate above in one cell", "Logger: shop\nSample rate: 100 Hz\n\n" + WIDE, "utf-8", ";", ".", 4, 5),
    ("interval above", "Interval [ms];10\n" + WIDE.replace("0;4", "0;4,"), "utf-8", ";", ",", 2, 3),
    ("preamble", "Session,Test\nDate,2031-04-12\nNote,wind from the left\n\n" + PLAIN, "utf-8", ",", ".", 5, 6),
    ("comment marks", "# made by hand\n# " + PLAIN, "utf-8", ",", ".", 2, 3),
    ("rule below the header", PLAIN.replace("]\n", "]\n-----,-----\n"), "utf-8", ",", ".", 1, 3),
    ("footer", PLAIN + "\nMax,1250\nEnd of file\n", "utf-8", ",", ".", 1, 2),
    ("blank lines between", PLAIN.replace("1000\n", "1000\n\n"), "utf-8", ",", ".", 1, 2),
    ("no header", rows(HEAD, POINTS).split("\n", 1)[1], "utf-8", ",", ".", 0, 1),
    ("Latin-1", PLAIN.replace("rpm]", "rpm],Öltemperatur [°C]").replace("0\n", "0,90\n"), "latin-1", ",", ".", 1, 2),
    ("cp1252", "Note – €\n" + PLAIN, "cp1252", ",", ".", 2, 3),
]


@pytest.mark.parametrize(
    ("text", "encoding", "delimiter", "decimal", "header", "first"),
    [case[1:] for case in DIALECTS],
    ids=[case[0] for case in DIALECTS],
)
def test_dialects_give_the_same_recording(text, encoding, delimiter, decimal, header, first):
    logger = read(text, encoding)
    assert (logger.delimiter, logger.decimal) == (delimiter, decimal)
    assert (logger.header_line, logger.first_data_line, logger.rows) == (header, first, 3)
    assert text.encode(encoding).decode(logger.encoding) == text
    if header == 0:  # a file without names has no channel that could be known
        assert [item.name for item in logger.channels] == ["column 2"]
        return
    speed = channel(logger, "engine_speed")
    np.testing.assert_allclose(speed.time, [0.00, 0.01, 0.02], atol=1e-9)
    np.testing.assert_allclose(speed.values, np.array([1000, 1100, 1250]) * RPM, rtol=1e-12)
    assert logger.times[0].rate_hz == pytest.approx(100, rel=1e-6)
    assert 0.5 <= speed.confidence <= 1


def test_clock_passes_midnight_and_starts_at_zero():
    logger = read("Time,Engine RPM\n23:59:59.900,1000\n23:59:59.950,1010\n00:00:00.000,1020\n00:00:00.050,1030\n")
    np.testing.assert_allclose(channel(logger, "engine_speed").time, [0, 0.05, 0.1, 0.15], atol=1e-9)
    assert logger.started_at is None


def test_clock_with_the_date_above_or_beside_it():
    above = read("Date: 12.04.2031\nTime,Engine RPM\n14:03:10.5,1000\n14:03:10.6,1010\n14:03:10.7,1020\n")
    beside = read(
        "Date,Time,Engine RPM\n2031-04-12,14:03:10.5,1000\n2031-04-12,14:03:10.6,1010\n2031-04-12,14:03:10.7,9\n"
    )
    assert above.started_at == beside.started_at == dt.datetime(2031, 4, 12, 14, 3, 10, 500_000)
    assert [item.name for item in beside.channels] == ["Engine RPM"]


def test_afternoon_by_the_twelve_hour_clock():
    logger = read("Time,Engine RPM\n04/12/2031 11:59:59 AM,1\n04/12/2031 12:00:00 PM,2\n04/12/2031 12:00:01 PM,3\n")
    assert logger.started_at == dt.datetime(2031, 4, 12, 11, 59, 59)
    assert channel(logger, "engine_speed").time[-1] == 2


def test_a_day_above_twelve_settles_the_order_of_a_date():
    logger = read("Start: 13/04/2031 09:15:00\nTime (s),Engine RPM\n0.0,1\n0.1,2\n0.2,3\n")
    assert logger.started_at == dt.datetime(2031, 4, 13, 9, 15)


def test_universal_time_is_not_taken_for_local():
    logger = read("Time,Engine RPM\n2031-04-12T14:00:00Z,1\n2031-04-12T14:00:01Z,2\n2031-04-12T14:00:02Z,3\n")
    assert logger.started_at is None
    assert any("UTC" in warning for warning in logger.warnings)


def test_channels_at_several_rates_keep_their_own_times():
    logger = read(
        "Time [s],Engine RPM,Oil Temp [°C]\n0.0,1000,90\n0.1,1010,\n0.2,1020,\n0.3,1030,91\n0.4,,\n0.5,1050,\n"
    )
    np.testing.assert_array_equal(channel(logger, "oil_temperature").time, [0.0, 0.3])
    np.testing.assert_array_equal(channel(logger, "engine_speed").time, [0.0, 0.1, 0.2, 0.3, 0.5])


def test_rows_that_share_a_time_but_not_a_channel_lose_nothing():
    logger = read("Time [s],Engine RPM,Oil Temp [°C]\n0.0,1000,\n0.0,,90\n0.1,1010,\n0.1,,91\n0.2,1020,\n0.2,,92\n")
    assert (
        channel(logger, "engine_speed").time.tolist()
        == channel(logger, "oil_temperature").time.tolist()
        == [0.0, 0.1, 0.2]
    )
    assert not [warning for warning in logger.warnings if "repeated" in warning]


def test_two_time_columns_side_by_side():
    rows = "\n".join(
        f"{i / 100:.2f},{1000 + i},{i / 10:.1f},{40 + i}" if i < 5 else f"{i / 100:.2f},{1000 + i},," for i in range(9)
    )
    logger = read(f"Time A (s),Engine RPM,Time B (s),Oil Pressure (psi)\n{rows}\n")
    assert [(base.column, base.rate_hz) for base in logger.times] == [("Time A", 100.0), ("Time B", 10.0)]
    assert channel(logger, "engine_speed").time.size == 9
    np.testing.assert_allclose(channel(logger, "oil_pressure").time, [0, 0.1, 0.2, 0.3, 0.4])


def test_a_clock_beside_elapsed_seconds_is_no_second_time_base():
    logger = read("Clock,Elapsed (s),Engine RPM\n14:00:00,0.00,1\n14:00:00,0.50,2\n14:00:01,1.00,3\n14:00:01,1.50,4\n")
    assert [base.column for base in logger.times] == ["Elapsed"]
    assert [item.name for item in logger.channels] == ["Engine RPM"]


def test_repeated_names_are_numbered():
    logger = read("Time [s],Aux,Aux,Aux\n0,1,2,3\n1,1,2,3\n2,1,2,3\n")
    assert [item.name for item in logger.channels] == ["Aux", "Aux (2)", "Aux (3)"]


DROPOUTS = ["NaN", "---", "N/A", "ERR", "#VALUE!", "#N/A", "inf", "lost", "null", "?"]


@pytest.mark.parametrize("word", DROPOUTS)
def test_a_dropout_written_as_text_is_a_gap(word):
    logger = read(f"Time [s],Engine RPM\n0.0,1000\n0.1,{word}\n0.2,1020\n0.3,1030\n")
    np.testing.assert_array_equal(channel(logger, "engine_speed").time, [0.0, 0.2, 0.3])
    assert any("1 of 4 cells" in warning for warning in logger.warnings)


@pytest.mark.parametrize("number", ["1e31", "-1e308", "9" * 200])
def test_a_number_that_no_sensor_shows_is_a_gap_and_said(number):
    logger = read(PLAIN.replace("1100", number))
    assert channel(logger, "engine_speed").values == pytest.approx(np.array([1000, 1250]) * RPM)
    assert "column 'Engine RPM': 1 numbers beyond 1e+30, as no sensor shows: taken as gaps" in logger.warnings


def test_a_channel_that_begins_with_dropouts():
    logger = read("Time [s],Engine RPM\n0.0,ERR\n0.1,ERR\n0.2,1020\n0.3,1030\n0.4,1040\n")
    np.testing.assert_array_equal(channel(logger, "engine_speed").time, [0.2, 0.3, 0.4])


def test_a_column_of_words_is_left_out_and_said():
    logger = read("Time [s],Engine RPM,State\n0.0,1000,idle\n0.1,1010,idle\n0.2,1020,launch\n")
    assert [item.name for item in logger.channels] == ["Engine RPM"]
    assert any("'State' holds words" in warning for warning in logger.warnings)


@pytest.mark.parametrize("end", ["0.4,10", "0.4", "0.4,1040.0,4", "0.4,1040.0,"])
def test_a_last_line_that_was_cut_off_is_left_out(end):
    samples = "0.0,1000.0,40.0\n0.1,1010.0,41.0\n0.2,1020.0,42.0\n0.3,1030.0,43.0\n"
    logger = read(f"Time [s],Engine RPM,Oil Pressure [psi]\n{samples}{end}")
    assert logger.rows == (5 if end.endswith(",") else 4)
    assert channel(logger, "oil_pressure").time[-1] == 0.3
    assert end.endswith(",") or any("line 6" in warning and "cut off" in warning for warning in logger.warnings)


def test_a_whole_last_line_without_newline_is_kept():
    assert read(PLAIN + "0.03,1300").rows == 4


def test_repeated_times_keep_the_first():
    rows = "".join(f"{i / 10:.1f},{i}\n" for i in range(30))
    logger = read(f"Time [s],Engine RPM\n{rows}2.9,999\n3.0,30\n")
    speed = channel(logger, "engine_speed")
    assert speed.time.size == 31
    assert speed.values[29] == pytest.approx(29 * RPM)
    assert any("repeated times: up to 1 of 32" in warning for warning in logger.warnings)


def test_units_are_converted_and_the_assumed_ones_said():
    logger = read(
        "Time [s],G Long [g],Oil Pressure [psi],Coolant Temp [°F],Throttle,Speed [mph]\n"
        "0,1.0,50,212,0,100\n1,1.5,51,212,50,100\n2,-0.5,52,212,100,100\n"
    )
    np.testing.assert_allclose(channel(logger, "acceleration_x").values, np.array([1.0, 1.5, -0.5]) * G)
    # 1 psi = 6894.757 Pa, 212 °F = 373.15 K, 100 mph = 44.704 m/s: NIST SP 811 (2008), appendix B
    assert channel(logger, "oil_pressure").values[0] == pytest.approx(50 * 6894.757, rel=1e-6)
    assert channel(logger, "coolant_temperature").values[0] == pytest.approx(373.15)
    assert channel(logger, "ground_speed").values[0] == pytest.approx(44.704)
    np.testing.assert_allclose(channel(logger, "throttle").values, [0, 0.5, 1.0])
    assert any("'Throttle': no unit is written; taken as %" in warning for warning in logger.warnings)


def test_large_file_is_read_in_pieces_alike(monkeypatch):
    text = "Time [s],Engine RPM,Clock\n" + "".join(
        f"{i / 100:.2f},{1000 + i % 7},10:00:{i / 100:05.2f}\n" for i in range(3000)
    )
    whole = read(text)
    monkeypatch.setattr("runlog.readers.columns.CHUNK", 1000)
    pieces = read(text)
    assert pieces.rows == whole.rows == 3000
    np.testing.assert_array_equal(pieces.channels[0].values, whole.channels[0].values)
    np.testing.assert_array_equal(pieces.channels[0].time, whole.channels[0].time)


def test_switch_words_are_one_and_nought():
    logger = read("Time [s],Trans Brake,Fan\n0.0,On,TRUE\n0.1,On,TRUE\n0.2,Off,FALSE\n")
    assert channel(logger, "launch_switch").values.tolist() == [1, 1, 0]
    assert channel(logger, "Fan").values.tolist() == [1, 1, 0]


def test_a_clock_since_1970_is_counted_from_the_first_sample():
    logger = read("timestamp,RPM\n1933848000000,1000\n1933848000010,1010\n1933848000020,1020\n")
    np.testing.assert_allclose(channel(logger, "engine_speed").time, [0, 0.01, 0.02], atol=1e-9)
    assert any("from the first sample" in warning for warning in logger.warnings)


def test_each_channel_with_its_own_time_column():
    logger = read("RPM Time,RPM,Speed Time,Speed [mph]\n0.0,1000,0.05,1\n0.1,1010,0.15,2\n0.2,1020,0.25,3\n")
    np.testing.assert_allclose(channel(logger, "ground_speed").time, [0.05, 0.15, 0.25])
    np.testing.assert_allclose(channel(logger, "engine_speed").time, [0.0, 0.1, 0.2])


def test_a_stray_quotation_mark_spoils_one_cell_at_most():
    logger = read('Time [s],RPM\n0.0,1000\n0.1,"1010\n0.2,1020\n0.3,1030\n')
    np.testing.assert_allclose(channel(logger, "engine_speed").time, [0.0, 0.1, 0.2, 0.3])


def test_inches_written_as_a_mark_in_the_units_row():
    logger = read('Time,LF Shock,RPM\ns,",rpm\n0.0,1.5,1000\n0.1,1.6,1010\n0.2,1.7,1020\n')
    assert channel(logger, "shock_front_left").values[0] == pytest.approx(1.5 * 0.0254)


def test_header_cells_on_two_lines():
    logger = read('"Time\n(s)","Engine RPM\n(rpm)"\n0.0,1000\n0.1,1010\n0.2,1020\n')
    assert (logger.header_line, logger.first_data_line) == (1, 4)
    assert channel(logger, "engine_speed").unit == "rpm"


def test_remarks_and_a_repeated_header_between_the_samples():
    logger = read("Time [s],RPM\n0.0,1000\n0.1,1010\n# launch\n0.2,1020\nTime [s],RPM\n0.3,1030\n0.4,1040\n")
    np.testing.assert_allclose(channel(logger, "engine_speed").time, [0.0, 0.1, 0.2, 0.3, 0.4])
    assert any("1 line(s) without a time" in warning for warning in logger.warnings)
    assert "the header stands again 1 time(s) among the samples and was left out" in logger.warnings


def test_room_set_aside_by_the_logger_and_not_filled():
    assert read_logger(PLAIN.encode() + bytes(64), "log.csv").rows == 3


def test_a_character_cut_in_two_at_the_end_leaves_the_encoding():
    logger = read_logger("Time [s],Temp [°C]\n0.0,1\n0.1,2\n0.2,3\n0.3,".encode() + b"\xc2", "log.csv")
    assert logger.encoding == "utf-8"
    assert channel(logger, "Temp").unit == "°C"


# --- faults ----------------------------------------------------------------------------------------------------------

_WORDS = b'Session,test\nRecorded,2031-04-12 13:32:13\nComment,"first full run, left lane"\n'

FAULTS = [
    ("empty", b"", "found an empty file"),
    ("blank lines", b"\n\n  \n", "found an empty file"),
    ("binary", bytes(range(256)) * 20, "found a file that isn't text"),
    ("archive", b"PK\x03\x04\x14\x00\x00\x00\x08\x00" + b"\x00\x01\x02" * 50, "found a file that isn't text"),
    ("header alone", b"Time [s],Engine RPM\n", "found a header without samples"),
    ("prose", b"nothing to see\nhere, really\nnothing at all\n", "found no lines of numbers"),
    ("a number in every other line", b"0.008\n],\n8\n0.008\n],\n", "found no time base"),
    ("words around one number", _WORDS + b"0\n" + _WORDS + b"\r", "found "),
    ("no time", b"Engine RPM,Oil\n1000,5\n1010,6\n1005,4\n", "no time base.*'Engine RPM', 'Oil'.*--rate HZ"),
    ("time alone", b"Time [s]\n0\n1\n2\n", "found no column of numbers beside the time"),
    (
        "time falls",
        b"Time [s],Engine RPM\n0.0,1\n0.1,2\n0.2,3\n0.15,4\n0.3,5\n",
        r"line 5, column Time: found time falls from 0.2 s to 0.15 s; accepted: times that increase.*Split the file",
    ),
    ("time falls after blank lines", b"Time [s],RPM\n0.0,1\n\n0.1,2\n\n0.2,3\n0.1,4\n", "line 7, column Time"),
    (
        "coarse clock",
        b"Time,Engine RPM\n" + b"".join(b"10:00:%02d,%d\n" % (i // 10, i) for i in range(100)),
        "90 of 100 samples at a time that the sample before them already has.*--rate HZ",
    ),
]


@pytest.mark.parametrize(("content", "message"), [case[1:] for case in FAULTS], ids=[case[0] for case in FAULTS])
def test_faults_say_what_was_found_where(content, message):
    with pytest.raises(FileFaults, match=f"(?s)log.csv.*{message}"):
        read_logger(content, "log.csv")


def test_rate_settles_a_file_without_time():
    logger = read("Engine RPM,Oil Pressure [psi]\n1000,5\n1010,6\n1005,4\n", rate_hz=50)
    np.testing.assert_allclose(channel(logger, "engine_speed").time, [0, 0.02, 0.04])
    assert (logger.times[0].column, logger.times[0].rate_hz) == ("", 50)


def test_a_counter_of_samples_keeps_lost_ones_lost():
    logger = read("Sample,Engine RPM\n0,1000\n1,1010\n4,1040\n5,1050\n", rate_hz=10)
    np.testing.assert_allclose(channel(logger, "engine_speed").time, [0, 0.1, 0.4, 0.5])


# --- channel maps ----------------------------------------------------------------------------------------------------


def test_channel_map_settles_channels_and_time():
    wish = read_channel_map(
        b'[channels]\n"DS RPM" = "driveshaft_speed"\n"Aux 3" = "ignore"\n'
        b'"Aux 4" = { channel = "oil_pressure", unit = "psi", scale = 25.0, invert = true }\n'
        b'[time]\ncolumn = "Takt"\nunit = "ms"\n',
        "map.toml",
    )
    logger = read("Takt,DS RPM,Aux 3,Aux 4\n0,1,1,-1\n10,2,1,-2\n20,3,1,-2\n", channel_map=wish)
    assert [item.canonical for item in logger.channels] == ["driveshaft_speed", "oil_pressure"]
    assert [item.confidence for item in logger.channels] == [1.0, 1.0]
    assert channel(logger, "oil_pressure").values[0] == pytest.approx(25 * 6894.757, rel=1e-6)
    np.testing.assert_allclose(logger.channels[0].time, [0, 0.01, 0.02])


def test_channel_map_gives_the_rate():
    wish = read_channel_map(b"[time]\nrate_hz = 20\n", "map.toml")
    assert read("Engine RPM\n1000\n1010\n1020\n", channel_map=wish).times[0].rate_hz == 20


def test_channel_map_that_does_not_fit_says_so():
    wish = read_channel_map(b'[channels]\n"Nope" = "throttle"\n', "map.toml")
    assert any("'Nope'" in warning for warning in read(PLAIN, channel_map=wish).warnings)
    wish = read_channel_map(b'[time]\ncolumn = "Takt"\n', "map.toml")
    with pytest.raises(FileFaults, match="no column 'Takt'"):
        read(PLAIN, channel_map=wish)


def test_fingerprint_is_of_the_header_not_of_the_samples():
    assert read(PLAIN).fingerprint == read(PLAIN + "0.03,1\n").fingerprint == read(PLAIN.replace(",", ";")).fingerprint
    assert read(PLAIN).fingerprint != read(PLAIN.replace("Engine", "Motor")).fingerprint
    assert read(PLAIN).fingerprint != read(PLAIN.replace("[rpm]", "[1/s]")).fingerprint


# --- telling kinds apart ---------------------------------------------------------------------------------------------

OTHER_KINDS = [
    "car,date,time,track,run,lane,purpose,reaction_s,t60_s,t330_s\nheron,2031-04-12,10:15,marsh,1,left,60,0.412,1.412,\n",
    "item,value,unit\nrear tyre pressure,13.5,psi\nballast rear,25,lb\n",
    "time,temperature_F,relative_humidity_pct,station_pressure_inHg\n2031-04-12T10:00,88,60,29.4\n2031-04-12T11:00,90,58,29.4\n",
    "[car]\nname = 'heron'\n",
    "",
]


@pytest.mark.parametrize("text", OTHER_KINDS)
def test_other_files_do_not_look_like_a_logger(text):
    assert not looks_like_logger(text.encode())


@pytest.mark.parametrize("case", DIALECTS, ids=[case[0] for case in DIALECTS])
def test_logger_exports_look_like_one(case):
    assert looks_like_logger(case[1].encode(case[2]))


# --- files that nobody here wrote ------------------------------------------------------------------------------------

REAL = Path(__file__).parents[3] / "shared" / "realdata"
needs_real = pytest.mark.skipif(not REAL.is_dir(), reason="the folder of real files is not here")


def real(name):
    return read_logger((REAL / name).read_bytes(), name)


@needs_real
def test_real_polled_channels():
    """13,817 m by speed, at most 118 km/h and 3,632 rpm in 10,176 rows: note that came with the file."""
    logger = real("obd_polled_a.csv")
    speed = channel(logger, "ground_speed")
    assert logger.rows == 10_176
    assert np.trapezoid(speed.values, speed.time) == pytest.approx(13_817, abs=1)
    assert speed.values.max() * 3.6 == pytest.approx(118)
    assert channel(logger, "engine_speed").values.max() / RPM == pytest.approx(3632)
    assert {"coolant_temperature", "manifold_pressure", "throttle", "intake_temperature", "air_flow"} <= {
        item.canonical for item in logger.channels
    }


@needs_real
def test_real_dynamometer_cycle():
    """7.483 miles by speed (the driving schedule has 7.45): note that came with the file."""
    speed = channel(real("dyno_cycle_1.txt"), "Dyno_Spd")
    assert np.trapezoid(speed.values, speed.time) / 1609.344 == pytest.approx(7.483, abs=0.001)


@needs_real
def test_real_two_time_bases():
    """400 Hz for 4.55 s and 20 Hz for 90.9 s, at most 10.8 g: note that came with the file."""
    logger = real("rocket_two_time_bases.csv")
    assert [round(base.rate_hz) for base in logger.times] == [400, 20]
    assert channel(logger, "Axial Accel").values.max() / G == pytest.approx(10.8, abs=0.01)
    assert channel(logger, "Axial Accel").time[-1] == pytest.approx(4.54625)
    assert channel(logger, "Altitude").time[-1] == pytest.approx(90.945)


@needs_real
def test_real_sample_interval_in_the_preamble():
    """Interval 39.0625 µs and the start on 19 February 2013 at 09:51:40.727 stand in the file's own header."""
    logger = real("meas_short.lvm")
    assert (logger.delimiter, logger.decimal, logger.rows) == ("\t", ",", 10)
    assert logger.times[0].rate_hz == pytest.approx(25_600)
    assert logger.started_at is not None
    assert logger.started_at.replace(microsecond=0) == dt.datetime(2013, 2, 19, 9, 51, 40)
    assert [item.unit for item in logger.channels] == ["Newtons", "m/s^2"]


@needs_real
def test_real_start_and_increment_in_the_units_row():
    """200 kHz from -3.5 ms: note that came with the file."""
    logger = real("scope_start_increment.csv")
    assert (logger.times[0].start, logger.times[0].rate_hz) == (pytest.approx(-0.0035), pytest.approx(200_000))
    assert [(item.name, item.unit, item.time.size) for item in logger.channels] == [("CH2", "Volt", 1400)]


@needs_real
def test_real_standing_start():
    """33.54 m by speed: note that came with the file."""
    speed = channel(real("sprint_radar_bom.csv"), "ground_speed")
    assert np.trapezoid(speed.values, speed.time) == pytest.approx(33.54, abs=0.01)


@needs_real
def test_real_weather_station_is_no_logger():
    assert not looks_like_logger((REAL / "station_hourly_us_units.csv").read_bytes())


def test_a_time_column_without_a_time_is_refused_not_read() -> None:
    """A line of slips among the samples, as a damaged disk mixes files: found by fuzzing."""
    mixed = (
        '540,1350,0,0.023,0.4,0,44.,0,0.033,0.5,0,44.5,162.5,13.7, straight, nothing loose"\n'
        "heron,2031-04-12,11:17,lowfield,24.020,6.037,121.31,7.792,9.226,157.61,,car: tyre shake,"
        '"shook hard at the hit, driver stayed in it"\n'
        "heron,2031-04-12,16:44,lowfield,9,left,full,0.431,1.413,3.838,5.879,116.92,7.916,9.924,106.77,330,"
        'driver: throttle lift,"moved,-0.04,0.3,0,300,74.8,13.71,-0.6\n'
    )
    with pytest.raises(FileFaults, match="no time that can be read"):
        read_logger(mixed.encode(), "mixed.csv")


def test_a_time_in_days_of_a_spreadsheet():
    """Day 47950.5 of a spreadsheet is noon; 50 Hz for two seconds, written to a hundred-millionth of a day (0.9 ms)."""
    rows = "".join(f"{47950.5 + n / 50 / 86400:.8f},{900 + n}\n" for n in range(100))
    logger = read(f"Date/Time,RPM\n{rows}")
    np.testing.assert_allclose(channel(logger, "engine_speed").time, np.arange(100) / 50, atol=1e-3)
    assert "column 'Date/Time' counts in days; times are from the first sample" in logger.warnings
    seconds = "".join(f"{36000.5 + n / 50:.2f},{900 + n}\n" for n in range(100))  # of the day, not days
    assert read(f"Time,RPM\n{seconds}").times[0].rate_hz == pytest.approx(50)


@pytest.mark.parametrize("name", ["ms", "Milliseconds", "Fraction [ms]"])
def test_a_clock_of_whole_seconds_with_milliseconds_beside_it(name):
    rows = "".join(f"10:00:{n // 50:02d},{20 * (n % 50)},{900 + n}\n" for n in range(120))
    logger = read(f"Clock,{name},RPM\n{rows}")
    np.testing.assert_allclose(channel(logger, "engine_speed").time, np.arange(120) / 50, atol=1e-9)
    assert [item.name for item in logger.channels] == ["RPM"]
