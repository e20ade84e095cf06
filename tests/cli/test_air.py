"""``runlog air`` as a user runs it: humidity told in three ways, the day's series, and a car's last run beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import psychrolib
import pytest

if TYPE_CHECKING:
    from conftest import Program, Season

psychrolib.SetUnitSystem(psychrolib.SI)
HALL = ("--temperature", "40C", "--pressure", "101325Pa")
TRACK = '[track]\nname = "ridge"\nelevation = "640 m"\nheading_deg = 90\n'
CAR = """
[car]
name = "gull"
race_weight = "1200 kg"
wheelbase = "2.7 m"
power = "600 hp"
tyre_circumference = "2.5 m"
final_drive = 4.1
aspiration = "{aspiration}"
"""
SLIPS = """car,date,time,track,run,t60_s,t330_s,t660_s,v660_mph
gull,2031-05-03,10:10,ridge,1,1.50,4.20,6.40,108
gull,2031-05-03,13:10,ridge,2,1.50,4.21,6.42,107.8
"""
AIR = """time,temperature_C,dew_point_C,station_pressure_hPa,wind_speed_m_s,wind_from_deg
2031-05-03T10:00,20,12,950,2,270
2031-05-03T13:00,28,12,948,2,90
2031-05-03T14:00,29,12,948,0,
"""


@pytest.fixture
def ridge(runlog: Program) -> Program:
    return filled(runlog, "turbocharged")


def filled(runlog: Program, aspiration: str) -> Program:
    for name, content in (
        ("ridge.toml", TRACK),
        ("gull.toml", CAR.format(aspiration=aspiration)),
        ("slips.csv", SLIPS),
        ("air.csv", AIR),
    ):
        runlog.write(f"pits/{name}", content)
    assert runlog("new", "gull.duckdb").code == 0
    done = runlog("import", "pits")
    assert done.code == 0, done.err
    return runlog


# --- typed ------------------------------------------------------------------------------------------------------------


def test_wet_bulb_of_the_handbook_s_example(runlog: Program) -> None:
    """ASHRAE Handbook—Fundamentals 2017 ch. 1 example 1: 40 °C dry, 20 °C wet: 14 %, 7 °C dew point, 6.5 g/kg."""
    page = runlog("air", *HALL, "--wet-bulb", "20C", "--json").json()
    assert page["relative_humidity_pct"] == pytest.approx(14, abs=1)
    assert page["dew_point_c"] == pytest.approx(7, abs=0.6)
    assert page["water_content_g_kg"] == pytest.approx(6.5, abs=0.1)
    assert page["water_content_gr_lb"] == pytest.approx(7 * 6.5, abs=0.7)  # 7000 grains in a pound
    assert page["wet_bulb_c"] == pytest.approx(20, abs=0.01)
    assert page["source"] == "station pressure, humidity from the wet bulb"


def test_each_way_to_tell_the_humidity_gives_the_same_air(runlog: Program) -> None:
    told = runlog("air", *HALL, "--humidity", "35", "--json").json()
    for option, key in (("--dew-point", "dew_point_c"), ("--wet-bulb", "wet_bulb_c")):
        again = runlog("air", *HALL, option, f"{told[key]}C", "--json").json()
        assert again["density_kg_m3"] == pytest.approx(told["density_kg_m3"], abs=2e-5)
        assert again["relative_humidity_pct"] == pytest.approx(35, abs=0.1)


def test_what_follows_from_the_readings(runlog: Program) -> None:
    """Oracle: PsychroLib 2.5.0 for the vapour; 0.4 % more where air isn't ideal. Virtual temperature by definition."""
    page = runlog("air", "--temperature", "30C", "--humidity", "70", "--pressure", "101325Pa", "--json").json()
    vapour = psychrolib.GetVapPresFromRelHum(30.0, 0.7)
    assert page["vapour_pressure_hpa"] * 100 == pytest.approx(vapour, rel=5e-3)
    assert page["dew_point_c"] == pytest.approx(23.931, abs=0.01)
    assert page["virtual_temperature_c"] + 273.15 == pytest.approx(306.550, abs=0.03)
    assert page["dry_air_pressure_hpa"] + page["vapour_pressure_hpa"] == pytest.approx(1013.25, abs=0.01)
    assert page["altimeter_setting_hpa"] is None
    assert page["against"] is None


