"""Height of the centre of gravity on the chassis page against a textbook's formula and uncertainties by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from runlog.constants import STANDARD_GRAVITY
from runlog.errors import RunlogError, UsageError
from runlog.readers.car import read_car
from runlog.readers.raised import RaisedTable
from runlog.workflows.chassis.as_set import Chassis
from runlog.workflows.chassis.page import figures
from runlog.workflows.chassis.raised import Radii, raised_part

# R. N. Jazar, Vehicle Dynamics (Springer 2008) eq. 2.32, derived anew: W 14000 N, L 2.6 m, centre of gravity midway,
# one axle on the scale, tan φ 0.2, R 0.30 m, load gain 269.2308 N → 0.550 m. By symmetry the same from either end.
TOTAL = 14000.0 / STANDARD_GRAVITY
LIFT = 2.6 * 0.2 / math.sqrt(1.04)
ROWS = ((0.0, TOTAL / 2), (LIFT, TOTAL / 2 + 269.23076923 / STANDARD_GRAVITY))
STEP = 0.5
BY_HAND = math.hypot(2.6 / (TOTAL * 0.2) * STEP / math.sqrt(3), 0.25 / TOTAL * STEP / math.sqrt(3))
"""[m] two loads of q/√6 each count L/(W tan φ), the total of q/√3 counts (h − R)/W"""
FRONT = RaisedTable({"front": ROWS}, resolution=STEP, lift_sd=None, radius_sd=None)
GIVEN = Radii(front=0.30)
CAR = f"""
[car]
name = "gull"
race_weight = "{TOTAL!r} kg"
wheelbase = "2.6 m"
power = "600 hp"
tyre_circumference = "2.0 m"
loaded_tyre_radius = "0.30 m"
final_drive = 4.1
front_weight_pct = 50
"""


def part(table: RaisedTable = FRONT, text: str = CAR, radii: Radii = GIVEN) -> dict[str, Any]:
    car = read_car(text.encode(), "gull.toml")
    page, _ = figures(Chassis(car, {}))
    return raised_part(page, car, table, "lifts.csv", radii)


@pytest.mark.parametrize("raised", ["front", "rear"])
def test_textbook_value(raised: str) -> None:
    found = part(replace(FRONT, weighings={raised: ROWS}))
    assert found["height_m"] == pytest.approx(0.550, abs=1e-6)
    assert found["x_m"] == pytest.approx(1.3, abs=1e-6)
    assert found["standard_uncertainty_m"] == pytest.approx(BY_HAND, abs=2e-6)
    assert found["total_from"] == "race weight of the car file"
    (end,) = found["ends"]
    assert [row["residual_kg"] for row in end["weighings"]] == [pytest.approx(0, abs=1e-4)] * 2
    text = " ".join(found["cautions"])
    for caution in (
        "1 lift step where ISO 10392 asks for 3",
        "nobody in or under a raised car",
        "lock the suspension",
        f"only the {raised} was raised",
        "counts nothing for the lifts and tyre radii",
        "weigh 3 or more lifts",
    ):
        assert caution in text


def test_both_ends_together() -> None:
    """Two equal uncertainties leave one over √2; what is common to both ends, the radii, stays whole."""
    both = replace(FRONT, weighings={"front": ROWS, "rear": ROWS})
    found = part(both)
    assert [end["raised"] for end in found["ends"]] == ["front", "rear"]
    assert found["height_m"] == pytest.approx(0.550, abs=1e-6)
    assert found["standard_uncertainty_m"] == pytest.approx(BY_HAND / math.sqrt(2), abs=2e-6)
    assert not any("was raised: nothing checks" in text for text in found["cautions"])
    found = part(replace(both, radius_sd=0.02))
    assert found["standard_uncertainty_m"] == pytest.approx(math.hypot(BY_HAND / math.sqrt(2), 0.02), abs=2e-6)
    assert found["ends"][0]["standard_uncertainty_m"] == pytest.approx(math.hypot(BY_HAND, 0.02), abs=2e-6)


def test_ends_that_disagree_are_said() -> None:
    higher = (ROWS[0], (LIFT, ROWS[1][1] + 20))
    found = part(replace(FRONT, weighings={"front": ROWS, "rear": higher}))
    assert any("the two ends differ by" in text for text in found["cautions"])


def test_another_balance_than_the_setups_is_said() -> None:
    """60 % in front by the weights, 50 % by the raised weighings."""
    assert not any("was the car the same" in text for text in part()["cautions"])
    found = part(text=CAR.replace("front_weight_pct = 50", "front_weight_pct = 60"))
    assert any("put 50.0 % on the front, the setup's weights 60.0 %" in text for text in found["cautions"])


def test_radii_have_to_be_known() -> None:
    with pytest.raises(UsageError, match="radius of the front tyres not known: give --front-radius"):
        part(radii=Radii())
    bare = CAR.replace('loaded_tyre_radius = "0.30 m"\n', "")
    with pytest.raises(UsageError, match="radius of the rear tyres not known: give --rear-radius, or loaded_tyre"):
        part(text=bare)
    assert part(text=bare, radii=Radii(0.30, 0.30))["height_m"] == pytest.approx(0.550, abs=1e-6)


def test_weighings_that_cant_be() -> None:
    with pytest.raises(RunlogError, match=r"lifts.csv, front raised: 2 weighings and no resolution leave"):
        part(replace(FRONT, resolution=None))
    with pytest.raises(RunlogError, match=r"lifts.csv, front raised: at least two different lifts are needed"):
        part(replace(FRONT, weighings={"front": (ROWS[0], ROWS[0])}))
    swapped = tuple((lift, TOTAL - load - 100 * lift) for lift, load in ROWS)
    with pytest.raises(RunlogError, match="check that the front axle was the raised one"):
        part(replace(FRONT, weighings={"front": swapped}))
