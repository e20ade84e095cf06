"""The chassis page's figures against exact cases, hand calculations and identities."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import pytest

from runlog.errors import RunlogError, UsageError
from runlog.readers.car import read_car
from runlog.records import RunKey, Sheet, SheetEntry
from runlog.workflows.chassis.as_set import Chassis
from runlog.workflows.chassis.ballast import Wanted, ballast_part
from runlog.workflows.chassis.page import combinations, figures, weighed_with
from runlog.workflows.chassis.proposed import suppose

HEAD = """
[car]
name = "gull"
race_weight = "820 kg"
wheelbase = "2.5 m"
power = "600 hp"
tyre_circumference = "2.5 m"
final_drive = 4.1
front_weight_pct = 50
centre_of_gravity_height = "0.5 m"
"""
# exactly: lower (0, 0.20)–(0.60, 0.25), upper (0, 0.45)–(0.40, 0.40) m meet at (1.2, 0.3); 125 % with h 0.5, L 2.5
LINKS = """
[[car.adjustable]]
name = "upper link front hole"
high = 1
holes = [{ label = "A", x = "0.40 m", z = "0.40 m" }, { label = "B", x = "0.40 m", z = "0.38 m" },
         { label = "C", x = "0.40 m", z = "0.36 m" }]
[[car.adjustable]]
name = "upper link rear hole"
holes = [{ label = "A", x = "0 m", z = "0.45 m" }]
[[car.adjustable]]
name = "lower link front hole"
holes = [{ label = "A", x = "0.60 m", z = "0.25 m" }, { label = "B", x = "0.60 m", z = "0.27 m" }]
[[car.adjustable]]
name = "lower link rear hole"
holes = [{ label = "A", x = "0 m", z = "0.20 m" }]
"""
BALLAST = """
[[car.adjustable]]
name = "ballast rear"
unit = "kg"
low = 0
high = 40
x = "-0.5 m"
z = "0.20 m"
"""
HOLES_IN_USE = {"upper link front hole": 0.0, "lower link front hole": 0.0}
CORNERS = {"weight left front": 220, "weight right front": 200, "weight left rear": 190, "weight right rear": 210}


def setup(holes: dict[str, float] = HOLES_IN_USE, **readings: tuple[float, str]) -> dict[str, SheetEntry]:
    made = {name: SheetEntry(name, value, "hole", "ABC"[int(value)]) for name, value in holes.items()}
    for name, (value, unit) in readings.items():
        item = name.replace("_", " ")
        made[item] = SheetEntry(item, value, unit, f"{value:g}")
    return made


def weighed(**more: tuple[float, str]) -> dict[str, SheetEntry]:
    return setup(**{name.replace(" ", "_"): (float(kg), "kg") for name, kg in CORNERS.items()}, **more)


def chassis(text: str = HEAD + LINKS, in_force: dict[str, SheetEntry] | None = None, **more: Any) -> Chassis:
    return Chassis(read_car(text.encode(), "gull.toml"), setup() if in_force is None else in_force, **more)


# --- geometry ---------------------------------------------------------------------------------------------------------


def test_exact_case_from_car_file_and_sheet() -> None:
    page, _ = figures(chassis())
    assert page["instant_centre"] == {"x_m": pytest.approx(1.2, abs=1e-6), "z_m": pytest.approx(0.3, abs=1e-6)}
    assert page["anti_squat_pct"] == pytest.approx(125, abs=1e-4)
    assert page["line_height_at_front_axle_m"] == pytest.approx(0.625, abs=1e-5)
    assert page["forces_per_traction"]["lower_link"] == pytest.approx(-1.8062392, abs=1e-5)
    assert page["forces_per_traction"]["upper_link"] == pytest.approx(0.8062258, abs=1e-5)
    assert page["separation_at_axle_m"] == pytest.approx(0.25)
    upper, lower = page["links"]
    assert upper["angle_deg"] == pytest.approx(-math.degrees(math.atan(1 / 8)), abs=1e-4)
    assert lower["length_m"] == pytest.approx(math.sqrt(0.3625), abs=1e-5)


def test_other_hole_moves_the_figures_the_right_way() -> None:
    page, _ = figures(chassis(in_force=setup({"upper link front hole": 1.0, "lower link front hole": 0.0})))
    assert page["instant_centre"]["x_m"] < 1.2
    assert page["anti_squat_pct"] > 125


def test_axle_height_is_the_loaded_radius_or_the_circumferences() -> None:
    page, remarks = figures(chassis())
    assert page["axle_height_m"] == pytest.approx(2.5 / (2 * math.pi), abs=1e-5)
    assert any("loaded_tyre_radius" in text for text in remarks.missing)
    page, remarks = figures(chassis(HEAD + 'loaded_tyre_radius = "0.38 m"\n' + LINKS))
    assert page["axle_height_m"] == 0.38
    assert not any("loaded_tyre_radius" in text for text in remarks.missing)


def test_parallel_links_have_no_place_but_anti_squat() -> None:
    links = LINKS.replace('x = "0.40 m", z = "0.40 m"', 'x = "0.60 m", z = "0.50 m"')
    text = HEAD + 'rear_track = "1.5 m"\n' + links
    page, remarks = figures(chassis(text))
    assert page["instant_centre"] == {"x_m": None, "z_m": None}
    assert page["parallel_slope"] == pytest.approx(1 / 12, abs=1e-6)
    assert page["anti_squat_pct"] == pytest.approx(100 / 12 / 0.2, abs=1e-4)
    assert any("only binds" in text for text in remarks.warnings)
    assert page["sides"]["preload"] is None
    assert {row["instant_centre"]["x_m"] for row in page["travel"]} == {None}  # a parallelogram stays one


def test_links_on_one_line_are_an_error_with_the_holes() -> None:
    text = HEAD + LINKS.replace('x = "0 m", z = "0.45 m"', 'x = "0.3 m", z = "0.225 m"').replace(
        'x = "0.40 m", z = "0.40 m"', 'x = "0.9 m", z = "0.275 m"'
    )
    with pytest.raises(RunlogError, match=r"gull: both links lie on one line.*holes in use: upper link front hole A, "):
        figures(chassis(text))


def test_link_without_length_is_an_error() -> None:
    text = HEAD + LINKS.replace('x = "0.40 m", z = "0.40 m"', 'x = "0 m", z = "0.45 m"')
    with pytest.raises(RunlogError, match="it has no length and no direction; holes in use: "):
        figures(chassis(text))


def test_centre_in_line_with_the_axle_has_no_anti_squat_and_says_so() -> None:
    """Both links go through (0, 0.2) m."""
    text = HEAD + LINKS.replace('x = "0 m", z = "0.45 m"', 'x = "0.1 m", z = "0.25 m"')
    page, remarks = figures(chassis(text))
    assert page["instant_centre"] == {"x_m": pytest.approx(0, abs=1e-6), "z_m": pytest.approx(0.2)}
    assert page["anti_squat_pct"] is None
    assert any("in line with the axle: no anti-squat there" in text for text in remarks.warnings)


def test_weights_that_cant_be_are_an_error() -> None:
    readings = weighed() | {"weight left rear": SheetEntry("weight left rear", -190, "kg", "-190")}
    with pytest.raises(RunlogError, match="gull, scale readings of the setup sheet: left rear -190 kg can't be"):
        figures(chassis(in_force=readings))
    base = chassis(HEAD + LINKS + BALLAST.replace("-0.5 m", "-60 m"), weighed(), weighed_with=weighed())
    with pytest.raises(RunlogError, match=r"gull, ballast rear: 40 kg .* would lift the left front tyre"):
        figures(suppose(base, ["ballast rear=40"])[0])


def test_ladder_bar_and_torque_arm() -> None:
    """Ladder bar: the pivot itself, 125 %. Torque arm, level slide: over the mount, on the lower link's line."""
    bar = '[car.rear_suspension]\nlayout = "ladder bar"\npivot_x = "1.2 m"\npivot_z = "0.3 m"\n'
    page, _ = figures(chassis(HEAD + bar, in_force={}))
    assert page["instant_centre"] == {"x_m": 1.2, "z_m": 0.3}
    assert page["anti_squat_pct"] == pytest.approx(125, abs=1e-4)
    assert page["holes"] == []
    arm = '[car.rear_suspension]\nlayout = "torque arm"\npivot_x = "1.5 m"\npivot_z = "0.4 m"\n'
    page, _ = figures(chassis(HEAD + arm + LINKS))
    assert page["instant_centre"] == {"x_m": pytest.approx(1.5), "z_m": pytest.approx(0.325)}
    assert [link["name"] for link in page["links"]] == ["lower link"]