def test_altimeter_setting_there_and_back(runlog: Program) -> None:
    """30.10 inHg at 1500 m is 850.79 hPa in the exact standard atmosphere; the page gives the setting back."""
    common = ("--temperature", "20C", "--humidity", "50", "--elevation", "1500m", "--json")
    page = runlog("air", "--altimeter", "30.10inHg", *common).json()
    assert page["station_pressure_hpa"] == pytest.approx(850.79, abs=0.01)
    back = runlog("air", "--pressure", f"{page['station_pressure_hpa']}hPa", *common).json()
    assert back["altimeter_setting_hpa"] == pytest.approx(30.10 * 33.8638866667, abs=0.02)
    assert back["warnings"] == []


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--temperature", "70F"), "give exactly one of --humidity, --dew-point and --wet-bulb"),
        (
            ("--temperature", "70F", "--humidity", "50", "--dew-point", "50F", "--pressure", "29.9inHg"),
            "give exactly one of --humidity, --dew-point and --wet-bulb",
        ),
        (("--humidity", "50", "--pressure", "29.9inHg"), "--temperature is needed with the other readings"),
        (
            ("--temperature", "70F", "--dew-point", "80F", "--pressure", "29.9inHg"),
            "a dew point of 26.7 °C above the air's 21.1 °C can't be",
        ),
        (("--temperature", "104F", "--wet-bulb", "40F", "--pressure", "29.9inHg"), "even dry air cools the wick less"),
        (("--elevation", "640m"), "--elevation and --heading go with readings that are typed"),
        (("--day", "yesterday"), "--day: 'yesterday' is not a day"),
        (("--temperature", "70F", "--humidity", "50", "--altimeter", "30inHg"), "--altimeter needs --elevation"),
    ],
)
def test_readings_that_say_too_little_or_too_much(runlog: Program, options: tuple[str, ...], message: str) -> None:
    done = runlog("air", *options)
    assert done.code == 2
    assert message in done.err


# --- logged -----------------------------------------------------------------------------------------------------------


def test_newest_reading_and_the_day_s_series(ridge: Program) -> None:
    page = ridge("air", "--json").json()
    assert (page["day"], page["time"], page["track"]) == ("2031-05-03", "2031-05-03T14:00:00", "ridge")
    assert page["temperature_c"] == 29.0
    assert page["dew_point_c"] == pytest.approx(12, abs=0.05)
    assert [row["temperature_c"] for row in page["series"]] == [20, 28, 29]
    # by hand: heading 90°, wind from 270° is behind, from 90° ahead
    assert [row["wind_along_track_m_s"] for row in page["series"]] == [2, -2, 0]
    assert [run["key"] for run in page["runs"]] == ["gull/2031-05-03/1", "gull/2031-05-03/2"]
    assert page["elevation_m"] == 640


def test_the_day_is_plotted_in_80_columns(ridge: Program) -> None:
    text = ridge("air").out
    assert "density altitude, ft" in text
    assert "o reading  . between readings  ^ run" in text
    assert text.count("10:00") >= 4
    assert max(map(len, text.splitlines())) <= 80


def test_what_the_air_is_worth_to_the_car(ridge: Program) -> None:
    """Directions: 1 °C warmer, no head wind any more. Sums: splits are the increments run together."""
    against = ridge("air", "--car", "gull", "--json").json()["against"]
    assert against["run"] == "gull/2031-05-03/2"
    # the run's air lies a sixth of the way from 28 to 29 °C
    assert against["difference"]["temperature_c"] == pytest.approx(5 / 6, abs=0.01)
    assert against["difference"]["wind_along_track_m_s"] == pytest.approx(2.0)
    assert against["difference"]["density_pct"] < 0
    assert against["difference"]["power_pct"] < 0
    for name in ("per_density_1_pct_s", "per_pressure_0_10_inhg_s", "per_tailwind_5_mph_s"):
        assert against["splits"][-1][name] < 0, name
    assert against["splits"][-1]["per_temperature_10_f_s"] > 0
    for name in ("difference_s", "per_density_1_pct_s"):
        total = sum(row[name] for row in against["increments"])
        assert total == pytest.approx(against["splits"][-1][name], abs=5e-5)


