"""Setup sheets: full or changes, CSV or TOML, units and holes understood with the car's adjustables."""

from __future__ import annotations

import datetime as dt
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog.problems import FileFaults
from runlog.readers.sheet import is_sheet_header, read_sheets
from runlog.records import Adjustable, Car, Given, Hole, RunKey, Sheet, SheetEntry

DAY = dt.date(2031, 4, 12)
HERON = Car(
    name="heron",
    race_mass=1200.0,
    wheelbase=2.7,
    power=600e3,
    tyre_circumference=2.55,
    final_drive=4.1,
    adjustables=(
        Adjustable("rear tyre pressure", "psi", 0.5),
        Adjustable("launch rpm", "rpm", 200.0),
        Adjustable("ballast rear", "lb", 25.0),
        Adjustable("rear ride height", "in", 0.125),
        Adjustable("upper link front hole", "hole", 1.0, holes=(Hole("1A"), Hole("1B"), Hole("2"))),
        Adjustable("rear shock extension", "click", 2.0),
    ),
)
CARS = {"heron": HERON}
CHANGES = "car,date,run,item,value,unit"
BASELINE = Given(car="heron", full=True)


def read(text: str, given: Given | None = None, file: str = "sheet.csv") -> tuple[Sheet, ...]:
    return read_sheets(text.encode(), file, CARS, given)


def entry(text: str, given: Given = BASELINE, file: str = "sheet.csv") -> SheetEntry:
    (sheet,) = read(text, given, file)
    (found,) = sheet.entries
    return found


def refused(text: str, given: Given | None = None, file: str = "sheet.csv") -> list[str]:
    with pytest.raises(FileFaults) as caught:
        read(text, given, file)
    return [str(problem) for problem in caught.value.problems]


def test_changes_are_valid_from_their_run_on():
    found = read(
        f"{CHANGES}\nheron,2031-04-12,8,launch rpm,4400,rpm\nHeron,2031-04-12,9,launch rpm,4200,\n"
        "heron,2031-04-12,9,upper link front hole,1b,hole\n"
    )
    assert found == (
        Sheet("heron", DAY, 8, False, (SheetEntry("launch rpm", 4400.0, "rpm", "4400"),)),
        Sheet(
            "heron",
            DAY,
            9,
            False,
            (SheetEntry("launch rpm", 4200.0, "rpm", "4200"), SheetEntry("upper link front hole", 1.0, "hole", "1B")),
        ),
    )


def test_a_full_sheet_without_a_date_is_the_baseline():
    (sheet,) = read("car,date,run,sheet,item,value,unit\nheron,,,full,launch rpm,4200,rpm\n")
    assert (sheet.date, sheet.number, sheet.full) == (None, 1, True)


def test_full_changes_and_several_sheets_in_one_file():
    found = read(
        "car,date,run,sheet,item,value\n"
        "heron,2031-04-12,1,full,launch rpm,4200\nheron,2031-04-12,1,changes,launch rpm,4400\n"
    )
    assert [(sheet.full, sheet.entries[0].value) for sheet in found] == [(True, 4200.0), (False, 4400.0)]


def test_options_say_who_it_is_for():
    (sheet,) = read("item,value\nlaunch rpm,4200\n", Given(run=RunKey("heron", DAY, 3)))
    assert (sheet.car, sheet.date, sheet.number, sheet.full) == ("heron", DAY, 3, False)
    (sheet,) = read("item,value\nlaunch rpm,4200\n", BASELINE)
    assert (sheet.car, sheet.date, sheet.number, sheet.full) == ("heron", None, 1, True)


@pytest.mark.parametrize(
    ("item", "value", "unit", "expected", "shown"),
    [
        # 1 psi = 6.894757 kPa (from memory: NIST SP 811 appendix B.8), so 45 kPa = 6.5267 psi and 0.45 bar the same
        ("rear tyre pressure", "45", "kPa", 6.5267, "6.5267"),
        ("rear tyre pressure", "0.45", "bar", 6.5267, "6.5267"),
        ("rear tyre pressure", "6.5", "psi", 6.5, "6.5"),
        ("rear tyre pressure", "6.50", "", 6.5, "6.5"),
        ("rear tire pressure", "6.5", "PSI", 6.5, "6.5"),
        # 10 kg / 0.45359237 = 22.0462 lb; 100 mm / 25.4 = 3.93701 in
        ("rear ballast", "10", "kg", 22.0462, "22.0462"),
        ("rear ride height", "100", "mm", 3.93701, "3.93701"),
        ("launch rpm", "4200", "1/min", 4200.0, "4200"),
    ],
)
def test_units_are_converted_to_the_cars_own(item, value, unit, expected, shown):
    found = entry(f"item,value,unit\n{item},{value},{unit}\n")
    assert found.value == pytest.approx(expected, rel=1e-5)
    assert found.text == shown
    assert found.unit == HERON.adjustable(found.item).unit


