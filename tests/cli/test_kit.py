"""A kit: what it holds, and that a filled-in one goes back in."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

import fastexcel
import pytest
import xlsxwriter

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Program

FILES = ["air.csv", "air.xlsx", "heron_sheet.csv", "heron_sheet.xlsx", "heron_slips.csv", "heron_slips.xlsx"]


@pytest.fixture
def kit(season_copy: Program) -> Program:
    done = season_copy("kit", "heron", "pits")
    assert (done.code, done.err) == (0, "")
    return season_copy


def rows_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


def fill(path: Path, rows: list[dict[str, str]]) -> None:
    """Write the form with these rows, as a spreadsheet or an editor would."""
    if path.suffix == ".csv":
        text = io.StringIO(newline="")
        writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
        path.write_text(text.getvalue(), encoding="utf-8")
        return
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet()
        for k, name in enumerate(rows[0]):
            sheet.write(0, k, name)
            for n, row in enumerate(rows, 1):
                try:
                    sheet.write_number(n, k, float(row[name]))
                except ValueError:
                    sheet.write_string(n, k, row[name])


def test_it_holds_every_adjustable_with_unit_last_value_and_limits(kit: Program) -> None:
    assert sorted(path.name for path in (kit.folder / "pits").iterdir()) == FILES
    sheet = {row["item"]: row for row in rows_of(kit.folder / "pits" / "heron_sheet.csv")}
    car = kit("effects", "--car", "heron", "--json").json()
    assert {row["adjustable"] for row in car["effects"]} <= set(sheet)
    tyre = sheet["rear tyre pressure"]
    assert (tyre["value"], tyre["unit"], tyre["limits"]) == ("", "psi", "5 to 9")
    setup = kit("compare", "heron/latest", "heron/2031-04-12/5", "--json").json()["setup"]
    now = {row["item"]: row["values"][0] for row in setup}
    assert {item: sheet[item]["last"] for item in now if item in sheet} == {
        item: value for item, value in now.items() if item in sheet
    }
    assert "make a short hit first" in sheet["launch rpm"]["mind"]
    assert sheet["upper link front hole"]["limits"] == "1 2 3"
    assert "weight left rear" in sheet


def test_the_workbook_says_the_same_as_the_csv(kit: Program) -> None:
    for stem in ("heron_sheet", "heron_slips", "air"):
        frame = fastexcel.read_excel(kit.folder / "pits" / f"{stem}.xlsx").load_sheet(
            0, header_row=None, dtypes="string"
        )
        found = [["" if cell is None else cell for cell in row] for row in frame.to_polars().rows()]
        plain = list(csv.reader(io.StringIO((kit.folder / "pits" / f"{stem}.csv").read_text(encoding="utf-8"))))
        assert [row for row in found if any(row)] == [row for row in plain if any(row)]


def test_what_was_noted_last_stands_in_the_unit_of_the_form(kit: Program) -> None:
    """1 lb is 0.45359237 kg, exactly (1959); an angle below nothing is a number, not a formula."""
    assert kit("kit", "heron", "metric", "--units", "metric").code == 0
    us, metric = (
        {row["item"]: (row["last"], row["unit"]) for row in rows_of(kit.folder / name / "heron_sheet.csv")}
        for name in ("pits", "metric")
    )
    assert us["weight left rear"][1] == "lb"
    expected = float(us["weight left rear"][0]) * 0.45359237
    assert float(metric["weight left rear"][0]) == pytest.approx(expected, abs=0.051)
    assert metric["weight left rear"][1] == "kg"
    assert us["pinion angle"] == metric["pinion angle"] == ("-2", "deg")


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_a_filled_in_kit_goes_back_in(kit: Program, ending: str) -> None:
    """A date and a run in the first line of the sheet; two settings, a hole and a weight; one slip; one air reading."""
    pits = kit.folder / "pits"
    sheet, slips, air = (rows_of(pits / f"{stem}.csv") for stem in ("heron_sheet", "heron_slips", "air"))
    for path in pits.iterdir():
        path.unlink()
    sheet[0] |= {"date": "2031-07-01", "run": "1"}
    values = {
        "rear tyre pressure": "6.25",
        "upper link front hole": "3",
        "weight left front": "615",
        "level pads": "yes",
    }
    for row in sheet:
        row["value"] = values.get(row["item"], "")
    slips[0] |= {
        "date": "2031-07-01",
        "run": "1",
        "t60_s": "1.41",
        "t330_s": "3.85",
        "track": "lowfield",
        "time": "10:30",
    }
    # an empty kit has no air row to begin with
    reading = ["2031-07-01 10:25", "75", "45", "29.80", "4", "250", "90"]
    names = ["time", "temperature_F", "relative_humidity_pct", "station_pressure_inHg", "wind_speed_mph",
             "wind_from_deg", "track_temperature_F"]  # fmt: skip
    assert list(air[0]) == names
    for stem, rows in (("sheet", sheet), ("slips", slips), ("air", [dict(zip(names, reading, strict=True)), *air])):
        fill(pits / f"{stem}{ending}", rows)
    report = kit("import", "pits", "--json").json()
    assert [(item["kind"], item["stored"], item["error"]) for item in report["files"]] == [
        ("air", True, None), ("sheet", True, None), ("slips", True, None),
    ]  # fmt: skip
    page = kit("show", "heron/2031-07-01/1", "--json").json()
    changed = {row["item"]: row["to"] for row in page["changes"]}
    assert changed["rear tyre pressure"] == "6.25"
    assert changed["upper link front hole"] == "3"
    assert page["splits"][0]["measured_s"] == 1.41
    assert page["air"]["temperature_c"] == pytest.approx((75 - 32) / 1.8, abs=0.01)


def test_an_empty_kit_is_refused_and_says_that_nothing_was_filled_in(kit: Program) -> None:
    done = kit("import", "pits")
    assert done.code == 1
    text = " ".join((done.out + done.err).split())
    assert "found nothing filled in; accepted: a value for at least one item" in text
    assert "found no line filled in; accepted: at least one run with its times" in text


def test_files_that_are_there_stay(kit: Program) -> None:
    sheet = kit.folder / "pits" / "heron_sheet.csv"
    sheet.write_text("mine", encoding="utf-8")
    done = kit("kit", "heron", "pits")
    assert done.code == 1
    assert "there already, perhaps filled in: pits/heron_sheet.csv" in done.err
    assert sheet.read_text(encoding="utf-8") == "mine"
    assert kit("kit", "heron", "pits", "--force").code == 0
    assert sheet.read_text(encoding="utf-8") != "mine"


def test_a_metric_kit_asks_in_metric_units_and_is_understood(kit: Program) -> None:
    assert kit("kit", "heron", "metric", "--units", "metric").code == 0
    folder = kit.folder / "metric"
    sheet = rows_of(folder / "heron_sheet.csv")
    tyre = next(row for row in sheet if row["item"] == "rear tyre pressure")
    assert (tyre["unit"], tyre["limits"]) == ("kPa", "34.5 to 62.1")
    sheet[0] |= {"date": "2031-07-01", "run": "1"}
    tyre["value"] = "45"
    slips = rows_of(folder / "heron_slips.csv")
    slips[0] |= {"date": "2031-07-01", "run": "1", "t60_s": "1.41"}
    fill(folder / "heron_sheet.csv", sheet)
    fill(folder / "heron_slips.csv", slips)
    assert kit("import", folder / "heron_sheet.csv", folder / "heron_slips.csv").code == 0
    changes = kit("show", "heron/2031-07-01/1", "--json").json()["changes"]
    to = next(row["to"] for row in changes if row["item"] == "rear tyre pressure")
    assert float(to) == pytest.approx(45 / 6.894757293168, rel=1e-5)  # kPa in a psi: pound-force per square inch
    assert rows_of(folder / "air.csv")[0].keys() >= {"temperature_C", "station_pressure_hPa", "wind_speed_m_s"}


def test_no_car_file_no_kit(kit: Program) -> None:
    done = kit("kit", "egret", "elsewhere")
    assert done.code == 1
    assert "no car 'egret' in the logbook" in done.err
    assert not (kit.folder / "elsewhere").exists()
