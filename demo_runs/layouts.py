"""Logger files in as many layouts as a season brings: no two of the first day's are alike."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from noise import Noise
from sensors import Recording, Scene, read_sensor, record

if TYPE_CHECKING:
    from collections.abc import Iterable

    from running import Ran, RanDay

CHANNELS = ("engine", "shaft", "accel", "throttle", "switch", "oil", "coolant", "battery", "shock")
CONVERT = {  # from the sensors' units
    "bar": (0.0689475729, 0.0), "kPa": (6.89475729, 0.0), "degC": (5 / 9, -160 / 9), "°C": (5 / 9, -160 / 9),
    "mm": (25.4, 0.0), "m/s²": (9.80665, 0.0), "m/s^2": (9.80665, 0.0), "V switch": (12.1, 0.0),
}  # fmt: skip
BRACKETS = {"paren": "()", "bracket": "[]"}


@dataclass(frozen=True)
class Column:
    """A channel in a file: heading, unit as written, decimals, and every how many rows it has a value."""

    channel: str
    name: str
    unit: str
    digits: int
    every: int = 1


@dataclass(frozen=True)
class Layout:
    columns: tuple[Column, ...]
    rate: int = 100
    delimiter: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    time: str = "Time"  # heading; empty: no time column
    time_unit: str = "s"  # s, ms or clock
    time_start: float = 0.0
    units: str = "paren"  # paren, bracket, row or none
    preamble: str = ""
    dropouts: tuple[str, ...] = ()
    cut: int = 0  # bytes missing at the end


def _columns(names: str, units: str, digits: str, every: str = "") -> tuple[Column, ...]:
    steps = [int(step) for step in every.split()] or [1] * len(CHANNELS)
    rows = zip(CHANNELS, names.split(","), units.split(), digits.split(), steps, strict=True)
    return tuple(Column(channel, name, unit, int(digit), step) for channel, name, unit, digit, step in rows)


_USUAL = "rpm rpm g % - psi degF V in"
_DIGITS = "0 0 3 1 0 1 1 2 2"
_FULL_NAMES = (
    "Engine speed,Driveshaft speed,Longitudinal acceleration,Throttle position,Launch switch,Oil pressure,"
    "Coolant temperature,Battery voltage,Front left shock"
)
_SHORT_NAMES = "RPM,DS RPM,G Long,TPS,Transbrake,Oil Press,Water Temp,Volts,LF Shock"

PLAIN = Layout(_columns(
    "Engine RPM,Driveshaft RPM,Accel X,Throttle,Launch Switch,Oil Pressure,Coolant Temp,Battery,Shock FL",
    _USUAL, _DIGITS))  # fmt: skip
DECIMAL_COMMA = Layout(
    _columns(_FULL_NAMES, "1/min 1/min g % - bar °C V mm", "0 0 3 1 0 2 1 2 1"),
    delimiter=";", decimal=",", encoding="latin-1", units="bracket",
)  # fmt: skip
TAB_UTF16 = Layout(_columns(_SHORT_NAMES, _USUAL, _DIGITS), delimiter="\t", encoding="utf-16-le", time="Elapsed Time")
UNITS_ROW = Layout(_columns(_FULL_NAMES, _USUAL, _DIGITS), encoding="utf-8-sig", units="row", time_start=41.3)
PREAMBLE = Layout(
    _columns(_SHORT_NAMES, "rpm rpm m/s^2 % - kPa degC V mm", "0 0 2 1 0 0 1 2 1"),
    units="bracket",
    preamble="Vehicle,customer car\nSession,test\nRecorded,{start:%Y-%m-%d %H:%M:%S}\n"
    'Comment,"first full run, left lane"\n\n',
)
MILLISECONDS = Layout(
    _columns(
        "engine_rpm,driveshaft_rpm,accel_long,throttle_pos,launch_switch,oil_psi,coolant_temp,battery_v,shock_lf",
        _USUAL, _DIGITS),
    rate=50, time="time", time_unit="ms", units="paren", dropouts=("---", "ERR"),
)  # fmt: skip
CLOCK = Layout(_columns(_FULL_NAMES, _USUAL, _DIGITS), time="Time of day", time_unit="clock", units="row")
RATE_ONLY = Layout(
    _columns(_SHORT_NAMES, _USUAL, _DIGITS), rate=200, delimiter=";", time="", units="bracket",
    preamble="Date: {start:%Y-%m-%d}\nStart time: {start:%H:%M:%S}\nSample rate: 200 Hz\n",
)  # fmt: skip
SEVERAL_RATES = Layout(_columns(_FULL_NAMES, _USUAL, _DIGITS, "1 1 1 2 2 10 20 20 4"), rate=100)
REPEATED = Layout(
    (*_columns(_SHORT_NAMES, "rpm rpm g % V psi degF V in", _DIGITS), Column("engine", "RPM", "rpm", 0, 10)),
    dropouts=("---", "NaN"), cut=23,
)  # fmt: skip

LOGS: dict[str, tuple[Layout, Scene, str]] = {
    "heron/2031-04-12/1": (PLAIN, Scene(burnout=True), "heron_2031-04-12_1.csv"),
    "heron/2031-04-12/2": (DECIMAL_COMMA, Scene(creep=True), "heron_2031-04-12_2.csv"),
    "heron/2031-04-12/3": (TAB_UTF16, Scene(), "heron_2031-04-12_3.csv"),
    "heron/2031-04-12/4": (UNITS_ROW, Scene(), "half_track_b.csv"),
    "heron/2031-04-12/5": (PREAMBLE, Scene(), "first_full.csv"),
    "heron/2031-04-12/6": (MILLISECONDS, Scene(burnout=True), "heron_2031-04-12_6.csv"),
    "heron/2031-04-12/7": (CLOCK, Scene(creep=True), "heron_2031-04-12_7.csv"),
    "heron/2031-04-12/8": (RATE_ONLY, Scene(), "heron_2031-04-12_8.csv"),
    "heron/2031-04-12/9": (SEVERAL_RATES, Scene(creep=True), "heron_2031-04-12_9.csv"),
    "heron/2031-04-12/10": (REPEATED, Scene(burnout=True, oil_dip=True), "heron_2031-04-12_10.csv"),
    "heron/2031-04-26/1": (PLAIN, Scene(), "heron_2031-04-26_1.csv"),
    "heron/2031-04-26/4": (UNITS_ROW, Scene(creep=True), "heron_2031-04-26_4.csv"),
    "heron/2031-05-17/1": (PLAIN, Scene(), "heron_2031-05-17_1.csv"),
    "heron/2031-05-17/4": (DECIMAL_COMMA, Scene(), "heron_2031-05-17_4.csv"),
    "heron/2031-06-07/2": (SEVERAL_RATES, Scene(), "heron_2031-06-07_2.csv"),
    "heron/2031-06-07/4": (PLAIN, Scene(creep=True), "heron_2031-06-07_4.csv"),
}
"""Which runs have a file, in which layout, and its name."""
SIDECARS = {"heron/2031-04-12/4"}


def logger_files(season: Iterable[RanDay]) -> tuple[dict[str, bytes], dict[str, dict[str, Any]]]:
    """Return the files by path and, by run key, what is true of each."""
    files, facts = {}, {}
    for run in (run for day in season for run in day.runs):
        if run.key not in LOGS:
            continue
        layout, scene, name = LOGS[run.key]
        path = f"pits/{run.start.date()}/{name}"
        recording = record(run, scene)
        noise = Noise(f"logger {run.key}")
        before = (13.5 if scene.burnout else 3.0) + noise.between(0.05, 0.35)
        start = run.start - dt.timedelta(seconds=round(before))
        files[path] = _file(layout, recording, before, start, noise)
        if run.key in SIDECARS:
            files[path.rsplit(".", 1)[0] + ".run"] = f"{run.key}\n".encode()
        facts[run.key] = _facts(run, layout, recording, before, path)
    return files, facts


def _facts(run: Ran, layout: Layout, recording: Recording, before: float, path: str) -> dict[str, Any]:
    launch = before + layout.time_start
    lift = run.motion.lift_time
    closes = None if lift is None else round(launch + run.real_time(lift), 4)
    before_finish = run.plan.purpose != "full" or run.plan.event == "lift"
    return {
        "file": path,
        "rate_hz": layout.rate,
        "first_time_s": layout.time_start,
        "brake_release_s": round(launch, 4),
        "beam_clear_s": round(launch + run.beam_time, 4),
        "lift_s": closes,
        "lift_before_finish": before_finish,
        "shifts_s": [round(launch + run.real_time(time), 4) for time in run.motion.shift_times],
        "peak_acceleration_g": round(recording.peak_g, 3),
        "accelerometer_bias_g": round(recording.bias_g, 4),
        "launch_rpm": run.settings["launch rpm"],
        "shift_rpm": run.settings["shift rpm"],
    }


def _file(layout: Layout, recording: Recording, before: float, start: dt.datetime, noise: Noise) -> bytes:
    count = int((before + recording.end) * layout.rate)
    lines = [layout.preamble.format(start=start)] if layout.preamble else []
    lines += [layout.delimiter.join(row) + "\n" for row in _head(layout)]
    for row in range(count):
        t = row / layout.rate - before
        cells = [_clock(layout, row, start)] if layout.time else []
        for column in layout.columns:
            cells.append("" if row % column.every else _cell(layout, column, recording, t, noise))
        lines.append(layout.delimiter.join(cells) + "\n")
    text = "".join(lines)
    if layout.cut:
        text = text[: -layout.cut]
    bom = b"\xff\xfe" if layout.encoding == "utf-16-le" else b""
    return bom + text.replace("\n", "\r\n").encode(layout.encoding)


def _head(layout: Layout) -> list[list[str]]:
    time_unit = "hh:mm:ss.mmm" if layout.time_unit == "clock" else layout.time_unit
    names = [layout.time] * bool(layout.time) + [column.name for column in layout.columns]
    units = [time_unit] * bool(layout.time) + [column.unit for column in layout.columns]
    if layout.units == "row":
        return [names, units]
    opening, closing = BRACKETS[layout.units]
    return [
        [name if unit == "-" else f"{name} {opening}{unit}{closing}" for name, unit in zip(names, units, strict=True)]
    ]


def _clock(layout: Layout, row: int, start: dt.datetime) -> str:
    milliseconds = row * 1000 // layout.rate
    if layout.time_unit == "ms":
        return str(milliseconds)
    if layout.time_unit == "clock":
        return (start + dt.timedelta(milliseconds=milliseconds)).isoformat(timespec="milliseconds")[11:]
    return f"{layout.time_start + row / layout.rate:.2f}".replace(".", layout.decimal)


def _cell(layout: Layout, column: Column, recording: Recording, t: float, noise: Noise) -> str:
    value = read_sensor(recording, column.channel, t, noise)
    if layout.dropouts and column.channel not in ("switch", "accel") and noise.between(0, 1) < 0.006:
        return layout.dropouts[int(noise.between(0, len(layout.dropouts)))]
    unit = "V switch" if column.channel == "switch" and column.unit == "V" else column.unit
    factor, offset = CONVERT.get(unit, (1.0, 0.0))
    text = f"{value * factor + offset:.{column.digits}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace(".", layout.decimal)
