"""Side-view figures of a chassis in the shape of the page: links, instant centre, anti-squat, travel, joints."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from runlog.errors import RunlogError
from runlog.physics.axle_sides import anti_squat_difference, axle_steer, preload_tendency
from runlog.physics.driveline_angles import driveline_angles, driveshaft_inclination
from runlog.physics.fourlink import (
    AtInfinity,
    Centre,
    FourLink,
    InstantCentre,
    Layout,
    anti_squat,
    axle_forces,
    height_at_front_axle,
    instant_centre,
)
from runlog.physics.fourlink_travel import sensitivity, travelled
from runlog.workflows.chassis.as_set import holes_in_use, layout_on, middle_layout, missing_holes, named_links
from runlog.workflows.run_content import rounded

if TYPE_CHECKING:
    from collections.abc import Callable

    from runlog.physics.fourlink import Link
    from runlog.workflows.chassis.as_set import Chassis

TRAVELS_MM: Final = (-50.8, -25.4, 25.4, 50.8)
"""[mm] axle travel that the page shows: one and two inches"""
STEER_NOTE: Final = (
    "a tendency, not a prediction: stiff axle, rod ends without play, the same travel on both sides, the lower links "
    "place the axle; tyres and bushings can be worth as much"
)


@dataclass
class Remarks:
    """What is missing and what is doubtful, collected while figures are made."""

    missing: list[str]
    warnings: list[str]

    def value(self, make: Callable[[], float]) -> float | None:
        """Return a figure, or None with its reason noted where the geometry gives none."""
        try:
            return make()
        except ValueError as error:
            if str(error) not in self.warnings:
                self.warnings.append(str(error))
            return None


def side_view(chassis: Chassis, height: float | None, remarks: Remarks) -> dict[str, Any]:
    """Return everything seen from the side; ``height`` [m] of the centre of gravity where it is known.

    ``RunlogError`` for links that can't hold an axle, with the holes in use.
    """
    remarks.missing += missing_holes(chassis)
    if chassis.car.loaded_tyre_radius is None:
        remarks.missing.append("car file: loaded_tyre_radius, for the axle's height (taken from the circumference)")
    layout, centre = _middle(chassis)
    return {
        "layout": chassis.suspension.layout,
        "axle_height_m": rounded(chassis.axle_height, 5),
        "wheelbase_m": rounded(chassis.car.wheelbase, 5),
        "holes": _holes(chassis),
        "links": _links(chassis),
        "separation_at_axle_m": rounded(layout.separation_at_axle, 5) if isinstance(layout, FourLink) else None,
        "separation_at_frame_m": rounded(layout.separation_at_frame, 5) if isinstance(layout, FourLink) else None,
        "instant_centre": centre_part(centre),
        "parallel_slope": rounded(centre.slope, 6) if isinstance(centre, AtInfinity) else None,
        **_squat(chassis, centre, height, remarks),
        "forces_per_traction": _forces(chassis, layout, height),
        "sensitivity": _sensitivity(chassis, layout, height, remarks),
        "travel": _travel(chassis, layout, height),
        "sides": _sides(chassis, height, remarks),
        "driveline": _driveline(chassis, remarks),
    }


def _middle(chassis: Chassis) -> tuple[Layout | None, Centre | None]:
    """Return layout and instant centre in the middle of the car, after a look at each side."""
    try:
        for side in chassis.sides:
            layout = layout_on(chassis, side)
            if layout is not None:
                instant_centre(layout)
        layout = middle_layout(chassis)
        return layout, instant_centre(layout) if layout else None
    except ValueError as error:
        used = [hole for side in chassis.sides for hole in holes_in_use(chassis, side)]
        named = ", ".join(f"{hole.adjustable.name} {hole.hole.label}" for hole in used if hole.adjustable and hole.hole)
        raise RunlogError(f"{chassis.car.name}: {error}; holes in use: {named}") from None


def centre_part(centre: Centre | None) -> dict[str, float | None]:
    """Return an instant centre [m]; nulls where there is none or the links are parallel."""
    if not isinstance(centre, InstantCentre):
        return {"x_m": None, "z_m": None}
    return {"x_m": rounded(centre.x, 6), "z_m": rounded(centre.z, 6)}


def _squat(chassis: Chassis, centre: Centre | None, height: float | None, remarks: Remarks) -> dict[str, float | None]:
    wheelbase = chassis.car.wheelbase
    if centre is None:
        return {"anti_squat_pct": None, "line_height_at_front_axle_m": None}
    share = None if height is None else remarks.value(lambda: anti_squat(centre, height, wheelbase))
    return {
        "anti_squat_pct": _pct(share),
        "line_height_at_front_axle_m": rounded(remarks.value(lambda: height_at_front_axle(centre, wheelbase)), 5),
    }


def _pct(share: float | None) -> float | None:
    return None if share is None else rounded(100 * share, 4)


def _deg(angle: float | None) -> float | None:
    return None if angle is None else rounded(math.degrees(angle), 4)


def _holes(chassis: Chassis) -> list[dict[str, Any]]:
    return [
        {
            "bracket": used.place,
            "side": side or None,
            "adjustable": used.adjustable.name if used.adjustable else None,
            "hole": used.hole.label if used.hole else None,
            "x_m": rounded(used.hole.x, 5) if used.hole else None,
            "z_m": rounded(used.hole.z, 5) if used.hole else None,
            "others": [
                {"hole": hole.label, "x_m": rounded(hole.x, 5), "z_m": rounded(hole.z, 5)}
                for hole in (used.adjustable.holes if used.adjustable else ())
                if hole != used.hole
            ],
        }
        for side in chassis.sides
        for used in holes_in_use(chassis, side)
    ]


def _links(chassis: Chassis) -> list[dict[str, Any]]:
    found = []
    for side in chassis.sides:
        layout = layout_on(chassis, side)
        found += [_link(name, side, link) for name, link in (named_links(layout) if layout else ())]
    return found


def _link(name: str, side: str, link: Link) -> dict[str, Any]:
    (rear_x, rear_z), (front_x, front_z) = link.rear, link.front
    return {
        "name": name,
        "side": side or None,
        "angle_deg": _deg(link.angle),
        "length_m": rounded(link.length, 5),
        "rear": {"x_m": rounded(rear_x, 5), "z_m": rounded(rear_z, 5)},
        "front": {"x_m": rounded(front_x, 5), "z_m": rounded(front_z, 5)},
    }


def _forces(chassis: Chassis, layout: Layout | None, height: float | None) -> dict[str, float | None]:
    """Return the forces in the links, both of a pair together, for each newton of traction; tension positive."""
    nothing: dict[str, float | None] = {"upper_link": None, "lower_link": None, "spring_change": None}
    if layout is None or height is None:
        return nothing
    try:
        forces = axle_forces(layout, 1.0, height / chassis.car.wheelbase)
    except ValueError:
        return nothing
    links = (forces.first, forces.second) if isinstance(layout, FourLink) else (None, None)
    return {
        "upper_link": rounded(links[0], 5),
        "lower_link": rounded(links[1], 5),
        "spring_change": rounded(forces.spring_change, 5),
    }


def _sensitivity(
    chassis: Chassis, layout: Layout | None, height: float | None, remarks: Remarks
) -> dict[str, float | None]:
    names = ("anti_squat_pct_per_10_mm_frame_lowered", "anti_squat_pct_per_10_mm_axle_raised")
    if not isinstance(layout, FourLink) or height is None:
        return dict.fromkeys(names)
    try:
        found = sensitivity(layout, height, chassis.car.wheelbase, chassis.axle_height)
    except ValueError as error:
        if str(error) not in remarks.warnings:
            remarks.warnings.append(str(error))
        return dict.fromkeys(names)
    return dict(zip(names, (rounded(found.frame_lowered, 4), rounded(found.axle_raised, 4)), strict=True))


def _travel(chassis: Chassis, layout: Layout | None, height: float | None) -> list[dict[str, Any]]:
    """Return where travel takes a four-link; rows with nulls where the links can't follow."""
    if not isinstance(layout, FourLink):
        return []
    return [_after(chassis, layout, height, travel_mm) for travel_mm in TRAVELS_MM]


