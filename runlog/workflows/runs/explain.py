"""Where each figure of a run's page comes from: the entries it rests on, its formula, and the source of that."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.constants import REFERENCE_NAME

if TYPE_CHECKING:
    from runlog.records import RunKey
    from runlog.store.connection import Logbook

OWN = "this program's own model"
PRACTICE = "common practice, no source"


def explanation(book: Logbook, key: RunKey, page: dict[str, Any]) -> list[dict[str, Any]]:
    """Return a line for each kind of figure on the page: figure, value, origin, formula, source.

    ``page`` is that of the run; what it doesn't show isn't explained.
    """
    names = _entries(book, key)
    lines = [*_slip(page, names), *_air(page, names), *_corrected(page, names), *_expected(page, names)]
    lines += [*_trace(page, names), *_changes(page, names), *_verdicts(page)]
    return [dict(zip(("figure", "value", "origin", "formula", "source"), line, strict=True)) for line in lines]


Line = tuple[str, str, str, str, str]


def _entries(book: Logbook, key: RunKey) -> dict[str, str]:
    """Return the entries that the run rests on, by kind, in words."""
    run = [key.car, key.date, key.number]
    of_run = "car = ? and date = ? and number = ?"
    queries: dict[str, tuple[str, list[Any]]] = {
        "slip": (f"select entry from book.main.slip where {of_run}", run),
        "trace": (f"select entry from book.main.trace where {of_run}", run),
        "sheet": (
            "select distinct entry from book.main.sheet where car = ? and (date is null or date < ? or "
            "(date = ? and number <= ?))",
            [key.car, key.date, key.date, key.number],
        ),
        "air": ("select distinct entry from book.main.air where time::date = ?", [key.date]),
        "car": ("select system.main.max(entry) from book.main.car_fact where name = ?", [key.car]),
    }
    found = {}
    for kind, (query, parameters) in queries.items():
        rows = book.rows(
            f"select name, stored_at from book.main.entry where entry in ({query}) order by entry desc", parameters
        )
        said = [f"{name}, read {at:%Y-%m-%d %H:%M} UTC" for name, at in rows[:2]]
        found[kind] = "; ".join(said) + (f"; and {len(rows) - 2} before" if len(rows) > 2 else "")
    return found


def _slip(page: dict[str, Any], names: dict[str, str]) -> list[Line]:
    told = [row for row in page["splits"] if row["measured_s"] is not None]
    if not told:
        return []
    counted = page["run"]["valid_to_ft"]
    values = ", ".join(f"{row['distance_ft']} ft {row['measured_s']:.3f} s" for row in told)
    parts = [row for row in page["increments"] if row["measured_s"] is not None]
    lines: list[Line] = [
        (
            "measured",
            values,
            f"the timing slip: {names['slip']}",
            "as printed, from the start beam",
            "the timing system",
        ),
        (
            "counts to",
            f"{counted} ft" if counted else "nothing of it",
            "the slip's planned distance and what it says of its figures; a throttle lift seen in the trace",
            "the last beam before the planned shut-off, the lift or what spoiled the run",
            PRACTICE,
        ),
    ]
    if parts:
        lines.append(
            ("increments", f"{len(parts)} of them", "the splits above", "later split minus earlier split", "identity")
        )
    return lines


def _air(page: dict[str, Any], names: dict[str, str]) -> list[Line]:
    air = page["air"]
    if air is None:
        return []
    return [
        (
            "air readings",
            f"{air['temperature_c']:.1f} °C, {air['relative_humidity_pct']:.0f} %, "
            f"{air['station_pressure_hpa']:.1f} hPa",
            f"{names['air']}; {air['source']}",
            "interpolated in time between the readings before and after the run; wind is that of the nearest",
            PRACTICE,
        ),
        (
            "density ratio",
            f"{air['density_ratio']:.4f}",
            "the air readings",
            "moist-air density, with compressibility and 400 ppm carbon dioxide, over 1.225 kg/m³",
            "CIPM-2007 (Picard et al., Metrologia 45, 2008, 149-155); ISO 2533:1975",
        ),
        (
            "density altitude",
            f"{air['density_altitude_ft']:.0f} ft",
            "the density",
            "height at which the standard atmosphere is as dense: (T0/L)·(1 − (ρ/ρ0)^(1/(g/RL − 1)))",
            "ISO 2533:1975",
        ),
    ]


def _corrected(page: dict[str, Any], names: dict[str, str]) -> list[Line]:
    row = next((row for row in reversed(page["splits"]) if row["corrected_s"] is not None), None)
    if row is None:
        return []
    value = f"{row['distance_ft']} ft {row['measured_s']:.3f} → {row['corrected_s']:.3f} s"
    how = (
        "measured − (model's time in this air − model's time in the reference air), each split and trap speed by "
        "itself; power by dry-air pressure and temperature, drag by density, grip as fitted"
    )
    origin = f"the slip, the air, and the car's model fitted to its clean runs; car file {names['car']}"
    return [
        ("corrected", f"{value}, to {REFERENCE_NAME}", origin, how, f"{OWN}; engine power in the form of SAE J1349")
    ]


def _expected(page: dict[str, Any], names: dict[str, str]) -> list[Line]:
    row = next((row for row in reversed(page["splits"]) if row["expected_s"] is not None), None)
    if row is None:
        return []
    value = f"{row['distance_ft']} ft {row['expected_s']:.3f} ± {row['expected_sd_s']:.3f} s"
    how = (
        "mean and standard deviation of the predictive distribution for this air, lane and setup, from the runs "
        "before; called quicker or slower beyond 2 sd"
    )
    origin = f"the car's clean runs before this one, its setup sheets ({names['sheet'] or 'none'})"
    return [("expected", value, origin, how, f"Bayesian linear regression, {OWN}; the 2 sd are {PRACTICE}")]


def _trace(page: dict[str, Any], names: dict[str, str]) -> list[Line]:
    trace = page["trace"]
    if trace is None:
        return []
    origin = f"the log: {names['trace']}"
    lines: list[Line] = []
    row = next((row for row in reversed(page["splits"]) if row["trace_s"] is not None), None)
    if row is not None:
        calibration = trace["calibration"]
        known = calibration["earlier_runs"] if calibration else 0
        lines.append(
            (
                "trace splits",
                f"{row['distance_ft']} ft {row['trace_s']:.3f} ± {row['trace_sd_s']:.3f} s",
                f"{origin}; calibrated by {known} earlier slips, never by its own",
                "speed and distance by a Kalman filter and Rauch–Tung–Striebel smoother from driveshaft speed and "
                "acceleration, time where the distance is reached",
                "Rauch, Tung, Striebel, AIAA Journal 3 (1965) 1445-1450",
            )
        )
    if trace["first_motion_to_60_s"] is not None:
        lines.append(
            (
                "first motion to 60 ft",
                f"{trace['first_motion_to_60_s']:.3f} ± {trace['first_motion_to_60_sd_s']:.3f} s",
                f"{origin}; the shape of the push's rise also by earlier launches",
                "first motion by rises of several shapes fitted to the acceleration, least squares; 60 ft as for the "
                "trace splits",
                OWN,
            )
        )
    if trace["peak_acceleration_g"] is not None:
        how = "highest of the smoothed acceleration, 9.80665 m/s² to the g; a pitching body adds to it"
        lines.append(("peak g", f"{trace['peak_acceleration_g']:.2f}", origin, how, "ISO 80000-3 for the g"))
    if trace["peak_slip_pct"] is not None:
        how = "driven wheels' speed over the car's speed by the smoother, minus 1, at its highest"
        lines.append(("tyre slip", f"{trace['peak_slip_pct']:.0f} %", origin, how, "SAE J670 for its sense"))
    for alarm in trace["alarms"]:
        value = "" if alarm["value"] is None else f"{alarm['value']:g} {alarm['unit']}"
        how = "beyond its limit for longer than a spike, in the condition that is watched"
        lines.append(
            (f"limit, {alarm['channel'].replace('_', ' ')}", value, origin, how, f"the car file, or {PRACTICE}")
        )
    return lines


def _changes(page: dict[str, Any], names: dict[str, str]) -> list[Line]:
    if not page["changes"]:
        return []
    how = "the setup in force at this run held against that of the run before, item by item"
    return [("changed", f"{len(page['changes'])} items", f"setup sheets: {names['sheet']}", how, "identity")]


def _verdicts(page: dict[str, Any]) -> list[Line]:
    if not page["verdicts"]:
        return []
    how = (
        "mean and 90 % interval of the change's effect with day, drift, lane and air held; a claim needs 95 % for its "
        "sign and a difference that matters"
    )
    origin = "all runs of the car, spoiled ones summed over; runlog effects shows it increment by increment"
    return [("changes so far", f"{len(page['verdicts'])} of them", origin, how, f"Bayesian linear regression, {OWN}")]
