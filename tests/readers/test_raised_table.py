"""Tables of raised weighings: units by definition, and every fault by its place."""

from __future__ import annotations

import pytest

from runlog.problems import FileFaults
from runlog.readers.raised import read_raised

GOOD = "raised_axle,lift_mm,load_kg\nfront,0,400\nfront,300,412.5\nrear,0,420\nrear,250,430\n"


def test_weighings_by_axle_in_si() -> None:
    table = read_raised(GOOD.encode(), "lifts.csv")
    assert table.weighings == {"front": ((0.0, 400.0), (0.3, 412.5)), "rear": ((0.0, 420.0), (0.25, 430.0))}
    assert (table.resolution, table.lift_sd, table.radius_sd) == (None, None, None)


def test_pounds_inches_and_a_decimal_comma() -> None:
    """1 in is 25.4 mm and 1 lb 0.45359237 kg, both by definition."""
    text = (
        "Raised axle;lift_in;load_lb;resolution_lb;lift uncertainty (mm);radius_uncertainty_mm\n"
        "Front;0;900,5;1;5;3\nfront;12;925;;;\n"
    )
    table = read_raised(text.encode(), "lifts.csv")
    (level, at_rest), (lift, load) = table.weighings["front"]
    assert level == 0.0
    assert at_rest == pytest.approx(900.5 * 0.45359237, rel=1e-12)
    assert (lift, load) == (pytest.approx(0.3048), pytest.approx(925 * 0.45359237))
    assert table.resolution == pytest.approx(0.45359237)
    assert (table.lift_sd, table.radius_sd) == (pytest.approx(0.005), pytest.approx(0.003))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("raised_axle,", "axle,", r"lifts.csv, column 'axle': found an unknown column"),
        ("raised_axle,", "axle,", r"no column raised_axle"),
        ("lift_mm", "lift", r"no column lift_<unit>"),
        ("lift_mm", "lift_kg", r"the unit 'kg'.*lift_ and one of m, "),
        ("load_kg", "load_mm", r"the unit 'mm'.*load_ and one of kg, "),
        ("load_kg", "lift_in", r"a second column for lift"),
        ("front,0,400", "left,0,400", r"line 2, column raised_axle: found 'left'.*front or rear"),
        ("front,300,412.5", "front,300,", r"line 3, column load_kg: found nothing.*a value in every row"),
        ("front,300,412.5", "front,-300,412.5", r"line 3, column lift_mm: found '-300'.*mm from 0 to 2000"),
        ("front,300,412.5", "front,300,heavy", r"line 3, column load_kg: found 'heavy'.*kg from 1 to 5000"),
    ],
)
def test_tables_that_cant_be_read(old: str, new: str, message: str) -> None:
    with pytest.raises(FileFaults, match=f"(?s){message}"):
        read_raised(GOOD.replace(old, new).encode(), "lifts.csv")


def test_one_resolution_for_the_whole_table() -> None:
    text = "raised_axle,lift_mm,load_kg,resolution_kg\nfront,0,400,0.5\nfront,300,412.5,1\n"
    with pytest.raises(FileFaults, match=r"column 'resolution_kg': found different values.*one value for the whole"):
        read_raised(text.encode(), "lifts.csv")
