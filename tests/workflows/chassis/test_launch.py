"""The chassis page at the launch and on the scales, against statics by hand and identities of moments."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from runlog.constants import STANDARD_GRAVITY as G
from runlog.readers.car import read_car
from runlog.records import RunKey, Sheet, SheetEntry
from runlog.workflows.chassis.as_set import Chassis
from runlog.workflows.chassis.ballast import Wanted, ballast_part
from runlog.workflows.chassis.launch import Hit
from runlog.workflows.chassis.page import figures
from runlog.workflows.chassis.proposed import suppose
from runlog.workflows.chassis.scales import not_noted, weighings, weighings_part

HEAD = """
[car]
name = "gull"
race_weight = "820 kg"
wheelbase = "2.5 m"
power = "600 hp"
tyre_circumference = "2.5 m"
loaded_tyre_radius = "0.38 m"
final_drive = 4.0
centre_of_gravity_height = "0.5 m"
"""
TRACKS = 'front_track = "1.5 m"\nrear_track = "1.4 m"\n'
BARS = '[car.wheelie_bars]\nlength = "1.5 m"\nstiffness = "50 N/mm"\n'
SIDE = """
[[car.adjustable]]
name = "ballast rear"
unit = "kg"
step = 10
low = 0
high = 40
x = "-0.5 m"
y = "0.4 m"
z = "0.2 m"
"""
CORNERS = {"weight left front": 220, "weight right front": 200, "weight left rear": 190, "weight right rear": 210}
DAY = dt.date(2031, 5, 1)


def entry(item: str, value: float | None, unit: str, text: str | None = None) -> SheetEntry:
    return SheetEntry(item, value, unit, text or f"{value:g}")


def weighed(**more: SheetEntry) -> dict[str, SheetEntry]:
    made = {item: entry(item, float(kg), "kg") for item, kg in CORNERS.items()}
    return made | {found.item: found for found in more.values()}


def chassis(text: str, in_force: dict[str, SheetEntry] | None = None) -> Chassis:
    setup = weighed(none=entry("ballast rear", 0.0, "kg")) if in_force is None else in_force
    return Chassis(read_car(text.encode(), "gull.toml"), setup, weighed_with=setup)


def launch(text: str, acceleration_g: float, in_force: dict[str, SheetEntry] | None = None) -> tuple[Any, Any]:
    page, remarks = figures(chassis(text, in_force), Hit(acceleration_g * G, "typed"))
    return page["launch"], remarks


# --- loads ------------------------------------------------------------------------------------------------------------


def test_axle_loads_by_hand() -> None:
    """Rear 400 kg at rest; transfer m a h / L = 820 × 1.5 g × 0.5 / 2.5 = 246 kg × g: 646 × 9.80665 N, 78.78 %."""
    found, _ = launch(HEAD + TRACKS, 1.5)
    assert found["driven_tyres_n"] == pytest.approx(646 * G, abs=0.1)
    assert found["front_axle_n"] == pytest.approx(174 * G, abs=0.1)
    assert found["driven_tyres_pct"] == pytest.approx(100 * 646 / 820, abs=0.01)
    # lift at x/h = 2.5 × 420/820 / 0.5 g = 2.5610 g
    assert found["wheel_lift_margin_g"] == pytest.approx(2.5609756 - 1.5, abs=1e-4)


def test_left_and_right_keep_the_moments() -> None:
    """Identities: the tyres carry the axles, and about the centre line their moment is the weight's at its offset.

    Driveshaft torque by hand: 820 kg × 1.5 g × 0.38 m / 4; half of it (front share) reaches the rear tyres.
    """
    found, _ = launch(HEAD + TRACKS, 1.5)
    tyres, torque = found["tyres_n"], 820 * 1.5 * G * 0.38 / 4
    assert found["driveshaft_torque_nm"] == pytest.approx(torque, abs=0.1)
    assert found["preload_for_even_tyres_nm"] == found["driveshaft_torque_nm"]
    assert tyres["left_rear"] + tyres["right_rear"] == pytest.approx(found["driven_tyres_n"], abs=0.2)
    front = (tyres["left_front"] - tyres["right_front"]) * 0.75
    rear = (tyres["left_rear"] - tyres["right_rear"]) * 0.7
    assert front + rear == pytest.approx((20 * 0.75 - 20 * 0.7) * G, abs=0.3)
    at_rest = -20 * G * 0.7
    assert rear - at_rest == pytest.approx(0.5 * torque, rel=1e-3)


def test_preload_as_a_torque_counts_and_in_flats_does_not() -> None:
    even, _ = launch(HEAD + TRACKS, 1.5, weighed(a=entry("anti-roll bar preload", 820 * 1.5 * G * 0.38 / 4, "N·m")))
    tyres = even["tyres_n"]
    assert tyres["left_rear"] - tyres["right_rear"] == pytest.approx(-20 * G, abs=0.3)  # as at rest
    flats, remarks = launch(HEAD + TRACKS, 1.5, weighed(a=entry("anti-roll bar preload", 2.0, "flat")))
    assert flats["preload_nm"] is None
    assert flats["tyres_n"] == launch(HEAD + TRACKS, 1.5)[0]["tyres_n"]
    assert any("anti-roll bar preload as a torque" in text for text in remarks.missing)


def test_what_a_step_of_ballast_does_to_the_driven_tyres() -> None:
    """Moments about the front contact patch: 10 kg 3.0 m behind it and 0.2 m high, at 1.5 g:
    10 g (3.0 + 1.5 × 0.2)/2.5 = 129.4 N more; the mean height makes the rest of the transfer the same."""
    found, _ = launch(HEAD + TRACKS + SIDE, 1.5)
    (row,) = found["ballast"]
    assert (row["adjustable"], row["step"], row["unit"]) == ("ballast rear", 10, "kg")
    assert row["driven_tyres_change_n"] == pytest.approx(10 * G * (3.0 + 1.5 * 0.2) / 2.5, abs=0.1)
    assert row["load_per_mass_change_pct"] == pytest.approx(100 * ((646 + 13.2) / 830 * 820 / 646 - 1), abs=0.01)
    assert row["wheel_lift_change_g"] < 0


def test_a_full_mount_is_shown_taken_out() -> None:
    found, _ = launch(HEAD + TRACKS + SIDE, 1.5, weighed(a=entry("ballast rear", 40.0, "kg")))
    (row,) = found["ballast"]
    assert row["step"] == -10
    assert row["driven_tyres_change_n"] < 0


def test_beyond_wheel_lift_without_bars_there_are_no_loads() -> None:
    found, remarks = launch(HEAD + TRACKS, 3.0)
    assert found["driven_tyres_n"] is None
    assert found["wheel_lift_margin_g"] < 0
    assert any("at the launch: at 29.42 m/s² the front wheels are off the ground" in text for text in remarks.warnings)


def test_grip_alone_is_held_back_by_wheel_lift() -> None:
    page, _ = figures(chassis(HEAD + TRACKS), Hit(3.0 * G, "tyre grip fitted to 4 runs", by_grip=True))
    assert page["launch"]["acceleration_g"] == pytest.approx(2.5609756, abs=1e-4)
    assert page["launch"]["front_axle_n"] == pytest.approx(0, abs=0.1)
    assert page["launch"]["acceleration_from"].endswith("as far as the front wheels stay down")


def test_bars_carry_what_is_beyond_wheel_lift() -> None:
    """Moments about the rear contact patch: m (a h − g x)/b = 820 × 9.80665 × (3 × 0.5 − 1.2804878)/1.5 = 1176.8 N."""
    bar_height = weighed(a=entry("wheelie-bar height", 3.0, "in"))
    found, _ = launch(HEAD + TRACKS + BARS, 3.0, bar_height)
    bars, load = found["wheelie_bars"], 820 * G * (1.5 - 1.2804878) / 1.5
    assert bars["load_n"] == pytest.approx(load, abs=0.2)
    assert found["driven_tyres_n"] == pytest.approx(820 * G - load, abs=0.3)
    assert bars["deflection_m"] == pytest.approx(load / 50e3, abs=1e-5)
    assert bars["front_wheels_rise_m"] == pytest.approx((0.0762 + load / 50e3) * 2.5 / 1.5, abs=1e-3)
    assert bars["touch_at_pitch_deg"] == pytest.approx(2.908, abs=1e-3)  # atan(0.0762/1.5)
    assert bars["driven_tyres_lose_per_load"] == pytest.approx(1.6)
    clear, _ = launch(HEAD + TRACKS + BARS, 1.5, bar_height)
    assert clear["wheelie_bars"]["load_n"] == 0
    assert clear["wheelie_bars"]["front_wheels_rise_m"] is None


def test_without_a_launch_or_a_height_everything_is_null_and_named() -> None:
    page, remarks = figures(chassis(HEAD + TRACKS))
    full, _ = launch(HEAD + TRACKS + SIDE, 1.5)
    assert list(page["launch"]) == list(full)
    assert page["launch"]["driven_tyres_n"] is None
    assert any("for the loads at the launch" in text for text in remarks.missing)
    low, _ = launch(HEAD.replace("centre_of_gravity_height", "#"), 1.5)
    assert low["driven_tyres_n"] is None
    assert low["cautions"]


# --- ballast off the centre line --------------------------------------------------------------------------------------


def test_without_tracks_off_centre_ballast_leaves_no_left_and_right() -> None:
    base = chassis(HEAD + SIDE)
    page, _ = figures(base, Hit(1.5 * G, "typed"))
    assert page["left_pct"] == pytest.approx(50, abs=1e-4)  # as weighed
    after, remarks = figures(suppose(base, ["ballast rear=20"])[0], Hit(1.5 * G, "typed"))
    assert set(after["corner_weights_kg"].values()) == {None}
    assert (after["left_pct"], after["cross_pct"], after["centre_of_gravity_m"]["y"]) == (None, None, None)
    # moments about the rear axle: 20 kg 0.5 m behind it take 4 kg off the front
    assert after["front_pct"] == pytest.approx(100 * 416 / 840, abs=1e-3)
    assert after["total_kg"] == pytest.approx(840)
    assert set(after["launch"]["tyres_n"].values()) == {None}
    assert after["launch"]["driven_tyres_n"] is not None
    assert any("off the centre line and a track isn't known" in text for text in remarks.warnings)


def test_with_tracks_the_assumed_roll_share_is_told() -> None:
    after, remarks = figures(suppose(chassis(HEAD + TRACKS + SIDE), ["ballast rear=20"])[0])
    corners = after["corner_weights_kg"]
    # moment about the centre line, whatever the roll share: 20 kg × 0.4 m
    moment = 0.75 * (corners["left_front"] - corners["right_front"]) + 0.7 * (
        corners["left_rear"] - corners["right_rear"]
    )
    assert moment == pytest.approx(0.75 * 20 - 0.7 * 20 + 8, abs=1e-2)
    assert sum("assumed front share of roll stiffness of 50 %" in text for text in remarks.warnings) == 1


def test_ballast_far_out_is_planned_without_tracks() -> None:
    """The stand-in for a track must not say that a tyre lifts."""
    far = SIDE.replace('y = "0.4 m"', 'y = "9 m"')
    plan = ballast_part(chassis(HEAD + far), Wanted(830.0, 100 * 418 / 830))
    assert plan["reached"]


# --- weighings --------------------------------------------------------------------------------------------------------

NOTED = {
    "driver weight": entry("driver weight", 90.0, "kg"),
    "fuel": entry("fuel", 12.0, "kg"),
    **{
        item: entry(item, None, "", "yes")
        for item in ("level pads", "anti-roll link disconnected", "wheelie bars clear", "suspension settled")
    },
    "front tyre pressure": entry("front tyre pressure", 30.0, "psi"),
    "rear tyre pressure": entry("rear tyre pressure", 6.5, "psi"),
}


def sheets(**later: SheetEntry) -> list[Sheet]:
    readings = tuple(entry(item, kg + 5.0, "kg") for item, kg in CORNERS.items())
    once = {item: found for item, found in NOTED.items() if "pressure" not in item}
    again = {**once, **{found.item: found for found in later.values()}}
    return [
        Sheet("gull", None, 1, True, (*weighed().values(), *NOTED.values())),
        Sheet("gull", DAY, 3, False, (*readings, *again.values())),
    ]


def test_same_conditions_let_two_weighings_be_compared() -> None:
    found = weighings(sheets(), RunKey("gull", DAY, 3))
    part = weighings_part(found)
    assert part["comparable"] is True
    assert part["change_kg"]["total"] == pytest.approx(20)
    assert part["change_kg"]["left_front"] == pytest.approx(5)
    assert (part["before"]["sheet"], part["newest"]["sheet"]) == ("baseline sheet", "gull/2031-05-01/3")
    assert not_noted(found[-1]) == []


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        (entry("driver weight", 80.0, "kg"), "driver weight differs: 198.4 lb and 176.4 lb"),
        (entry("fuel", 4.0, "kg"), "fuel differs"),
        (entry("rear tyre pressure", 7.0, "psi"), "left rear pressure differs: 6.5 psi and 7.0 psi"),
        (entry("level pads", None, "", "no"), "the pads were not level in the second weighing"),
        (entry("wheelie bars clear", None, "", "?"), "whether the wheelie bars were clear was not noted"),
    ],
)
def test_other_conditions_forbid_comparing(changed: SheetEntry, why: str) -> None:
    part = weighings_part(weighings(sheets(a=changed), RunKey("gull", DAY, 3)))
    assert part["comparable"] is False
    assert any(why in text for text in part["why_not"]), part["why_not"]
    assert set(part["change_kg"].values()) == {None}


def test_what_the_sheet_of_the_readings_does_not_note_is_not_known() -> None:
    """The driver noted at the baseline says nothing of who sat in the car at the next weighing."""
    first, second = sheets()
    bare = Sheet("gull", DAY, 3, False, second.entries[:4])
    found = weighings([first, bare], RunKey("gull", DAY, 3))
    part = weighings_part(found)
    assert part["comparable"] is False
    assert "driver weight was not noted in the second weighing" in part["why_not"]
    assert not_noted(found[-1])[0] == "driver weight"
    assert "tyre pressures" not in not_noted(found[-1])  # part of the setup: they hold until the next sheet
    assert len(weighings([first, bare], RunKey("gull", DAY, 2))) == 1
    assert weighings_part([])["comparable"] is None
