"""Timing slips: what is understood, what is refused, and increments worked by hand."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.constants import MILE_PER_HOUR
from runlog.problems import FileFaults
from runlog.readers.slip import COLUMNS, is_slip_header, read_slips
from runlog.records import Given, RunKey, Slip
from runlog.workflows.lessons.learn import increments

DAY = dt.date(2031, 4, 12)
HEADER = (
    "car,date,time,track,run,lane,purpose,reaction_s,t60_s,t330_s,t660_s,v660_mph,t1000_s,t1320_s,v1320_mph,"
    "true_to_ft,spoiled,note"
)
FULL = "heron,2031-04-12,13:32,lowfield,5,left,full,0.293,1.419,3.842,5.866,121.24,7.609,9.066,155.72,,,first"


def read(*lines: str, given: Given | None = None) -> tuple[Slip, ...]:
    return read_slips("\n".join(lines).encode(), "slips.csv", given)


def refused(*lines: str, given: Given | None = None) -> list[str]:
    with pytest.raises(FileFaults) as caught:
        read(*lines, given=given)
    return [str(problem) for problem in caught.value.problems]


def test_a_whole_slip():
    (slip,) = read(HEADER, FULL)
    assert slip == Slip(
        key=RunKey("heron", DAY, 5),
        time=dt.time(13, 32),
        track="lowfield",
        lane="left",
        purpose="full",
        reaction=0.293,
        times={60: 1.419, 330: 3.842, 660: 5.866, 1000: 7.609, 1320: 9.066},
        speeds={660: 121.24 * MILE_PER_HOUR, 1320: 155.72 * MILE_PER_HOUR},
        note="first",
    )


def test_increments_by_hand():
    # from the slip above: 1.419; 3.842 − 1.419; 5.866 − 3.842; 7.609 − 5.866; 9.066 − 7.609
    (slip,) = read(HEADER, FULL)
    assert increments(slip.times) == pytest.approx([1.419, 2.423, 2.024, 1.743, 1.457], abs=1e-9)
    # average speeds of the last two by hand: 340 ft / 1.743 s = 195.07 ft/s = 133.0 mph; 320/1.457 = 219.63 = 149.7
    # mph; the printed trap speeds of 121.24 before and 155.72 after them fit, so feet and mph weren't confused
    assert slip.speeds[660] < 133.0 * 0.44704 < 149.7 * 0.44704 < slip.speeds[1320]


def test_increments_next_to_a_missing_time_are_missing():
    (slip,) = read("car,date,run,t60_s,t660_s", "heron,2031-04-12,1,1.4,5.9")
    found = increments(slip.times)
    assert found[0] == 1.4
    assert found[1] != found[1]
    assert found[2] != found[2]


def test_columns_in_another_order_and_missing():
    (slip,) = read("t330_s,run,date,t60_s,car", "3.9,2,2031-04-12,1.45,heron")
    assert slip == Slip(RunKey("heron", DAY, 2), times={60: 1.45, 330: 3.9})


def test_a_partial_slip():
    (slip,) = read(HEADER, "heron,2031-04-12,,,1,,60,,1.412,,,,,,,,,")
    assert slip == Slip(RunKey("heron", DAY, 1), purpose="60", times={60: 1.412})


@pytest.mark.parametrize("name", COLUMNS)
def test_every_trade_spelling_of_a_column(name):
    values = {"car": "heron", "date": "2031-04-12", "run": "3", "time": "10:05", "lane": "right", "true_to_ft": "330"}
    for spelling in (name, name.upper(), *COLUMNS[name]):
        header = {"car": "car", "date": "date", "run": "run"} | {name: spelling}
        row = [values.get(column, "9.5" if column.startswith(("t1", "v")) else "5") for column in header]
        (slip,) = read(",".join(header.values()), ",".join(row))
        assert slip.key == RunKey("heron", DAY, 3)


def test_headers_as_people_write_them():
    (slip,) = read("Car,Day,Run #,R/T,60',330 ft (s),1/8 ET,1/8 MPH,1000',ET,MPH".replace("Run #", "Run No"),
                   "heron,2031-04-12,3,.301,1.41,3.85,5.87,121,7.61,9.07,155")  # fmt: skip
    assert slip.reaction == 0.301
    assert slip.times == {60: 1.41, 330: 3.85, 660: 5.87, 1000: 7.61, 1320: 9.07}
    assert set(slip.speeds) == {660, 1320}


def test_decimal_comma_and_utf16():
    text = "car;date;run;t60_s;note\nheron;2031-04-12;1;1,412;größer\n"
    for encoding in ("utf-8", "utf-16", "latin-1"):
        (slip,) = read_slips(text.encode(encoding), "slips.csv")
        assert (slip.times, slip.note) == ({60: 1.412}, "größer")


def test_options_stand_in_for_missing_columns():
    key = RunKey("heron", DAY, 4)
    (slip,) = read("t60_s", "1.41", given=Given(run=key, track="Lowfield"))
    assert (slip.key, slip.track) == (key, "lowfield")
    slips = read("date,run,t60_s", "2031-04-12,1,1.41", "2031-04-13,1,1.42", given=Given(car="plover"))
    assert [str(slip.key) for slip in slips] == ["plover/2031-04-12/1", "plover/2031-04-13/1"]


def test_what_the_file_says_outranks_the_options():
    (slip,) = read("car,run,t60_s,track", "plover,7,1.41,upfell", given=Given(run=RunKey("heron", DAY, 4), track="x"))
    assert (str(slip.key), slip.track) == ("plover/2031-04-12/7", "upfell")


@pytest.mark.parametrize(("lane", "meant"), [("L", "left"), ("Right", "right"), ("r", "right"), ("", None)])
def test_lanes(lane, meant):
    assert read("car,date,run,lane,t60_s", f"heron,2031-04-12,1,{lane},1.4")[0].lane == meant


@pytest.mark.parametrize(("text", "meant"), [("no", None), ("-", None), ("car: spin", "car: spin"), ("yes", "yes")])
def test_spoiled_is_a_reason_or_nothing(text, meant):
    assert read("car,date,run,t60_s,spoiled", f"heron,2031-04-12,1,1.4,{text}")[0].spoiled == meant


@pytest.mark.parametrize(
    ("column", "cell", "message"),
    [
        ("t60_s", "abc", "line 2, column t60_s: found 'abc'; accepted: seconds from 0.3 to 99"),
        ("t60_s", "0.1", "found '0.1'; accepted: seconds from 0.3 to 99"),
        ("t60_s", "1:05.2", "found '1:05.2'; accepted: seconds"),
        ("run", "0", "column run: found '0'; accepted: a run number from 1 to 9999"),
        ("run", "1.5", "column run: found '1.5'; accepted: a run number, a whole number"),
        ("run", "", "column run: found nothing; accepted: a run number from 1 on"),
        ("date", "12.04.2031", "column date: found '12.04.2031'; accepted: a date such as 2031-04-12"),
        ("date", "", "column date: found nothing; accepted: a date"),
        ("car", "", "column car: found nothing; accepted: a car's name, here or as an option"),
        ("car", "Blue Heron", "column car: found 'Blue Heron'; accepted: a car's name: letters, digits, - and _"),
        ("time", "25:00", "column time: found '25:00'; accepted: a clock time such as 10:05"),
        ("lane", "middle", "column lane: found 'middle'; accepted: left or right"),
        ("true_to_ft", "1500", "column true_to_ft: found '1500'; accepted: feet from 0 to 1320"),
        ("reaction_s", "-3", "column reaction_s: found '-3'; accepted: seconds from -2 to 30"),
        ("v660_mph", "900", "column v660_mph: found '900'; accepted: miles per hour from 5 to 400"),
    ],
)
def test_what_a_cell_may_not_hold(column, cell, message):
    cells = {"car": "heron", "date": "2031-04-12", "run": "1", "t60_s": "1.4"} | {column: cell}
    assert any(message in fault for fault in refused(",".join(cells), ",".join(cells.values())))


def test_times_must_grow():
    faults = refused("car,date,run,t60_s,t330_s", "heron,2031-04-12,1,1.4,1.3")
    assert faults == [
        "slips.csv, line 2, column t330_s: found 1.300 s at 330 ft, not above 1.400 s at 60 ft; "
        "accepted: times that grow with the distance"
    ]


@pytest.mark.parametrize(
    ("t60", "t330", "message"),
    [
        # 270 ft in 0.4 s is 675 ft/s, 460 mph; in 45 s it is 6 ft/s, 4 mph; worked by hand
        ("1.4", "1.8", "column t330_s: found 460 mph on average from 60 to 330 ft; accepted: 4 to 403 mph"),
        ("1.4", "46.4", "column t330_s: found 4 mph on average from 60 to 330 ft"),
        # 60 ft in 21 s is 2.9 ft/s, 1.9 mph
        ("21", "", "column t60_s: found 2 mph on average from 0 to 60 ft"),
    ],
)
def test_speeds_between_beams_must_be_plausible(t60, t330, message):
    (fault,) = refused("car,date,run,t60_s,t330_s", f"heron,2031-04-12,1,{t60},{t330}")
    assert message in fault


@pytest.mark.parametrize("mph", ["20", "330"])
def test_a_trap_speed_must_go_with_its_time(mph):
    # 660 ft in 5.866 s is 112.5 ft/s, 76.7 mph on average; steady acceleration would give twice that in the trap
    (fault,) = refused("car,date,run,t660_s,v660_mph", f"heron,2031-04-12,1,5.866,{mph}")
    assert f"{mph}.0 mph at 660 ft after 5.866 s; accepted: a trap speed that goes with the times" in fault


def test_a_figure_in_another_unit_is_told_what_it_would_be():
    """1.609344 km to the mile, and a thousand milliseconds to the second, by definition."""
    (fault,) = refused("car,date,run,t660_s,v660_mph", "heron,2031-04-12,1,5.866,193.1")
    assert fault.endswith("In kilometres per hour it would go with them: the column for those is v660_kmh.")
    (fault,) = refused("car,date,run,t60_s", "heron,2031-04-12,1,1412")
    assert "If these are milliseconds, write 1.412." in fault
    (fault,) = refused("car,date,run,t660_s,v660_mph", "heron,2031-04-12,1,5.866,20")
    assert "it would go with them" not in fault


def test_trap_speeds_in_kilometres_per_hour():
    """1.609344 km to the mile, by definition."""
    times = "car,date,run,t660_s"
    (metric,) = read(f"{times},v660_kmh", "heron,2031-04-12,1,5.866,193.12128")
    (customary,) = read(f"{times},v660_mph", "heron,2031-04-12,1,5.866,120")
    assert metric.speeds == pytest.approx(customary.speeds)
    (fault,) = refused(f"{times},v660_mph,v660_kmh", "heron,2031-04-12,1,5.866,120,193.1")
    assert "column v660_kmh: found 193.1, beside a speed in mph; accepted: one of the two" in fault
    (fault,) = refused(f"{times},v660_kmh", "heron,2031-04-12,1,5.866,40")
    assert fault.endswith("In miles per hour it would go with them: the column for those is v660_mph.")


def test_the_run_twice():
    row = "heron,2031-04-12,1,1.4"
    (fault,) = refused("car,date,run,t60_s", row, "heron,2031-04-12,2,1.4", row)
    assert (
        fault == "slips.csv, line 4: found run heron/2031-04-12/1 again, as in line 2; accepted: each run once a file"
    )


def test_unknown_double_and_missing_columns():
    faults = refused("car,date,60ft,t60_s,colour", "heron,2031-04-12,1.4,1.4,red")
    assert "column 't60_s': found a second column for t60_s, beside '60ft'; accepted: one of the two" in faults[0]
    assert "column 'colour': found an unknown column; accepted: car, date, time, track" in faults[1]
    assert "header: found no column run; accepted: a column run, or the option that states it" in faults[2]
    assert len(faults) == 3


def test_every_fault_of_every_row_is_reported_and_names_the_column_as_written():
    faults = refused("car,date,run,60 ft,330 ft", "heron,2031-04-12,x,1.4,3.9", "heron,soon,2,zz,3.9")
    assert [fault.split(": found")[0] for fault in faults] == [
        "slips.csv, line 2, column run",
        "slips.csv, line 3, column date",
        "slips.csv, line 3, column 60 ft",
    ]


@pytest.mark.parametrize(
    ("header", "is_slip"),
    [
        (("car", "date", "run", "t60_s"), True),
        (("number", "60ft", "330ft"), True),
        (("60ft", "330ft"), True),  # its run comes as an option
        (("t60_s",), False),
        (("time", "engine_rpm", "et"), False),
        (("item", "value", "unit"), False),
        ((), False),
    ],
)
def test_the_header_of_a_slip(header, is_slip):
    assert is_slip_header(header) is is_slip


@st.composite
def slips(draw: st.DrawFn) -> Slip:
    marks = draw(st.integers(0, 5))
    gaps = draw(st.lists(st.integers(1200, 1500), min_size=5, max_size=5))
    times = [sum(gaps[: n + 1]) / 1000 for n in range(5)]
    text = st.none() | st.text("abc xyz,;'", min_size=1, max_size=12).map(str.strip).filter(bool)
    return Slip(
        key=RunKey(draw(st.sampled_from(["heron", "old_heron", "c-3"])), draw(st.dates()), draw(st.integers(1, 9999))),
        time=draw(st.none() | st.times().map(lambda time: time.replace(microsecond=0))),
        track=draw(st.none() | st.just("lowfield")),
        lane=draw(st.sampled_from([None, "left", "right"])),
        purpose=draw(text),
        reaction=draw(st.none() | st.integers(-2000, 30000).map(lambda n: n / 1000)),
        times=dict(list(zip((60, 330, 660, 1000, 1320), times, strict=True))[:marks]),
        true_to_ft=draw(st.none() | st.sampled_from([0, 60, 330, 1320])),
        spoiled=draw(st.none() | st.just("car: tyre shake")),
        note=draw(text),
    )


@given(slips())
def test_a_slip_that_is_written_is_read(slip):
    cells = {
        "car": slip.key.car, "date": slip.key.date, "run": slip.key.number, "time": slip.time, "track": slip.track,
        "lane": slip.lane, "purpose": slip.purpose, "reaction_s": slip.reaction, "true_to_ft": slip.true_to_ft,
        "spoiled": slip.spoiled, "note": slip.note, **{f"t{feet}_s": time for feet, time in slip.times.items()},
    }  # fmt: skip
    row = ",".join("" if cell is None else f'"{cell}"' for cell in cells.values())
    assert read(",".join(cells), row) == (slip,)