def test_left_and_right_that_differ() -> None:
    """Lower links of slopes 1/12 left and 7/60 right, track 1.5 m: −(1/30)/1.5 rad a metre, to the right."""
    text = (HEAD + 'rear_track = "1.5 m"\n' + LINKS).replace("lower link front hole", "lower link front hole left")
    text += '[[car.adjustable]]\nname = "lower link front hole right"\n'
    text += 'holes = [{ label = "A", x = "0.6 m", z = "0.27 m" }]\n'
    in_force = setup({"upper link front hole": 0.0, "lower link front hole left": 0.0})
    page, _ = figures(chassis(text, in_force))
    assert len(page["holes"]) == 8
    assert {link["side"] for link in page["links"]} == {"left", "right"}
    expected = math.degrees(-(1 / 30) / 1.5 * 0.025)
    assert page["sides"]["axle_steer_deg_per_25_mm_raised"] == pytest.approx(expected, abs=1e-4)
    assert page["sides"]["rear_wheels_point"] == "right"
    right = (0.2 + 7 / 60 * (0.25 / (7 / 60 + 1 / 8))) / (0.25 / (7 / 60 + 1 / 8)) / 0.2
    assert page["sides"]["anti_squat_difference_pct"] == pytest.approx(125 - 100 * right, abs=1e-3)


