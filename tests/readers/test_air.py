"""Air readings: units in several spellings, station pressure and altimeter setting, and what is refused."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.problems import FileFaults
from runlog.readers.air import is_air_header, read_air
from runlog.records import AirReading, Given

HEADER = "time,temperature_F,relative_humidity_pct,station_pressure_inHg"
ROW = "2031-04-12T10:00,90,60,29.40"


def read(*lines: str, given: Given | None = None) -> tuple[tuple[str | None, AirReading], ...]:
    return read_air("\n".join(lines).encode(), "air.csv", given)


def one(*lines: str, given: Given | None = None) -> AirReading:
    ((_, reading),) = read(*lines, given=given)
    return reading


def refused(*lines: str, given: Given | None = None) -> list[str]:
    with pytest.raises(FileFaults) as caught:
        read(*lines, given=given)
    return [str(problem) for problem in caught.value.problems]


def test_a_whole_reading_in_si():
    reading = one(
        f"{HEADER},wind_speed_mph,wind_from_deg,track_temperature_F,track",
        f"{ROW},10,257,104,Lowfield",
    )
    assert reading.time == dt.datetime(2031, 4, 12, 10, 0)
    # by hand: (90 + 459.67)/1.8; 29.40 × 3386.389; 10 × 0.44704; (104 − 32)/1.8 + 273.15
    assert reading.temperature == pytest.approx(305.3722, abs=1e-4)
    assert reading.relative_humidity == pytest.approx(0.60)
    assert reading.station_pressure == pytest.approx(99559.8, abs=0.1)
    assert reading.wind_speed == pytest.approx(4.4704)
    assert reading.wind_from_deg == 257.0
    assert reading.track_temperature == pytest.approx(313.15)
    assert reading.source == "station pressure"


def test_what_was_not_read_is_none():
    reading = one(f"{HEADER},wind_speed_mph,wind_from_deg,track_temperature_F", f"{ROW},,,")
    assert (reading.wind_speed, reading.wind_from_deg, reading.track_temperature) == (None, None, None)


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("temperature_F", "68"),
        ("temperature_°F", "68"),
        ("Temperature (deg F)", "68"),
        ("Temperature [°C]", "20"),
        ("temperature_c", "20"),
        ("temperature_K", "293.15"),
    ],
)
def test_spellings_of_temperature(column, cell):
    header = f"time,{column},relative_humidity_pct,station_pressure_hPa"
    assert one(header, f"2031-04-12T10:00,{cell},50,1000").temperature == pytest.approx(293.15)


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("station_pressure_hPa", "1000"),
        ("station_pressure_mbar", "1000"),
        ("Station Pressure [mb]", "1000"),
        ("station_pressure_kPa", "100"),
        ("station_pressure_Pa", "100000"),
        ("station_pressure_inHg", "29.530"),  # 1000 hPa / 33.86389 hPa
        ("station pressure (in Hg)", "29.530"),
        ("station_pressure_mmHg", "750.06"),  # 1000 hPa / 1.333224 hPa
    ],
)
def test_spellings_of_pressure(column, cell):
    found = one(f"time,temperature_C,relative_humidity_pct,{column}", f"2031-04-12T10:00,20,50,{cell}")
    assert found.station_pressure == pytest.approx(100_000, rel=1e-5)


@pytest.mark.parametrize(
    ("column", "cell"),
    [("relative_humidity_pct", "50"), ("Relative Humidity [%]", "50"), ("relative_humidity_fraction", "0.5")],
)
def test_spellings_of_humidity(column, cell):
    found = one(f"time,temperature_C,{column},station_pressure_hPa", f"2031-04-12T10:00,20,{cell},1000")
    assert found.relative_humidity == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("column", "cell", "humidity", "within"),
    [
        # dew points of 30 °C and 70 %, 101325 Pa: PsychroLib 23.928, CoolProp's real gas 23.931 °C
        ("dew_point_C", "23.931", 0.70, 5e-4),
        ("Dew Point [°F]", "75.076", 0.70, 5e-4),
        # ASHRAE Handbook—Fundamentals 2017 ch. 1 example 1, read off a chart: 40 °C dry, 20 °C wet, 14 %
        ("wet_bulb_C", "20", 0.14, 0.01),
    ],
)
def test_humidity_told_by_another_temperature(column, cell, humidity, within):
    dry = "40" if column.startswith("wet") else "30"
    found = one(f"time,temperature_C,{column},station_pressure_hPa", f"2031-04-12T10:00,{dry},{cell},1013.25")
    assert found.relative_humidity == pytest.approx(humidity, abs=within)
    name = "wet bulb" if column.startswith("wet") else "dew point"
    assert found.source == f"station pressure, humidity from the {name}"


def test_dew_point_with_an_altimeter_setting():
    """The dew point says the vapour's pressure, so the humidity is nearly the same whatever the station's pressure."""
    header = "time,temperature_C,dew_point_C,altimeter_hPa,elevation_m"
    found = one(header, "2031-04-12T10:00,30,23.931,1013.25,800")
    assert found.relative_humidity == pytest.approx(0.70, abs=1e-3)
    assert found.source == "altimeter setting and elevation, humidity from the dew point"


@pytest.mark.parametrize(
    ("column", "cell", "message"),
    [
        ("dew_point_C", "31", "column dew_point_C: found a dew point of 31.0 °C above the air's 30.0 °C can't be"),
        ("wet_bulb_C", "2", "column wet_bulb_C: found a wet bulb of 2.0 °C in air of 30.0 °C can't be: even dry air"),
        ("wet_bulb_C", "-2", "column wet_bulb_C: found '-2'; accepted: °C from 0 to 60"),
        ("dew_point_C", "", "column dew_point_C: found nothing; accepted: a value in every row"),
    ],
)
def test_a_temperature_that_cant_tell_the_humidity(column, cell, message):
    (fault,) = refused(f"time,temperature_C,{column},station_pressure_hPa", f"2031-04-12T10:00,30,{cell},1000")
    assert message in fault


@pytest.mark.parametrize(
    ("column", "cell"),
    [("wind_speed_m_s", "5"), ("wind_speed_m/s", "5"), ("wind_speed_km_h", "18"), ("wind_speed_kt", "9.7192")],
)
def test_spellings_of_wind(column, cell):
    assert one(f"{HEADER},{column}", f"{ROW},{cell}").wind_speed == pytest.approx(5.0, rel=1e-4)


# 30.10 inHg at 1500 m: 851.0 hPa by the Smithsonian Meteorological Tables (1951) p. 269 as MetPy's documentation quotes
# it; by the exact standard atmosphere 850.79 hPa, by the US National Weather Service's form 850.52 hPa
@pytest.mark.parametrize(
    ("lines", "given"),
    [
        (
            (
                "time,temperature_C,relative_humidity_pct,altimeter_inHg,elevation_m",
                "2031-04-12T10:00,20,50,30.10,1500",
            ),
            None,
        ),
        (
            (
                "time,temperature_C,relative_humidity_pct,altimeter_inHg,elevation_ft",
                "2031-04-12T10:00,20,50,30.10,4921.26",
            ),
            None,
        ),
        (
            ("time,temperature_C,relative_humidity_pct,altimeter_inHg", "2031-04-12T10:00,20,50,30.10"),
            Given(elevation=1500),
        ),
        (
            ("time,temperature_C,relative_humidity_pct,altimeter_hPa", "2031-04-12T10:00,20,50,1019.303"),
            Given(elevation=1500),
        ),
    ],
)
def test_altimeter_setting_with_an_elevation(lines, given):
    reading = one(*lines, given=given)
    assert reading.station_pressure / 100 == pytest.approx(850.9, abs=0.4)
    assert reading.source == "altimeter setting and elevation"


def test_the_higher_the_track_the_lower_the_pressure_of_one_setting():
    header, row = "time,temperature_C,relative_humidity_pct,altimeter_inHg", "2031-04-12T10:00,20,50,30.10"
    low, high = (one(header, row, given=Given(elevation=height)).station_pressure for height in (34.0, 640.0))
    assert high < low < 30.10 * 3386.4


def test_the_track_comes_from_the_row_or_the_option():
    found = read(f"{HEADER},track", f"{ROW},Lowfield", "2031-04-12T10:30,91,58,29.41,", given=Given(track="Upfell"))
    assert [track for track, _ in found] == ["lowfield", "upfell"]


def test_decimal_comma():
    text = f"{HEADER}\n{ROW}".replace(",", ";").replace(".", ",")
    assert one(text).station_pressure == pytest.approx(99559.8, abs=0.1)


def test_the_same_reading_twice_counts_once():
    assert len(read(HEADER, ROW, ROW)) == 1


@pytest.mark.parametrize(
    ("header", "message"),
    [
        (
            "time,temperature_F,relative_humidity_pct",
            "header: found no pressure column; accepted: either station_pressure_<unit>",
        ),
        (f"{HEADER},altimeter_inHg", "header: found station_pressure and altimeter; accepted: either"),
        (
            "time,temperature_F,relative_humidity_pct,altimeter_inHg",
            "header: found an altimeter setting and no elevation; accepted: a column elevation_<unit>. Or give",
        ),
        (
            "temperature_F,relative_humidity_pct,station_pressure_hPa",
            "header: found no column time; accepted: a column time",
        ),
        ("time,relative_humidity_pct,station_pressure_hPa", "found no column temperature_<unit>"),
        ("time,temperature_F,station_pressure_hPa", "found no column relative_humidity_<unit>"),
        (
            f"{HEADER},temperature_C",
            "column 'temperature_C': found a second column for temperature, beside 'temperature_F'",
        ),
        (
            f"{HEADER},cloud_cover",
            "column 'cloud_cover': found an unknown column; accepted: time, track, wind_from_deg, temp",
        ),
        (
            f"{HEADER},dew_point_F",
            "header: found relative_humidity and dew_point; accepted: either relative_humidity_<unit>, dew_point_",
        ),
        (
            "time,temperature_F,dew_point_psi,station_pressure_hPa",
            "column 'dew_point_psi': found the unit 'psi'; accepted: dew_point_ and one of K, °C",
        ),
        (
            HEADER.replace("_F", "_psi"),
            "column 'temperature_psi': found the unit 'psi'; accepted: temperature_ and one of K, °C",
        ),
        (
            HEADER.replace("_inHg", "_feet"),
            "column 'station_pressure_feet': found the unit 'feet'; accepted: station_pressure_ and",
        ),
    ],
)
def test_what_a_header_may_not_be(header, message):
    (fault,) = refused(header, ",".join(["2031-04-12T10:00"] * len(header.split(","))))
    assert message in fault


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (
            "10:00,90,60,29.40",
            "line 2, column time: found '10:00'; accepted: a local date and time such as 2031-04-12T10:05, no zone",
        ),
        ("2031-04-12T10:00Z,90,60,29.40", "column time: found '2031-04-12T10:00Z'; accepted: a local date and time"),
        (",90,60,29.40", "column time: found ''; accepted: a local date and time"),
        ("2031-04-12T10:00,,60,29.40", "line 2, column temperature_F: found nothing; accepted: a value in every row"),
        ("2031-04-12T10:00,90,,29.40", "column relative_humidity_pct: found nothing; accepted: a value in every row"),
        ("2031-04-12T10:00,90,60,", "column station_pressure_inHg: found nothing; accepted: a value in every row"),
        # bounds in the file's own unit: −50…60 °C is −58…140 °F, 500…1100 hPa is 14.765…32.483 inHg
        ("2031-04-12T10:00,900,60,29.40", "column temperature_F: found '900'; accepted: °F from -58 to 140"),
        ("2031-04-12T10:00,90,101,29.40", "column relative_humidity_pct: found '101'; accepted: % from 0 to 100"),
        (
            "2031-04-12T10:00,90,60,995.6",
            "column station_pressure_inHg: found '995.6'; accepted: inHg from 14.765 to 32.483",
        ),
        ("2031-04-12T10:00,90,T,29.40", "column relative_humidity_pct: found 'T'; accepted: % from 0 to 100"),
    ],
)
def test_what_a_row_may_not_be(row, message):
    (fault,) = refused(HEADER, row)
    assert message in fault


def test_other_air_at_the_same_time():
    (fault,) = refused(HEADER, ROW, ROW.replace("90", "91"))
    assert "line 3: found other air at 2031-04-12T10:00:00; accepted: one reading a time" in fault


def test_fractions_in_a_column_of_percent():
    (fault,) = refused(HEADER, "2031-04-12T10:00,90,0.6,29.40", "2031-04-12T10:30,90,0.55,29.40")
    assert (
        "column 'relative_humidity_pct': found 0.6 % at most; accepted: percent from 0 to 100. For a humidity" in fault
    )


def test_bone_dry_air_is_not_taken_for_a_fraction():
    assert one(HEADER, "2031-04-12T10:00,90,0,29.40").relative_humidity == 0.0


def test_every_fault_at_once():
    faults = refused(HEADER, "noon,90,60,29.40", "2031-04-12T10:30,hot,,29.40")
    assert [fault.split(": found")[0] for fault in faults] == [
        "air.csv, line 2, column time",
        "air.csv, line 3, column temperature_F",
        "air.csv, line 3, column relative_humidity_pct",
    ]


@pytest.mark.parametrize(
    ("header", "is_air"),
    [
        (("time", "temperature_f", "relative_humidity_pct", "station_pressure_inhg"), True),
        (("time", "temperature_f", "relative_humidity_pct", "altimeter_inhg", "a", "b", "c", "d"), True),
        (("time", "temperature_f", "dew_point_f", "station_pressure_inhg", "a", "b", "c", "d", "e"), True),
        (("time", "relative_humidity_pct", "station_pressure_inhg"), True),  # its reader says what is missing
        (("time", "engine_speed", "throttle", "relative_humidity_pct"), False),  # a logger with a humidity sensor
        (("time", "engine_speed", "temperature_c"), False),
        (("temperature_f", "relative_humidity_pct"), False),
        ((), False),
    ],
)
def test_the_header_of_an_air_table(header, is_air):
    assert is_air_header(header) is is_air


@given(
    st.integers(-500, 600).map(lambda n: n / 10),
    st.integers(2, 100),
    st.integers(5000, 11000).map(lambda n: n / 10),
    st.none() | st.integers(0, 600).map(lambda n: n / 10),
)
def test_a_reading_that_is_written_is_read(celsius, percent, hectopascal, wind):
    header = "time,temperature_C,relative_humidity_pct,station_pressure_hPa,wind_speed_m_s"
    found = one(header, f"2031-04-12T10:00,{celsius},{percent},{hectopascal},{'' if wind is None else wind}")
    assert found.temperature == pytest.approx(celsius + 273.15)
    assert found.relative_humidity == pytest.approx(percent / 100)
    assert found.station_pressure == pytest.approx(100 * hectopascal)
    assert found.wind_speed == wind
