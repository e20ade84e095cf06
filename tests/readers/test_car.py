"""Car and track files: what is read in SI, and every fault at once in the words of the file."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runlog import catalogue
from runlog.problems import FileFaults
from runlog.readers.car import read_car
from runlog.readers.track import read_track
from runlog.records import ChannelLimit, Track

DEMO = Path(__file__).resolve().parents[2] / "demo_runs"
LEAST = """
[car]
name = "heron"
race_weight = "2650 lb"
wheelbase = "105 in"
power = "820 hp"
tyre_circumference = "100.5 in"
final_drive = 4.1
"""


LAUNCH = '[[car.adjustable]]\nname = "launch rpm"\n'
STRUT = '[[car.adjustable]]\nname = "strut"\n'


def car(text: str = ""):
    return read_car((LEAST + text).encode(), "heron.toml")


def faults(text: str) -> list[str]:
    with pytest.raises(FileFaults) as caught:
        read_car(text.encode(), "heron.toml")
    return [str(problem) for problem in caught.value.problems]


def changed(key: str, line: str) -> str:
    return "\n".join(line if old.startswith(f"{key} =") else old for old in LEAST.splitlines())


def test_the_least_that_is_needed_in_si():
    found = car()
    # exact definitions: 1 lb = 0.45359237 kg, 1 in = 0.0254 m, 1 hp = 745.69987 W
    assert found.race_mass == pytest.approx(1202.01978)
    assert found.wheelbase == pytest.approx(2.667)
    assert found.power == pytest.approx(611473.9, abs=0.1)
    assert found.tyre_circumference == pytest.approx(2.5527)
    assert (found.name, found.final_drive, found.adjustables, found.limits) == ("heron", 4.1, (), ())


def test_the_rest():
    found = car(
        'front_weight_pct = 46.6\ncentre_of_gravity_height = "20.5 in"\ndrag_area="6.67 ft²"\ngear_ratios = [1.8, 1]\n'
        'aspiration = "nitrous"\nlaunch = "clutch"\n[car.limits.oil_pressure]\nlow = "30 psi"\n'
        '[car.limits.coolant_temperature]\nhigh = "220 degF"\n'
    )
    assert found.front_share == pytest.approx(0.466)
    assert found.centre_of_gravity_height == pytest.approx(0.5207)
    assert found.drag_area == pytest.approx(0.61967, abs=1e-5)  # 6.67 × 0.3048²
    assert found.gear_ratios == (1.8, 1.0)
    assert (found.aspiration, found.launch) == ("nitrous", "clutch")
    assert found.limits == (
        ChannelLimit("oil_pressure", pytest.approx(206842.7, abs=0.1)),  # 30 × 6894.757
        ChannelLimit("coolant_temperature", None, pytest.approx(377.594, abs=1e-3)),  # (220 + 459.67)/1.8
    )


def test_an_adjustable_of_the_catalogue_needs_only_its_name():
    (found,) = car('[[car.adjustable]]\nname = "Rear Tire Pressure"\n').adjustables
    known = catalogue.BY_NAME["rear tyre pressure"]
    assert (found.name, found.unit, found.step, found.cautions, found.acts, found.curved) == (
        known.name,
        known.unit,
        known.step,
        known.cautions,
        known.acts,
        known.curved,
    )


def test_the_car_file_outranks_the_catalogue():
    (found,) = car(
        LAUNCH + 'step = 100\nlow = 3000\nhigh = 4000\nminutes = 0\ncautions = ""\ncurved = false\n'
    ).adjustables
    assert (found.step, found.low, found.high, found.minutes, found.cautions, found.curved) == (
        100,
        3000,
        4000,
        0,
        "",
        False,
    )


def test_holes_with_their_places():
    (found,) = car(
        '[[car.adjustable]]\nname = "upper link front hole"\n'
        'holes = [{ label = "A", x = "19.5 in", z = "380 mm" }, { label = "B", x = "-2 in" }, { label = "C" }]\n'
    ).adjustables
    assert [(hole.label, hole.x, hole.z) for hole in found.holes] == [
        ("A", pytest.approx(0.4953), pytest.approx(0.38)),
        ("B", pytest.approx(-0.0508), None),
        ("C", None, None),
    ]
    assert (found.low, found.high, found.unit) == (0.0, 2.0, "hole")
    assert [found.label(position) for position in (0.0, 2.0)] == ["A", "C"]


def test_holes_of_a_part_that_the_catalogue_does_not_know():
    (found,) = car('[[car.adjustable]]\nname = "Strut"\nholes = [{ label = "1" }, { label = "2" }]\n').adjustables
    assert (found.name, found.unit, found.step, found.high) == ("strut", "hole", 1.0, 1.0)


@pytest.mark.parametrize("path", sorted((DEMO / "cars").glob("*.toml")), ids=lambda path: path.stem)
def test_demo_cars_are_read(path):
    assert read_car(path.read_bytes(), path.name).name == path.stem


@pytest.mark.parametrize("path", sorted((DEMO / "tracks").glob("*.toml")), ids=lambda path: path.stem)
def test_demo_tracks_are_read(path):
    assert read_track(path.read_bytes(), path.name).name == path.stem


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ('name = "Blue Heron"', "found 'Blue Heron'; accepted: at most 40 lower-case letters, digits, - and _"),
        (f'name = "{"x" * 41}"', "accepted: at most 40 lower-case letters"),
        ("name = 7", "found 7; accepted: at most 40"),
        ('race_weight = "2650"', "found '2650'; accepted: a mass with its unit (kg, g, lb), such as \"2650 lb\""),
        ("race_weight = 2650", "found 2650; accepted: a mass with its unit"),
        ('race_weight = "2650 in"', "found '2650 in'; accepted: a mass with its unit"),
        (
            'race_weight = "0 lb"',
            'accepted: a mass with its unit (kg, g, lb), such as "2650 lb", and more than nothing',
        ),
        ('wheelbase = "-105 in"', "and more than nothing"),
        ('power = "1e99999 hp"', "accepted: a power with its unit"),
        ("final_drive = 0.5", "found 0.5; accepted: greater than 0.5"),
        ("final_drive = 15", "found 15; accepted: less than 15"),
        ('final_drive = "4.1"', "found '4.1'; accepted: a number"),
        ("final_drive = nan", "found nan; accepted: a finite number"),
    ],
)
def test_faults_of_what_is_needed(line, message):
    key = line.split(" =")[0]
    (fault,) = faults(changed(key, line))
    assert fault.startswith(f"heron.toml, key car.{key}: ")
    assert message in fault


@pytest.mark.parametrize("key", ["name", "race_weight", "wheelbase", "power", "tyre_circumference", "final_drive"])
def test_what_is_needed_may_not_be_left_out(key):
    assert faults(changed(key, "")) == [
        f"heron.toml, key car.{key}: found nothing; accepted: a value, it can't be left out"
    ]


@pytest.mark.parametrize(
    ("text", "key", "message"),
    [
        ('aspiration = "magic"', "aspiration", "found 'magic'; accepted: 'natural', 'supercharged', 'turbocharged' or"),
        ("front_weight_pct = 0.466", "front_weight_pct", "found 0.466; accepted: greater than 5"),
        ("gear_ratios = [1.8, 0]", "gear_ratios.1", "found 0; accepted: greater than 0"),
        ('colour = "red"', "colour", "found an unknown key; accepted: the keys of the published schema"),
        (
            '[car.limits.oil_presure]\nlow = "1 psi"',
            "limits.oil_presure",
            "a channel that runlog knows, such as oil_pr",
        ),
        ('[car.limits.oil_pressure]\nlow = "30 V"', "limits.oil_pressure.low", "found '30 V'; accepted: a pressure"),
        ("[car.limits.oil_pressure]\nlow = 30", "limits.oil_pressure.low", "found 30"),
        ('[car.limits.engine_speed]\nlow = "9 rpm"\nhigh = "8 rpm"', "limits.engine_speed", "a low below its high"),
        (
            '[[car.adjustable]]\nname = "flux"',
            "adjustable.0",
            "for 'flux': unit and step, since the built-in catalogue",
        ),
        (LAUNCH + "low = 5\nhigh = 4", "adjustable.0", "for 'launch rpm': low 5 below high 4"),
        (LAUNCH + 'unit = "furlong"', "adjustable.0.unit", "found 'furlong'; accepted: a unit that"),
        (LAUNCH + 'cautions = "WX"', "adjustable.0.cautions", "accepted: letters of W, T, R, D"),
        (LAUNCH + "step = 0", "adjustable.0.step", "found 0; accepted: greater than 0"),
        (LAUNCH + "low = nan", "adjustable.0.low", "found nan; accepted: a finite number"),
        (LAUNCH + "minutes = inf", "adjustable.0.minutes", "found inf; accepted: a finite number"),
        (
            LAUNCH + "prior_mean_s = [0.1]",
            "adjustable.0",
            "as many numbers in prior_mean_s as in prior_sd_s",
        ),
        (
            LAUNCH + "prior_curvature_sd_s = [0.1]",
            "adjustable.0",
            "as many numbers in prior_curvature_mean_s as in prior_curvature_sd_s",
        ),
        (
            LAUNCH + "curved = false\nprior_curvature_mean_s = [0]\nprior_curvature_sd_s = [0.1]",
            "adjustable.0",
            "curved = true, since a prior of its curvature is given",
        ),
        (
            STRUT + 'holes = [{ label = "1" }, { label = "1" }]',
            "adjustable.0",
            "hole labels that differ from each other",
        ),
        (STRUT + "holes = [{ label = 1 }]", "adjustable.0.holes.0.label", "found 1; accepted: a string"),
        (STRUT + 'holes = [{ label = "1", x = "high" }]', "adjustable.0.holes.0.x", "a length with its"),
        (
            '[[car.adjustable]]\nname = "rear tyre pressure"\n[[car.adjustable]]\nname = "Rear tire pressure"',
            "adjustable.1.name",
            "found 'Rear tire pressure'; accepted: each adjustable once; 'rear tyre pressure' was given above",
        ),
    ],
)
def test_faults_of_the_rest(text, key, message):
    found = faults(f"{LEAST}{text}\n")
    own = [fault for fault in found if fault.startswith(f"heron.toml, key car.{key}: ")]
    assert any(message in fault for fault in own), found


def test_every_fault_of_a_file_is_reported_at_once():
    text = (
        changed("race_weight", 'race_weight = "2650 kgg"').replace("wheelbase", "wheel_base")
        + '\n[car.limits.engin_speed]\nhigh = "8000 rpm"\n[[car.adjustable]]\nname = "flux"\n'
        + f'{LAUNCH}low = 5\nhigh = 4\n{LAUNCH}step = "big"\n'
    )
    places = [fault.split(": found")[0].removeprefix("heron.toml, key car.") for fault in faults(text)]
    assert sorted(places) == [
        "adjustable.0",
        "adjustable.1",
        "adjustable.2.name",
        "adjustable.2.step",
        "limits.engin_speed",
        "race_weight",
        "wheel_base",
        "wheelbase",
    ]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "key car: found nothing; accepted: a value, it can't be left out"),
        (b"[carr]\n", "key carr: found an unknown key"),
        (b"car = 3\n", "key car: found 3"),
        (b"[car\n", r"found a fault in the TOML: .*line 1.*; accepted: TOML 1.0"),
        (b"[car]\nname = \xe9\n", "byte 13: found bytes that aren't UTF-8; accepted: a TOML file in UTF-8"),
    ],
)
def test_files_of_another_shape(content, message):
    with pytest.raises(FileFaults, match=f"(?s)heron.toml.*{message}"):
        read_car(content, "heron.toml")


def test_a_byte_order_mark_does_not_matter():
    assert read_car(b"\xef\xbb\xbf" + LEAST.encode(), "heron.toml") == car()


def test_a_track():
    found = read_track(
        b'[track]\nname = "lowfield"\nelevation = "112 ft"\nheading_deg = 85\nfinish_ft = 660\n', "t.toml"
    )
    assert found == Track("lowfield", pytest.approx(34.1376), 85.0, 660)  # 112 × 0.3048


@pytest.mark.parametrize("elevation", ["-10 m", "0 ft"])
def test_a_track_may_lie_at_or_below_the_sea(elevation):
    assert read_track(f'[track]\nname = "x"\nelevation = "{elevation}"\n'.encode(), "t.toml").elevation <= 0


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("heading_deg = 360", "key track.heading_deg: found 360; accepted: less than 360"),
        ("heading_deg = -1", "key track.heading_deg: found -1; accepted: greater than or equal to 0"),
        ("finish_ft = 500", "key track.finish_ft: found 500; accepted: 330, 660, 1000 or 1320"),
        (
            'rollout = "0 in"',
            "key track.rollout: found '0 in'; accepted: a length with its unit.*and more than nothing",
        ),
    ],
)
def test_faults_of_a_track(line, message):
    with pytest.raises(FileFaults, match=message):
        read_track(f'[track]\nname = "x"\nelevation = "1 m"\n{line}\n'.encode(), "t.toml")


TRAPS = '[track]\nname = "x"\nelevation = "1 m"\n'


def test_the_traps_of_a_track():
    """66 ft that end at their beam, where the file says nothing (common practice, no source)."""
    assert [trap.span for trap in read_track(TRAPS.encode(), "t.toml").traps] == [
        (pytest.approx(594 * 0.3048), pytest.approx(660 * 0.3048)),
        (pytest.approx(1254 * 0.3048), pytest.approx(1320 * 0.3048)),
    ]
    told = read_track(f'{TRAPS}[[track.trap]]\nbeam_ft = 1320\nlength = "132 ft"\npast = "66 ft"\n'.encode(), "t.toml")
    assert told.traps[0] == read_track(TRAPS.encode(), "t.toml").traps[0]
    assert told.traps[1].span == (pytest.approx(1254 * 0.3048), pytest.approx(1386 * 0.3048))


@pytest.mark.parametrize(
    ("trap", "message"),
    [
        ("beam_ft = 1000", "key track.trap.0.beam_ft: found 1000; accepted: 660 or 1320"),
        ('beam_ft = 660\nlength = "66"', "key track.trap.0.length: found '66'; accepted: a length with its unit"),
        ('beam_ft = 660\nlength = "66 m"', "a trap length of 200 ft or less"),
        ('beam_ft = 660\npast = "66 ft"', "a past of 0 ft or more and less than the length"),
        ('beam_ft = 660\npast = "-1 ft"', "a past of 0 ft or more and less than the length"),
        ("beam_ft = 660\n[[track.trap]]\nbeam_ft = 660", "each trap's beam_ft once"),
    ],
)
def test_faults_of_traps(trap, message):
    with pytest.raises(FileFaults, match=message):
        read_track(f"{TRAPS}[[track.trap]]\n{trap}\n".encode(), "t.toml")


@given(st.integers(1, 99999).map(lambda n: n / 10), st.sampled_from([("kg", 1.0), ("lb", 0.45359237)]))
def test_a_weight_that_is_written_is_read(value, unit):
    text = changed("race_weight", f'race_weight = "{value} {unit[0]}"')
    assert read_car(text.encode(), "heron.toml").race_mass == pytest.approx(value * unit[1])