def test_travel_and_sensitivity_agree() -> None:
    page, _ = figures(chassis())
    rows = {row["axle_raised_mm"]: row["anti_squat_pct"] for row in page["travel"]}
    slope = (rows[25.4] - rows[-25.4]) / 5.08  # per 10 mm
    assert page["sensitivity"]["anti_squat_pct_per_10_mm_axle_raised"] == pytest.approx(slope, rel=0.02)
    assert page["sensitivity"]["anti_squat_pct_per_10_mm_frame_lowered"] < 0


def test_driveshaft_angles() -> None:
    """asin(0.06/1.2) = 2.8660°; transmission 4° gives 1.1340° in front; the sheet's −2° is the rear joint's angle."""
    shaft = '[car.driveshaft]\nlength = "1.2 m"\nfront_higher_by = "0.06 m"\ntransmission_deg = 4\n'
    page, _ = figures(chassis(HEAD + shaft + LINKS, setup(pinion_angle=(-2.0, "deg"))))
    found = page["driveline"]
    assert found["driveshaft_deg"] == pytest.approx(2.8660, abs=1e-4)
    assert found["front_joint_deg"] == pytest.approx(1.1340, abs=1e-4)
    assert (found["rear_joint_deg"], found["pinion_to_driveshaft_deg"]) == (2.0, -2.0)


# --- weights ----------------------------------------------------------------------------------------------------------


def test_corner_weights() -> None:
    """Arithmetic: 420/820 front, 410/820 left, (200 + 190)/820 cross; x = 2.5 × front share."""
    text = HEAD + 'front_track = "1.5 m"\nrear_track = "1.4 m"\n' + LINKS
    page, remarks = figures(chassis(text, weighed()))
    assert page["corner_weights_kg"] == {"left_front": 220, "right_front": 200, "left_rear": 190, "right_rear": 210}
    assert page["front_pct"] == pytest.approx(51.2195, abs=1e-4)
    assert page["left_pct"] == pytest.approx(50, abs=1e-4)
    assert page["cross_pct"] == pytest.approx(47.5610, abs=1e-4)
    gravity = page["centre_of_gravity_m"]
    assert gravity["x"] == pytest.approx(2.5 * 420 / 820, abs=1e-5)
    assert gravity["y"] == pytest.approx((20 * 0.75 - 20 * 0.7) / 820, abs=1e-5)
    assert gravity["z"] == 0.5
    assert page["wheel_lift_acceleration_g"] == pytest.approx(2.5 * 420 / 820 / 0.5, abs=1e-4)
    assert not any("weight" in text for text in remarks.missing)


def test_without_scale_readings_the_car_file_serves() -> None:
    page, remarks = figures(chassis())
    assert set(page["corner_weights_kg"].values()) == {None}
    assert page["front_pct"] == 50
    assert page["left_pct"] is None
    assert page["centre_of_gravity_m"] == {"x": 1.25, "y": None, "z": 0.5}
    assert page["wheel_lift_acceleration_g"] == pytest.approx(2.5, abs=1e-4)
    assert "setup sheet: weight left front, for the corner weights" in remarks.missing


