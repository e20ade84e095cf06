"""The day's plots on the terminal: places by hand, and never wider than the page."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.reports.day_plot import LEGEND, day_plot

NAMES = (
    "temperature_c", "relative_humidity_pct", "station_pressure_hpa", "density_altitude_ft", "wind_along_track_m_s",
    "track_temperature_c",
)  # fmt: skip


def reading(time: str, **known: float) -> dict[str, Any]:
    return {"time": f"2031-05-03T{time}:00", **dict.fromkeys(NAMES), **known}


def test_places_by_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten hours over 30 columns, 10 to 30 °C over five rows: half way in time and height is the middle of both."""
    monkeypatch.setenv("RUNLOG_UNITS", "metric")
    series = [reading("08:00", temperature_c=10.0), reading("18:00", temperature_c=30.0)]
    lines = day_plot(series, [{"key": "gull/2031-05-03/1", "time": "13:00:00"}])
    assert lines[0] == "temperature, °C"
    assert lines[1].startswith("   30.0 |")
    assert lines[1].index("o") == 9 + 29
    assert lines[5].startswith("   10.0 |o...")
    assert lines[6].index("^") in (9 + 14, 9 + 15)
    assert lines[7].split() == ["08:00", "18:00"]
    assert lines[-1] == LEGEND


def test_us_units_by_default() -> None:
    series = [reading("08:00", temperature_c=10.0), reading("18:00", temperature_c=30.0)]
    lines = day_plot(series, [])
    assert lines[0] == "temperature, °F"
    assert lines[1].startswith("   86.0 |")


def test_a_steady_quantity_is_a_level_line() -> None:
    series = [reading("08:00", relative_humidity_pct=50.0), reading("18:00", relative_humidity_pct=50.0)]
    lines = day_plot(series, [])
    assert lines[3].startswith("     50 |o")
    assert sum("|o" in row for row in lines) == 1


def test_one_reading_is_no_plot() -> None:
    assert day_plot([reading("08:00", temperature_c=10.0)], []) == []
    assert day_plot([], []) == []


values = st.one_of(st.none(), st.floats(-40, 60))


@given(st.lists(st.tuples(st.integers(0, 1439), values, values, values), max_size=20))
def test_it_always_fits_the_page(rows: list[tuple[int, float | None, float | None, float | None]]) -> None:
    series = [
        reading(f"{minute // 60:02d}:{minute % 60:02d}")
        | {"temperature_c": one, "wind_along_track_m_s": two, "track_temperature_c": three, "density_altitude_ft": one}
        for minute, one, two, three in sorted(rows, key=lambda row: row[0])
    ]
    for line in day_plot(series, [{"key": "a", "time": "12:00:00"}]):
        assert len(line) <= 80