def test_a_unit_may_stand_with_the_value():
    assert entry("item,value\nrear tyre pressure,45 kPa\n").value == pytest.approx(6.5267, rel=1e-5)


def test_a_decimal_comma():
    assert entry("item;value;unit\nrear tyre pressure;6,5;psi\n").value == 6.5


@pytest.mark.parametrize(
    ("written", "position"),
    [("1A", 0.0), ("1a", 0.0), ("1B", 1.0), ("2", 2.0), ("2.0", 2.0), ("2 hole", 2.0)],
)
def test_holes_go_by_their_label(written, position):
    found = entry(f"item,value\nupper link front hole,{written}\n")
    assert (found.value, found.unit, found.text) == (position, "hole", ("1A", "1B", "2")[int(position)])


@pytest.mark.parametrize("value", ['"1A"', '"2"', "2", '"2 hole"'])
def test_holes_in_toml(value):
    # "1A" also reads as one ampere: the label comes first
    found = entry(f'car = "heron"\nfull = true\n[items]\n"upper link front hole" = {value}\n', Given(), "s.toml")
    assert found.text == value.strip('"').removesuffix(" hole")


def test_a_toml_sheet():
    head = 'car = "Heron"\ndate = 2031-04-12\nrun = 7\nnote = "x"\n'
    text = f'{head}[items]\n"rear tyre pressure" = "45 kPa"\n"launch rpm" = 4200\n'
    (sheet,) = read(text, None, "s.toml")
    assert (sheet.car, sheet.date, sheet.number, sheet.full) == ("heron", DAY, 7, False)
    assert [(found.item, found.unit) for found in sheet.entries] == [
        ("rear tyre pressure", "psi"),
        ("launch rpm", "rpm"),
    ]
    (same,) = read(text.replace("2031-04-12", '"2031-04-12"'), None, "s.toml")
    assert same == sheet


@pytest.mark.parametrize(
    ("item", "value", "unit", "expected"),
    [
        ("driver weight", "185", "lb", SheetEntry("driver weight", 185.0, "lb", "185")),
        ("Rear Tyre Set", "fresh, 2 runs", "", SheetEntry("rear tyre set", None, "", "fresh, 2 runs")),
        ("engine number", "1234567", "", SheetEntry("engine number", 1234567.0, "", "1234567")),
        # another thing than the adjustable whose name it begins with
        ("rear tyre pressure hot", "7.1", "psi", SheetEntry("rear tyre pressure hot", 7.1, "psi", "7.1")),
    ],
)
def test_readings_beside_the_adjustables(item, value, unit, expected):
    assert entry(f'item,value,unit\n{item},"{value}",{unit}\n') == expected


@pytest.mark.parametrize(
    ("item", "value", "unit", "message"),
    [
        (
            "rear tyre pressure",
            "6.5",
            "lb",
            "line 2: found the unit 'lb' for rear tyre pressure; accepted: Pa, hPa, kPa",
        ),
        ("rear tyre pressure", "6.5", "furlong", "found the unit 'furlong' for rear tyre pressure; accepted: Pa"),
        ("rear tyre pressure", "soft", "", "line 2: found 'soft'; accepted: a number for rear tyre pressure in psi"),
        (
            "rear tyre presure",
            "6.5",
            "psi",
            "the item 'rear tyre presure'; accepted: an adjustable of heron, such as 'rear tyre",
        ),
        ("upper link front hole", "3", "", "found the hole '3' for upper link front hole; accepted: one of 1A, 1B, 2"),
        (
            "upper link front hole",
            "2",
            "in",
            "found the unit 'in' for upper link front hole; accepted: hole, or nothing",
        ),
        ("driver weight", "185", "pund", "found the unit 'pund'; accepted: a unit that runlog knows, such as lb"),
        ("", "185", "lb", "line 2, column item: found nothing; accepted: the name of an adjustable or a reading"),
        ("driver weight", "", "lb", "line 2, column value: found nothing; accepted: a value for 'driver weight'"),
    ],
)
def test_what_a_line_may_not_hold(item, value, unit, message):
    (fault,) = refused(f"item,value,unit\n{item},{value},{unit}\n", BASELINE)
    assert message in fault


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (
            "plover,2031-04-12,1,,launch rpm,4200",
            "line 2: found the car 'plover'; accepted: a car in the logbook (heron)",
        ),
        (",2031-04-12,1,,launch rpm,4200", "line 2: found no car; accepted: the car's name in the file, or --car NAME"),
        ("heron,12.4.,1,,launch rpm,4200", "line 2, date: found '12.4.'; accepted: a date such as 2031-04-12"),
        ("heron,2031-04-12,0,,launch rpm,4200", "line 2, run: found '0'; accepted: a run number from 1 on"),
        ("heron,2031-04-12,²,,launch rpm,4200", "line 2, run: found '²'; accepted: a run number from 1 on"),
        ("heron,2031-04-12,1,half,launch rpm,4200", "column sheet: found 'half'; accepted: full or changes"),
        (
            "heron,,1,,launch rpm,4200",
            "changes without a date; accepted: the date and run.*Give --run CAR/DATE/NUMBER, or --full",
        ),
    ],
)
def test_who_a_line_is_for(row, message):
    (fault,) = refused(f"car,date,run,sheet,item,value\n{row}\n")
    before, _, after = message.partition(".*")
    assert before in fault
    assert after in fault


