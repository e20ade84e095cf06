"""The canonical channel names: one name, dimension and sign for each logged quantity.

Every spelling that a logger uses is matched to one of these (``runlog.readers.channels``) or kept under its own name.
Axes follow SAE J670 in kind and ISO 8855 in sign: x forward, y to the left, z up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class ChannelWord:
    """A canonical channel: its name, dimension (SI unit by ``units.SI_UNITS``), meaning and sign."""

    name: str
    dimension: str
    meaning: str
    low: float
    """[SI] lowest plausible value."""
    high: float
    """[SI] highest plausible value."""
    words: tuple[str, ...] = ()
    """Trade spellings, as words in lower case; the matcher ignores order, case and punctuation."""


_RAD_S = 3.141592653589793 / 30.0


def _phrases(text: str) -> tuple[str, ...]:
    return tuple(phrase.strip() for phrase in text.split(","))


EXHAUST_TEMPERATURES: Final = tuple(f"exhaust_temperature_{n}" for n in range(1, 9))
"""one a cylinder"""

_EXHAUST: Final = tuple(
    ChannelWord(
        name,
        "temperature",
        f"exhaust gas temperature of cylinder {n}",
        230,
        1500,
        _phrases(
            f"exhaust temperature {n}, exhaust gas temperature {n}, exhaust temp {n}, egt {n}, egt{n}, "
            f"exhaust gas temp {n}, egt cyl {n}, exhaust temp cylinder {n}"
        ),
    )
    for n, name in enumerate(EXHAUST_TEMPERATURES, 1)
)


CHANNELS: Final[tuple[ChannelWord, ...]] = (
    ChannelWord(
        "engine_speed",
        "angular_speed",
        "crankshaft speed",
        0,
        15000 * _RAD_S,
        _phrases(
            "engine speed, engine rpm, rpm, motor rpm, crank speed, crankshaft rpm, tach, motordrehzahl, "
            "drehzahl, engine revs, engine rpm 1, regime moteur, rpm engine"
        ),
    ),
    ChannelWord(
        "driveshaft_speed",
        "angular_speed",
        "driveshaft (propeller shaft) speed",
        0,
        12000 * _RAD_S,
        _phrases(
            "driveshaft speed, driveshaft rpm, drive shaft rpm, drive shaft, ds rpm, propshaft rpm, prop shaft, "
            "output shaft rpm, output shaft speed, kardanwelle, tailshaft rpm, driveline speed, driveline rpm, "
            "gelenkwelle, trans output speed, pinion rpm"
        ),
    ),
    ChannelWord(
        "acceleration_x",
        "acceleration",
        "longitudinal acceleration, forward positive",
        -10 * 9.81,
        10 * 9.81,
        _phrases(
            "acceleration x, accel x, acc x, longitudinal acceleration, long accel, accel long, g long, long g, "
            "longitudinal g, forward g, inline acceleration, accelerometer, g meter, x accel, "
            "laengsbeschleunigung, längsbeschleunigung, acceleration, g force, x g, gx, ax, acceleration forward, "
            "longitudinal g force"
        ),
    ),
    ChannelWord(
        "acceleration_y",
        "acceleration",
        "lateral acceleration, to the left positive",
        -10 * 9.81,
        10 * 9.81,
        _phrases(
            "acceleration y, accel y, acc y, lateral acceleration, lat accel, accel lat, g lat, lateral g, lat g, "
            "y accel, querbeschleunigung, y g, gy, ay, side g"
        ),
    ),
    ChannelWord(
        "acceleration_z",
        "acceleration",
        "vertical acceleration, up positive",
        -20 * 9.81,
        20 * 9.81,
        _phrases(
            "acceleration z, accel z, acc z, vertical acceleration, vert accel, vertical g, z accel, z g, gz, az, "
            "vert g, vertikalbeschleunigung"
        ),
    ),
    ChannelWord(
        "throttle",
        "ratio",
        "throttle position, 1 fully open",
        -0.1,
        1.2,
        _phrases(
            "throttle, throttle position, tps, throttle pos, absolute throttle position, drosselklappe, throttle "
            "angle, throttle opening, throttle percent, throttle plate"
        ),
    ),
    ChannelWord(
        "accelerator_pedal",
        "ratio",
        "accelerator pedal position, 1 fully pressed",
        -0.1,
        1.2,
        _phrases(
            "accelerator pedal position, pedal position, accelerator pedal, pps, fahrpedal, gas pedal, app, pedal"
        ),
    ),
    ChannelWord(
        "launch_switch",
        "ratio",
        "transmission brake, clutch or line-lock switch; 1 while held",
        -0.1,
        30,
        _phrases(
            "launch switch, launch, transbrake, trans brake, transbrake switch, transbrake volts, clutch switch, "
            "two step, launch button, launch signal, launch trigger, t brake, tbrake, line lock, clutch"
        ),
    ),
    ChannelWord(
        "ground_speed",
        "speed",
        "speed over ground",
        -1,
        170,
        _phrases(
            "ground speed, gps speed, gnss speed, speed, vehicle speed, vehicle speed sensor, velocity, road "
            "speed, car speed, mph, fahrgeschwindigkeit, vss, kph"
        ),
    ),
    ChannelWord(
        "front_wheel_speed",
        "speed",
        "speed at the undriven wheels",
        -1,
        170,
        _phrases(
            "front wheel speed, wheel speed front, front speed, wheel speed fl, wheel speed fr, undriven wheel "
            "speed, front wheel"
        ),
    ),
    ChannelWord(
        "rear_wheel_speed",
        "speed",
        "speed at the driven wheels",
        -1,
        200,
        _phrases(
            "rear wheel speed, wheel speed rear, driven wheel speed, wheel speed rl, wheel speed rr, dyno speed, "
            "dyno spd, rear wheel"
        ),
    ),
    ChannelWord(
        "distance",
        "length",
        "distance covered",
        -10,
        5000,
        _phrases("distance, dist, travel distance, wegstrecke, strecke"),
    ),
    ChannelWord(
        "gear",
        "ratio",
        "gear engaged, counted from 1",
        -1,
        12,
        _phrases("gear, gear position, gear number, gang, current gear, gear engaged"),
    ),
    ChannelWord(
        "oil_pressure",
        "pressure",
        "engine oil pressure, gauge",
        -2e4,
        1.5e6,
        _phrases("oil pressure, engine oil pressure, oil psi, oil press, oil p, oeldruck, öldruck"),
    ),
    ChannelWord(
        "fuel_pressure",
        "pressure",
        "fuel pressure, gauge",
        -2e4,
        2e6,
        _phrases("fuel pressure, fuel psi, fuel press, fuel p, kraftstoffdruck"),
    ),
    ChannelWord(
        "manifold_pressure",
        "pressure",
        "intake manifold absolute pressure",
        0,
        1e6,
        _phrases(
            "manifold pressure, map, intake manifold absolute pressure, manifold absolute pressure, boost "
            "pressure, boost, ladedruck, saugrohrdruck, manifold vacuum"
        ),
    ),
    ChannelWord(
        "crankcase_pressure",
        "pressure",
        "crankcase pressure, gauge",
        -1e5,
        1e5,
        _phrases("crankcase pressure, pan vacuum, crankcase vacuum"),
    ),
    ChannelWord(
        "brake_pressure",
        "pressure",
        "brake line pressure",
        -1e5,
        2e7,
        _phrases("brake pressure, brake psi, brake line pressure, bremsdruck, brake line psi"),
    ),
    ChannelWord(
        "transmission_pressure",
        "pressure",
        "transmission line pressure",
        -1e5,
        5e6,
        _phrases("transmission pressure, trans pressure, line pressure, getriebedruck"),
    ),
    ChannelWord(
        "coolant_temperature",
        "temperature",
        "engine coolant temperature",
        230,
        420,
        _phrases(
            "coolant temperature, engine coolant temperature, water temp, water temperature, coolant temp, ect, "
            "engine temp, kuehlmitteltemperatur, kühlmitteltemperatur, wassertemperatur, engine water temp, "
            "coolant, cooling water temp"
        ),
    ),
    ChannelWord(
        "oil_temperature",
        "temperature",
        "engine oil temperature",
        230,
        450,
        _phrases("oil temperature, oil temp, engine oil temp, öltemperatur, oeltemperatur, sump temp"),
    ),
    ChannelWord(
        "transmission_temperature",
        "temperature",
        "transmission fluid temperature",
        230,
        450,
        _phrases(
            "transmission temperature, trans temp, transmission temp, trans fluid temp, getriebetemperatur, "
            "getriebeöltemperatur"
        ),
    ),
    ChannelWord(
        "intake_temperature",
        "temperature",
        "intake air temperature",
        200,
        450,
        _phrases(
            "intake air temperature, intake temp, iat, air temp, intake temperature, air intake temp, "
            "ansauglufttemperatur, manifold air temp, mat, inlet temp, charge temp"
        ),
    ),
    ChannelWord(
        "ambient_temperature",
        "temperature",
        "outside air temperature",
        200,
        340,
        _phrases(
            "ambient air temperature, ambient temp, outside temp, aussentemperatur, außentemperatur, outside air "
            "temp, oat"
        ),
    ),
    ChannelWord(
        "front_wheel_height",
        "length",
        "height of the front wheels over the ground, 0 at rest",
        -0.5,
        3,
        _phrases("front wheel height, wheel height front, front wheel lift, wheel height, front tyre height"),
    ),
    *_EXHAUST,
    ChannelWord(
        "battery_voltage",
        "voltage",
        "battery voltage",
        0,
        30,
        _phrases(
            "battery voltage, battery, volts, batt, system voltage, vbat, batteriespannung, supply voltage, "
            "voltage, bordspannung, ecu voltage, batt v"
        ),
    ),
    ChannelWord(
        "lambda",
        "ratio",
        "air-fuel equivalence, 1 stoichiometric",
        0,
        3,
        _phrases("lambda, lambda 1, equivalence ratio, lambda value, lambda avg, o2 lambda"),
    ),
    ChannelWord(
        "air_flow",
        "mass_flow",
        "intake mass air flow",
        0,
        3,
        _phrases("air flow rate, maf, mass air flow, air flow, luftmasse"),
    ),
    ChannelWord(
        "shock_front_left",
        "length",
        "left front shock travel, extension positive",
        -1,
        1,
        _phrases("shock front left, lf shock, front left shock, shock lf, shock fl, left front shock, fl shock"),
    ),
    ChannelWord(
        "shock_front_right",
        "length",
        "right front shock travel, extension positive",
        -1,
        1,
        _phrases("shock front right, rf shock, front right shock, shock rf, shock fr, right front shock, fr shock"),
    ),
    ChannelWord(
        "shock_rear_left",
        "length",
        "left rear shock travel, extension positive",
        -1,
        1,
        _phrases("shock rear left, lr shock, rear left shock, shock lr, shock rl, left rear shock, rl shock"),
    ),
    ChannelWord(
        "shock_rear_right",
        "length",
        "right rear shock travel, extension positive",
        -1,
        1,
        _phrases("shock rear right, rr shock, rear right shock, shock rr, right rear shock"),
    ),
    ChannelWord(
        "front_ride_height",
        "length",
        "front ride height",
        -1,
        2,
        _phrases("front ride height, ride height front, front height"),
    ),
    ChannelWord(
        "pitch_angle",
        "angle",
        "body pitch, nose up positive",
        -1.6,
        1.6,
        _phrases("pitch, pitch angle, nickwinkel"),
    ),
    ChannelWord(
        "pitch_rate",
        "angular_rate",
        "body pitch rate, nose up positive",
        -20,
        20,
        _phrases("pitch rate, gyro pitch, gyro y"),
    ),
    ChannelWord(
        "steering_angle",
        "angle",
        "steering wheel angle, left positive",
        -20,
        20,
        _phrases("steering angle, steering, steer angle, lenkwinkel, steering wheel angle"),
    ),
)
"""The vocabulary. Plausible ranges are common practice, no source."""

CHANNEL_BY_NAME: Final[dict[str, ChannelWord]] = {word.name: word for word in CHANNELS}
