"""Link holes as anti-squat, ballast as mass and moment: from a car file to what the regression shares."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from runlog.learning import Lever, Settings, default_lever
from runlog.physics.car_vehicle import vehicle_of
from runlog.physics.fourlink import FourLink, InstantCentre, Link, anti_squat, instant_centre
from runlog.records import Adjustable, Car, Hole
from runlog.workflows.lessons.expected import lever_of
from runlog.workflows.lessons.geometry import MASS, MOMENT, geometry_part, with_shared

HOLES = {
    "upper link front hole": ((0.50, 0.38), (0.50, 0.35), (0.50, 0.32)),
    "upper link rear hole": ((0.04, 0.51), (0.04, 0.53)),
    "lower link front hole": ((0.53, 0.22), (0.53, 0.24)),
    "lower link rear hole": ((0.03, 0.22),),
}
START = {"upper link front hole": 1.0, "upper link rear hole": 0.0, "lower link front hole": 0.0}
BALLAST = (
    Adjustable("ballast rear", "lb", 25.0, acts="early", x=-0.3, z=0.4),
    Adjustable("ballast front", "lb", 50.0, acts="early", x=2.4, z=0.3),
)


def car(*more: Adjustable, **other: object) -> Car:
    items = [
        Adjustable(name, "hole", 1.0, holes=tuple(Hole(str(n + 1), *place) for n, place in enumerate(places)))
        for name, places in HOLES.items()
    ]
    given = {"centre_of_gravity_height": 0.52, "front_share": 0.47, "gear_ratios": (1.8, 1.0), **other}
    return Car("teal", 1200.0, 2.667, 600e3, 2.55, 4.1, adjustables=(*items, *more), **given)  # type: ignore[arg-type]


def levers(made: Car) -> list[Lever]:
    return [default_lever(item) for item in made.adjustables]


def by_hand(upper_front: int, lower_front: int) -> float:
    """Anti-squat [%] from the side view's own functions, one four-link at a time."""
    links = FourLink(
        Link(HOLES["upper link rear hole"][0], HOLES["upper link front hole"][upper_front]),
        Link(HOLES["lower link rear hole"][0], HOLES["lower link front hole"][lower_front]),
    )
    return 100 * anti_squat(instant_centre(links), 0.52, 2.667)


def test_holes_share_the_anti_squat_of_the_side_view() -> None:
    made = car()
    own, shared, links = with_shared(made, None, levers(made), START)
    assert shared is not None
    assert links is not None
    assert [term.name for term in shared.quantities] == ["anti-squat"]
    settings = np.array([[0, 0, 0, 0], [1, 0, 0, 0], [-1, 0, 1, 0]], dtype=float)
    wanted = [by_hand(upper, lower) - by_hand(1, 0) for upper, lower in ((1, 0), (2, 0), (0, 1))]
    assert shared.of(settings)[:, 0] * 20.0 == pytest.approx(wanted, abs=1e-9)
    assert wanted[1] > 10  # a lower front hole of the upper link: steeper, more anti-squat
    assert own[0].sd == pytest.approx(Settings().own_share * levers(made)[0].sd)


def test_the_page_says_where_the_instant_centre_went() -> None:
    made = car()
    _, _, links = with_shared(made, None, levers(made), START)
    part = geometry_part(links, 0, (0.0, 1.0), 4)
    assert part is not None
    centres = [
        instant_centre(
            FourLink(Link((0.04, 0.51), HOLES["upper link front hole"][n]), Link((0.03, 0.22), (0.53, 0.22)))
        )
        for n in (1, 2)
    ]
    assert all(isinstance(centre, InstantCentre) for centre in centres)
    assert part["instant_centre_x_m"] == {"from": round(centres[0].x, 5), "to": round(centres[1].x, 5)}
    assert part["instant_centre_z_m"]["to"] == round(centres[1].z, 5)
    assert part["anti_squat_pct"]["from"] == pytest.approx(by_hand(1, 0), abs=1e-4)
    assert geometry_part(links, 9, (0.0, 1.0), 10) is None
    assert geometry_part(None, 0, (0.0, 1.0), 4) is None


@pytest.mark.parametrize(
    "made",
    [
        car(centre_of_gravity_height=None),
        replace(car(), adjustables=car().adjustables[:3]),
        replace(car(), adjustables=(Adjustable("upper link front hole", "hole", 1.0, holes=(Hole("1"), Hole("2"))),
                                    *car().adjustables[1:])),
    ],
    ids=["no height", "a bracket is missing", "no places"],
)  # fmt: skip
def test_without_the_geometry_it_is_as_before(made: Car) -> None:
    before = levers(made)
    own, shared, links = with_shared(made, None, before, START)
    assert (own, shared, links) == (tuple(before), None, None)


def test_a_hole_in_use_that_no_sheet_tells_leaves_the_geometry_out() -> None:
    made = car()
    assert with_shared(made, None, levers(made), {"upper link front hole": 1.0})[1] is None


def test_a_hole_of_which_the_car_file_knows_better_shares_nothing() -> None:
    made = car()
    told = replace(made.adjustables[0], prior_mean_s=(-0.01,), prior_sd_s=(0.002,))
    made = replace(made, adjustables=(told, *made.adjustables[1:]))
    own, shared, _ = with_shared(made, None, levers(made), START)
    assert shared is not None
    assert own[0].sd.tolist() == levers(made)[0].sd.tolist()
    assert shared.of(np.eye(4))[:, 0].tolist()[0] == 0.0
    assert shared.of(np.eye(4))[2, 0] != 0.0


def test_ballast_shares_mass_and_moment() -> None:
    made = car(*BALLAST)
    vehicle = vehicle_of(made, 0.2286, {})
    before = [lever_of(made, vehicle, item, 0.0) for item in made.adjustables]
    own, shared, _ = with_shared(made, vehicle, before, START)
    assert shared is not None
    names = [term.name for term in shared.quantities]
    assert names == ["anti-squat", MASS, MOMENT]
    moved = shared.of(np.eye(6)[4:])[:, 1:]
    pound = 0.45359237
    # by hand: per cent of 1,200 kg, and of it times the wheelbase
    assert moved[0] == pytest.approx([100 * 25 * pound / 1200, 100 * 25 * pound / 1200 * -0.3 / 2.667])
    assert moved[1] == pytest.approx([100 * 50 * pound / 1200, 100 * 50 * pound / 1200 * 2.4 / 2.667])
    for n in (4, 5):
        worth = own[n].mean + moved[n - 4] @ np.array([term.mean for term in shared.quantities[1:]])
        assert worth == pytest.approx(before[n].mean)  # all together it is what physics expects of the mount
        width = own[n].sd ** 2 + moved[n - 4] ** 2 @ np.array([term.sd**2 for term in shared.quantities[1:]])
        assert (width >= before[n].sd ** 2 - 1e-12).all()
    mass, moment = shared.quantities[1:]
    assert mass.mean[-1] > 0  # heavier is slower down the track
    assert moment.mean[0] > 0  # weight off the driven wheels is slower off the line