def _after(chassis: Chassis, links: FourLink, height: float | None, travel_mm: float) -> dict[str, Any]:
    row: dict[str, Any] = {"axle_raised_mm": travel_mm, "pinion_change_deg": None, "anti_squat_pct": None}
    row |= {"instant_centre": centre_part(None), "forward_mm": None}
    try:
        moved = travelled(links, travel_mm / 1000, chassis.axle_height)
        row |= {"pinion_change_deg": _deg(moved.rotation), "forward_mm": rounded(moved.forward * 1000, 3)}
        centre = instant_centre(moved.links)
        row["instant_centre"] = centre_part(centre)
        if height is not None:
            row["anti_squat_pct"] = _pct(anti_squat(centre, height, chassis.car.wheelbase))
    except ValueError:
        return row  # the nulls say it
    return row


def _sides(chassis: Chassis, height: float | None, remarks: Remarks) -> dict[str, Any]:
    """Return what left and right that differ tend to do, each with its direction."""
    made: dict[str, Any] = dict.fromkeys(
        ("anti_squat_difference_pct", "axle_steer_deg_per_25_mm_raised", "rear_wheels_point", "preload")
    )
    made["note"] = STEER_NOTE
    layouts = [layout_on(chassis, side) for side in chassis.sides]
    links = [layout for layout in layouts if isinstance(layout, FourLink)]
    if len(links) < len(layouts):
        return made
    left, right = links[0], links[-1]
    if height is not None:
        difference = remarks.value(lambda: anti_squat_difference(left, right, height, chassis.car.wheelbase))
        made["anti_squat_difference_pct"] = _pct(difference)
    if chassis.car.rear_track is None:
        remarks.missing.append("car file: rear_track, for axle steer and preload tendency")
        return made
    try:
        steer = axle_steer(left, right, chassis.car.rear_track)
        made["axle_steer_deg_per_25_mm_raised"] = _deg(steer.per_travel * 0.025)
        made["rear_wheels_point"] = steer.points(0.025)
        tendency = preload_tendency(left, 0.001, chassis.car.rear_track, chassis.axle_height)
        made["preload"] = {
            "right_upper_link_1_mm_longer_loads": tendency.loads,
            "roll_deg_if_nothing_else_held": _deg(tendency.roll),
        }
    except ValueError as error:
        remarks.warnings.append(str(error))
    return made


def _driveline(chassis: Chassis, remarks: Remarks) -> dict[str, float | None]:
    names = ("driveshaft_deg", "front_joint_deg", "rear_joint_deg", "pinion_to_driveshaft_deg", "residual_deg")
    made: dict[str, float | None] = dict.fromkeys(names)
    pinion = chassis.number("pinion angle", "angle")
    made["pinion_to_driveshaft_deg"] = _deg(pinion)
    if pinion is None:
        remarks.missing.append("setup sheet: pinion angle (to the driveshaft), for the rear joint's angle")
    else:
        made["rear_joint_deg"] = _deg(abs(pinion))
    shaft = chassis.car.driveshaft
    if shaft is None or shaft.length is None or shaft.front_higher_by is None or shaft.transmission_deg is None:
        remarks.missing.append("car file: [car.driveshaft] length, front_higher_by and transmission_deg")
        return made
    slope = driveshaft_inclination(shaft.length, shaft.front_higher_by)
    angles = driveline_angles(math.radians(shaft.transmission_deg), slope + (pinion or 0.0), slope)
    made |= {"driveshaft_deg": _deg(slope), "front_joint_deg": _deg(angles.front_joint)}
    if pinion is not None:
        made["residual_deg"] = _deg(angles.residual)
    return made