def test_with_nothing_known_every_key_is_null_and_named() -> None:
    bare = "\n".join(row for row in HEAD.splitlines() if "front_weight" not in row and "gravity" not in row)
    page, remarks = figures(chassis(bare, {}))
    full, _ = figures(chassis())
    assert list(page) == list(full)
    assert page["anti_squat_pct"] is None
    assert page["centre_of_gravity_m"] == {"x": None, "y": None, "z": None}
    assert page["wheel_lift_acceleration_g"] is None
    for wanted in ("front_weight_pct", "weight right rear", "'upper link front hole' with its holes", "driveshaft"):
        assert any(wanted in text for text in remarks.missing), wanted


def test_missing_hole_of_a_sheet_and_missing_coordinates() -> None:
    _, remarks = figures(chassis(in_force=setup({"upper link front hole": 0.0})))
    assert "setup sheet: lower link front hole, for the instant centre" in remarks.missing
    text = HEAD + LINKS.replace('{ label = "A", x = "0 m", z = "0.20 m" }', '{ label = "A", x = "0 m" }')
    _, remarks = figures(chassis(text))
    assert "car file: x and z of hole A of lower link rear hole, for the instant centre" in remarks.missing


def test_doubts_about_weights() -> None:
    readings = weighed() | {"weight left rear": SheetEntry("weight left rear", 190, "", "190")}
    page, remarks = figures(chassis(in_force=readings))
    assert page["corner_weights_kg"]["left_front"] is None
    assert "setup sheet: weight left rear with a unit of mass, for the corner weights" in remarks.missing
    heavy = HEAD.replace("820 kg", "900 kg") + 'minimum_weight = "830 kg"\n' + LINKS
    page, remarks = figures(chassis(heavy, weighed()))
    assert any("were driver and fuel the same?" in text for text in remarks.warnings)
    assert any("22 lb below the minimum weight" in text for text in remarks.warnings)  # 10 kg
    assert page["over_minimum_kg"] == pytest.approx(-10)


def test_ballast_put_in_since_the_car_was_weighed() -> None:
    """Moments about the rear axle: 20 kg 0.5 m behind it take 20 × 0.5/2.5 = 4 kg off the front; height by the mean."""
    then = weighed(ballast_rear=(0.0, "kg"))
    page, remarks = figures(chassis(HEAD + LINKS + BALLAST, weighed(ballast_rear=(20.0, "kg")), weighed_with=then))
    corners = page["corner_weights_kg"]
    assert corners["left_front"] + corners["right_front"] == pytest.approx(420 - 4, abs=1e-2)
    assert corners["left_rear"] + corners["right_rear"] == pytest.approx(400 + 24, abs=1e-2)
    assert page["centre_of_gravity_m"]["z"] == pytest.approx((820 * 0.5 + 20 * 0.2) / 840, abs=1e-5)
    assert any("computed, not weighed: ballast rear +44" in text for text in remarks.warnings)


def test_ballast_whose_place_isnt_known_is_said() -> None:
    text = HEAD + LINKS + BALLAST.replace('x = "-0.5 m"\n', "")
    in_force, then = weighed(ballast_rear=(20.0, "kg")), weighed(ballast_rear=(0.0, "kg"))
    page, remarks = figures(chassis(text, in_force, weighed_with=then))
    assert page["total_kg"] == 820
    assert any("these weights are without it" in text for text in remarks.warnings)
    assert any("x, y and z of ballast rear" in text for text in remarks.missing)


def test_ballast_that_no_sheet_noted_counts_as_none() -> None:
    base = chassis(HEAD + LINKS + BALLAST, weighed(), weighed_with=weighed())
    page, remarks = figures(suppose(base, ["ballast rear=20"])[0])
    assert page["total_kg"] == pytest.approx(840)
    assert "ballast rear wasn't noted when the car was weighed: taken as none" in remarks.warnings


def test_the_setup_a_car_was_weighed_with() -> None:
    """The newest sheet with scale readings up to the run; ballast changed later doesn't count."""
    day = dt.date(2031, 5, 1)
    first = Sheet("gull", None, 1, True, tuple(weighed(ballast_rear=(5.0, "kg")).values()))
    later = Sheet("gull", day, 3, False, (SheetEntry("ballast rear", 10.0, "kg", "10"),))
    again = Sheet("gull", day, 5, False, (SheetEntry("weight left front", 221.0, "kg", "221"),))
    sheets = [first, later, again]
    assert weighed_with(sheets, RunKey("gull", day, 4))["ballast rear"].value == 5.0
    assert weighed_with(sheets, RunKey("gull", day, 5))["ballast rear"].value == 10.0
    assert weighed_with(sheets, None)["ballast rear"].value == 5.0
    assert weighed_with([later], RunKey("gull", day, 4)) == {}