def test_a_car_file_is_needed_first():
    with pytest.raises(FileFaults, match="none yet: import the car file first"):
        read_sheets(b"item,value\nlaunch rpm,4200\n", "s.csv", {}, BASELINE)


def test_missing_columns_are_said_once():
    faults = refused("item,unit\nlaunch rpm,rpm\nballast rear,lb\n")
    assert faults == [
        "sheet.csv, header: found no column value; accepted: the columns item, value, unit",
        "sheet.csv, header: found no car; accepted: a column car, or --car NAME",
    ]


def test_an_item_twice():
    (fault,) = refused("item,value\nlaunch rpm,4200\nLaunch RPM,4400\n", BASELINE)
    assert "line 3: found 'launch rpm' again; accepted: each item once a sheet" in fault


def test_every_fault_at_once():
    faults = refused("item,value,unit\nlaunch rpm,fast,\nrear tyre pressure,6,lb\nlanch rpm,1,\n", BASELINE)
    assert [fault.split(": found")[0] for fault in faults] == [f"sheet.csv, line {line}" for line in (2, 3, 4)]


@pytest.mark.parametrize(
    ("text", "messages"),
    [
        ("[items]\n", ["key items: found {}; accepted: at least 1 item"]),
        ('car = "heron"\n', ["key items: found nothing; accepted: a value, it can't be left out"]),
        ("[items\n", ["s.toml: found a fault in the TOML"]),
        (
            'car = 7\ndate = 2031-04-12T10:00:00\nrun = 0\nfull = "no"\ncolour = "red"\n'
            "[items]\na = true\nb = nan\n[items.c]\nd = 1\n",
            [
                "key car: found 7; accepted: a string",
                "key date: found datetime.datetime",
                "key run: found 0; accepted: greater than or equal to 1",
                "key full: found 'no'; accepted: a boolean",
                'key items.a: found True; accepted: a number, or a quantity such as "6.5 psi"',
                "key items.b: found nan; accepted: a number, or",
                "key items.c: found {'d': 1}; accepted: a number, or",
                "key colour: found an unknown key",
            ],
        ),
        ('[items]\n"launch rpm" = 4200\n', ["top level: found no car", "top level: found changes without a date"]),
    ],
)
def test_faults_of_a_toml_sheet(text, messages):
    faults = refused(text, None, "s.toml")
    assert len(faults) == len(messages)
    for fault, message in zip(faults, messages, strict=True):
        assert message in fault


@pytest.mark.parametrize(
    ("header", "is_sheet"),
    [(("item", "value", "unit"), True), (("setting", "value"), True), (("item", "unit"), False), ((), False)],
)
def test_the_header_of_a_sheet(header, is_sheet):
    assert is_sheet_header(header) is is_sheet


VALUES = {
    "rear tyre pressure": st.integers(40, 90).map(lambda n: n / 10),
    "launch rpm": st.integers(3000, 6000),
    "ballast rear": st.integers(0, 125),
    "tyre circumference": st.integers(90, 110),
}


@given(st.fixed_dictionaries({}, optional=VALUES).filter(bool))
def test_a_sheet_that_is_written_as_csv_or_toml_is_read_the_same(items):
    table = "item,value\n" + "".join(f"{item},{value}\n" for item, value in items.items())
    toml = "[items]\n" + "".join(f"{json.dumps(item)} = {value}\n" for item, value in items.items())
    (by_csv,), (by_toml,) = read(table, BASELINE), read(toml, BASELINE, "s.toml")
    assert by_csv == by_toml
    assert {found.item: found.value for found in by_csv.entries} == {item: float(v) for item, v in items.items()}