def test_a_boosted_engine_s_assumption_stands_beside_the_figures(ridge: Program) -> None:
    against = ridge("air", "--car", "gull", "--json").json()["against"]
    assert "wastegate holds 150 kPa above ambient" in against["assumption"]
    assert any("turbocharged: wastegate" in text for text in against["caveats"])
    assert "wastegate" in ridge("air", "--car", "gull").out
    shown = ridge("show", "gull/2031-05-03/1", "--json").json()
    assert any("turbocharged: wastegate" in text for text in shown["caveats"])
    (said,) = (row for row in ridge("show", "gull/2031-05-03/1").out.splitlines() if row.startswith("? corrected: "))
    assert "turbocharged: wastegate" in said
    assert said.endswith("common practice, no source")
    assert len(said) <= 80


@pytest.mark.slow
def test_a_natural_engine_near_the_standard_s_air_needs_no_caveat(season: Season) -> None:
    """20 °C, 1000 hPa and half humidity are within 2 % of the reference of SAE J1349: 99 kPa dry, 25 °C."""
    page = season.json("air", "--temperature", "20C", "--humidity", "50", "--pressure", "1000hPa", "--car", "heron")[
        "against"
    ]
    near: list[dict[str, Any]] = [
        season.json("show", row["key"]) for row in season.json("runs", "--car", "heron") if row["corrected_t60_s"]
    ]
    assert any(shown["caveats"] == [] for shown in near)
    assert page["aspiration"] == "natural"


def test_typed_air_takes_elevation_and_heading_of_the_last_run_s_track(ridge: Program) -> None:
    """1013 hPa typed at 640 m would be 1093 hPa at sea level: the warning names it.

    ISO 2533 in closed form: 1013.25 hPa (1 − 0.0065 · 640/288.15)^5.25588 = 938.69 hPa, and 0.23 less for the setting.
    """
    typed = ("--temperature", "28C", "--humidity", "40", "--wind", "2m/s", "--wind-from", "270")
    page = ridge("air", *typed, "--pressure", "1013hPa", "--car", "gull", "--json").json()
    assert page["track_assumed"] is True
    assert page["wind_along_track_m_s"] == pytest.approx(2.0)
    assert any("looks like an altimeter setting" in text for text in page["warnings"])
    named = ridge("air", *typed, "--altimeter", "1013hPa", "--track", "ridge", "--json").json()
    assert named["station_pressure_hpa"] == pytest.approx(938.46, abs=0.02)
    assert named["warnings"] == []


def test_a_logged_altimeter_setting_called_station_pressure_is_noticed(runlog: Program) -> None:
    runlog.write("pits/ridge.toml", TRACK)
    runlog.write("pits/air.csv", AIR.replace(",950,", ",1013,").replace(",948,", ",1013,"))
    runlog("new", "x.duckdb")
    assert runlog("import", "pits", "--track", "ridge").code == 0
    page = runlog("air", "--json").json()
    assert page["track"] == "ridge"
    assert page["against"] is None
    assert any("looks like an altimeter setting" in text for text in page["warnings"])


def test_station_pressure_called_an_altimeter_setting_is_noticed(ridge: Program) -> None:
    options = ("--temperature", "28C", "--humidity", "40", "--altimeter", "939hPa", "--track", "ridge")
    (warning,) = ridge("air", *options, "--json").json()["warnings"]
    assert "looks like a station pressure at 640 m" in warning
    ridge.write("pits/other.csv", "time,temperature_C,dew_point_C,altimeter_hPa\n2031-05-03T13:10,28,12,939\n")
    assert ridge("import", "pits/other.csv", "--track", "ridge").code == 0
    shown = ridge("show", "gull/2031-05-03/2", "--json").json()
    assert any("looks like a station pressure" in text for text in shown["questions"])


def test_a_logbook_without_readings(runlog: Program) -> None:
    runlog("new", "empty.duckdb")
    done = runlog("air")
    assert done.code == 1
    assert "no air readings in the logbook: type them, or import a station's table" in done.err


def test_what_isn_t_there(ridge: Program) -> None:
    for options, message in (
        (("--day", "2030-01-01"), "no air readings on 2030-01-01 in the logbook"),
        (("--track", "nowhere"), "no track 'nowhere' in the logbook"),
        (("--car", "egret"), "no car 'egret' in the logbook"),
    ):
        done = ridge("air", *options)
        assert done.code == 1
        assert message in done.err