# --- proposals --------------------------------------------------------------------------------------------------------


def test_supposed_hole() -> None:
    after, changes = suppose(chassis(), ["Upper Link Front Hole=B"])
    assert [(change.before, change.after) for change in changes] == [("A", "B")]
    page, _ = figures(after)
    straight, _ = figures(chassis(in_force=setup({"upper link front hole": 1.0, "lower link front hole": 0.0})))
    assert page == straight


def test_supposed_ballast_in_another_unit() -> None:
    base = chassis(
        HEAD + LINKS + BALLAST, weighed(ballast_rear=(0.0, "kg")), weighed_with=weighed(ballast_rear=(0.0, "kg"))
    )
    page, _ = figures(suppose(base, ["ballast rear = 44.0924524 lb"])[0])
    assert page["total_kg"] == pytest.approx(840, abs=1e-3)
    assert page["front_pct"] < 51.2195


def test_supposed_ride_height_lowers_the_frame() -> None:
    """Front pivots 20 mm lower, by hand: slopes 0.03/0.6 and −0.07/0.4 meet at x = 0.25/0.225."""
    text = (
        HEAD + LINKS + '[[car.adjustable]]\nname = "rear ride height"\nunit = "mm"\nstep = 5\nlow = 100\nhigh = 200\n'
    )
    base = chassis(text, setup(rear_ride_height=(150.0, "mm")))
    page, _ = figures(suppose(base, ["rear ride height=130"])[0])
    assert page["instant_centre"]["x_m"] == pytest.approx(0.25 / 0.225, abs=1e-6)
    assert page["instant_centre"]["z_m"] == pytest.approx(0.2 + 0.05 * 0.25 / 0.225, abs=1e-6)


def test_supposed_pinion_angle_turns_the_rear_brackets() -> None:
    """Nose up by 1°: the upper rear pivot goes back, the lower one forward, each by its height over the axle."""
    text = HEAD + LINKS + '[[car.adjustable]]\nname = "pinion angle"\nlow = -5\nhigh = 0\n'
    base = chassis(text, setup(pinion_angle=(-3.0, "deg")))
    before, _ = figures(base)
    page, _ = figures(suppose(base, ["pinion angle=-2"])[0])
    radius, turn = 2.5 / (2 * math.pi), math.radians(1)
    upper, lower = page["links"][0]["rear"]["x_m"], page["links"][1]["rear"]["x_m"]
    assert upper == pytest.approx(-(0.45 - radius) * math.sin(turn), abs=1e-5)
    assert lower == pytest.approx(-(0.20 - radius) * math.sin(turn), abs=1e-5)
    assert page["driveline"]["rear_joint_deg"] == 2.0
    assert before["links"][0]["rear"]["x_m"] == 0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("upper link front hole=C", "upper link front hole C passes the car file's high limit of B hole"),
        ("upper link front hole=Z", "no hole 'Z' in the car file; its holes: A, B, C"),
        ("ballast rear=41", "ballast rear 41 passes the car file's high limit of 40 kg"),
        ("ballast rear=-1", "ballast rear -1 passes the car file's low limit of 0 kg"),
        ("ballast rear=heavy", "'heavy' is not a number of kg"),
        ("ballast rear=5 psi", "unit 'psi'; accepted: kg"),
        ("upper link front", "accepted: NAME=VALUE"),
        ("launch rpm=4000", "'launch rpm' isn't in the car file; accepted: upper link front hole"),
        ("uper link front hole=B", "isn't in the car file; accepted: upper link front hole"),
    ],
)
def test_proposals_that_cant_be(text: str, message: str) -> None:
    base = chassis(HEAD + LINKS + BALLAST, weighed(ballast_rear=(0.0, "kg")))
    with pytest.raises(UsageError) as caught:
        suppose(base, [text])
    assert message in str(caught.value)


def test_adjustable_without_bearing_is_named_so() -> None:
    base = chassis(HEAD + LINKS + '[[car.adjustable]]\nname = "launch rpm"\n')
    with pytest.raises(UsageError, match="'launch rpm' has no bearing on the chassis figures"):
        suppose(base, ["launch rpm=4000"])


def test_ride_height_change_needs_the_height_now() -> None:
    base = chassis(HEAD + LINKS + '[[car.adjustable]]\nname = "rear ride height"\n')
    with pytest.raises(UsageError, match="rear ride height isn't in the setup as a length"):
        suppose(base, ["rear ride height=5"])


# --- ballast for a weight and a balance ------------------------------------------------------------------------------


PLATES = BALLAST.replace("low = 0", "step = 5\nlow = 0") + BALLAST.replace("ballast rear", "ballast front").replace(
    '"-0.5 m"', '"2.9 m"'
).replace("low = 0", "step = 5\nlow = 0")


def test_ballast_for_a_weight_and_a_balance() -> None:
    """10 kg in each mount by moments about the rear axle: front 420 + 10 × 2.9/2.5 − 10 × 0.5/2.5 = 429.6 of 840 kg."""
    then = weighed(ballast_rear=(0.0, "kg"), ballast_front=(0.0, "kg"))
    base = chassis(HEAD + LINKS + PLATES, then, weighed_with=then)
    plan = ballast_part(base, Wanted(840.0, 100 * 429.6 / 840))
    assert plan["reached"]
    assert {row["adjustable"]: (row["from"], row["to"], row["unit"]) for row in plan["mounts"]} == {
        "ballast rear": (0, 10, "kg"),
        "ballast front": (0, 10, "kg"),
    }
    assert plan["total_kg"] == pytest.approx(840)
    assert plan["wheel_lift_acceleration_g"] == pytest.approx(
        2.5 * 429.6 / 840 / ((820 * 0.5 + 20 * 0.2) / 840), abs=1e-4
    )
    assert plan["cautions"]


def test_ballast_never_goes_over_a_mounts_limit() -> None:
    then = weighed(ballast_rear=(0.0, "kg"), ballast_front=(0.0, "kg"))
    plan = ballast_part(chassis(HEAD + LINKS + PLATES, then, weighed_with=then), Wanted(1000.0, 40.0))
    assert not plan["reached"]
    assert all(0 <= row["to"] <= 40 for row in plan["mounts"])
    assert "can't be reached with these mounts" in plan["text"]


def test_ballast_that_cant_be_planned() -> None:
    with pytest.raises(UsageError, match="no ballast adjustable with high and x"):
        ballast_part(chassis(), Wanted(840.0, 50.0))
    bare = HEAD.replace("front_weight_pct = 50", "")
    with pytest.raises(UsageError, match="no weights to plan ballast from"):
        ballast_part(chassis(bare + BALLAST, {}), Wanted(840.0, 50.0))
    low = BALLAST.replace("low = 0", "low = 5")
    with pytest.raises(UsageError, match="ballast rear has a low limit of 5 kg"):
        ballast_part(chassis(HEAD + low, weighed(ballast_rear=(10.0, "kg"))), Wanted(840.0, 50.0))
    light = HEAD + 'minimum_weight = "850 kg"\n' + BALLAST.replace("low = 0", "step = 5\nlow = 0")
    with pytest.raises(UsageError, match=r"ballast: .*840.* below the minimum weight"):
        ballast_part(chassis(light, weighed()), Wanted(840.0, 50.0))


# --- combinations -----------------------------------------------------------------------------------------------------


def test_combinations_stay_inside_the_limits_and_come_nearest_first() -> None:
    """Hole C is beyond the car file's limit: two upper times two lower front holes remain."""
    base = chassis()
    page, _ = figures(base)
    rows = combinations(base, page, 130.0)
    assert len(rows) == 4
    assert all(row["holes"]["upper link front hole"] != "C" for row in rows)
    away = [abs(row["off_target_pct"]) for row in rows]
    assert away == sorted(away)
    here = [row for row in rows if row["moved"] == 0]
    assert [row["anti_squat_pct"] for row in here] == [pytest.approx(125, abs=1e-4)]
    assert here[0]["anti_squat_pct_per_10_mm_axle_raised"] == pytest.approx(
        page["sensitivity"]["anti_squat_pct_per_10_mm_axle_raised"], rel=1e-3
    )


def test_no_combinations_without_brackets_or_height() -> None:
    bar = '[car.rear_suspension]\nlayout = "ladder bar"\npivot_x = "1.2 m"\npivot_z = "0.3 m"\n'
    base = chassis(HEAD + bar, {})
    assert combinations(base, figures(base)[0], 100.0) == []
    flat = chassis(HEAD.replace('centre_of_gravity_height = "0.5 m"', "") + LINKS)
    assert combinations(flat, figures(flat)[0], 100.0) == []
