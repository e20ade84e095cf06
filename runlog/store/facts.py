"""Facts of cars, tracks, slips, sheets and air: written once, read back as records."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from typing import TYPE_CHECKING, Any

from runlog.constants import SPEED_DISTANCES_FT, SPLIT_DISTANCES_FT
from runlog.records import (
    USUAL_TRAPS,
    Adjustable,
    AirReading,
    Car,
    ChannelLimit,
    Credential,
    Driveshaft,
    Hole,
    Powertrain,
    RearSuspension,
    RunKey,
    Sheet,
    SheetEntry,
    Slip,
    Track,
    Trap,
    Tyre,
    WheelieBars,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from runlog.store.connection import Logbook


def _dump(record: Any) -> str:
    return json.dumps(dataclasses.asdict(record), ensure_ascii=False, default=str)


def save_track(book: Logbook, entry: int, track: Track) -> None:
    """Write a track."""
    book.insert("track_fact", [(entry, track.name, _dump(track))])


def tracks(book: Logbook) -> dict[str, Track]:
    """Return every track by name, as last told."""
    return {name: _track(json.loads(content)) for name, content in book.rows("select * from book.main.track")}


def _track(content: dict[str, Any]) -> Track:
    told = content.get("traps")
    return Track(**{**content, "traps": USUAL_TRAPS if told is None else tuple(Trap(**trap) for trap in told)})


def save_car(book: Logbook, entry: int, car: Car) -> None:
    """Write a car."""
    book.insert("car_fact", [(entry, car.name, _dump(car))])


def cars(book: Logbook) -> dict[str, Car]:
    """Return every car by name, as last told."""
    return {name: car_from(json.loads(content)) for name, content in book.rows("select * from book.main.car")}


def car(book: Logbook, name: str) -> Car | None:
    """Return a car as last told, or None when no file told of it."""
    found = book.row("select content from book.main.car where car = ?", [name])
    return None if found is None else car_from(json.loads(found[0]))


_PRIORS = ("prior_mean_s", "prior_sd_s", "prior_curvature_mean_s", "prior_curvature_sd_s")


def car_from(content: dict[str, Any]) -> Car:
    """Return the car that was written as this."""
    adjustables = tuple(
        Adjustable(
            **{
                **item,
                "holes": tuple(Hole(**hole) for hole in item["holes"]),
                "at_hand": tuple(item.get("at_hand", ())),
                **{name: tuple(item.get(name, ())) for name in _PRIORS},
            }
        )
        for item in content.pop("adjustables")
    )
    limits = tuple(ChannelLimit(**limit) for limit in content.pop("limits"))
    gears = tuple(content.pop("gear_ratios"))
    rear, shaft = content.pop("rear_suspension", None), content.pop("driveshaft", None)
    powertrain, tyre = content.pop("powertrain", None), content.pop("tyre", None)
    bars = content.pop("wheelie_bars", None)
    checks = tuple((step, tuple(texts)) for step, texts in content.pop("release_checks", ()))
    credentials = tuple(map(_credential, content.pop("credentials", ())))
    return Car(
        **content,
        gear_ratios=gears,
        adjustables=adjustables,
        limits=limits,
        rear_suspension=RearSuspension(**rear) if rear else None,
        driveshaft=Driveshaft(**shaft) if shaft else None,
        powertrain=_powertrain(powertrain) if powertrain else None,
        tyre=Tyre(**tyre) if tyre else None,
        wheelie_bars=WheelieBars(**bars) if bars else None,
        release_checks=checks,
        credentials=credentials,
    )


def _credential(content: dict[str, Any]) -> Credential:
    expires = content.pop("expires")
    return Credential(**content, expires=dt.date.fromisoformat(expires) if expires else None)


def _powertrain(content: dict[str, Any]) -> Powertrain:
    curve = tuple((speed, power) for speed, power in content.pop("power_curve"))
    shifts = tuple(content.pop("shift_speeds"))
    return Powertrain(**content, power_curve=curve, shift_speeds=shifts)


def save_slips(book: Logbook, entry: int, slips: Sequence[Slip]) -> None:
    """Write timing slips."""
    book.insert(
        "slip_fact",
        [
            (
                entry, slip.key.car, slip.key.date, slip.key.number, slip.time, slip.track, slip.lane, slip.purpose,
                slip.reaction, *(slip.times.get(feet) for feet in SPLIT_DISTANCES_FT),
                *(slip.speeds.get(feet) for feet in SPEED_DISTANCES_FT), slip.true_to_ft, slip.spoiled, slip.note,
            )
            for slip in slips
        ],
    )  # fmt: skip


def slips(book: Logbook, car: str | None = None) -> dict[RunKey, Slip]:
    """Return the slips of a car, or of all, by run key, as last told."""
    rows = book.rows(
        "select * exclude (entry) from book.main.slip where ? is null or car = ? order by car, date, number", [car, car]
    )
    return {slip.key: slip for slip in map(_slip, rows)}


def slip_times(book: Logbook) -> dict[RunKey, dt.time | None]:
    """Return when each run with a slip was, local clock time; None where its slip doesn't tell."""
    rows = book.rows("select car, date, number, time from book.main.slip")
    return {RunKey(car, date, number): time for car, date, number, time in rows}


def slips_on(book: Logbook, dates: Iterable[dt.date]) -> list[Slip]:
    """Return the slips of all cars on these dates, as last told."""
    rows = book.rows(
        "select * exclude (entry) from book.main.slip where system.main.list_contains(?::date[], date) "
        "order by car, date, number",
        [list(dates)],
    )
    return [_slip(row) for row in rows]


def _slip(row: Sequence[Any]) -> Slip:
    car, date, number, time, track, lane, purpose, reaction, *figures, true_to_ft, spoiled, note = row
    count = len(SPLIT_DISTANCES_FT)
    times = zip(SPLIT_DISTANCES_FT, figures[:count], strict=True)
    speeds = zip(SPEED_DISTANCES_FT, figures[count:], strict=True)
    return Slip(
        RunKey(car, date, number), time, track, lane, purpose, reaction,
        {feet: value for feet, value in times if value is not None},
        {feet: value for feet, value in speeds if value is not None},
        true_to_ft, spoiled, note,
    )  # fmt: skip


def save_sheets(book: Logbook, entry: int, sheets: Sequence[Sheet]) -> None:
    """Write setup sheets."""
    rows = [
        (entry, n, sheet.car, sheet.date, sheet.number, sheet.full, line.item, line.value, line.unit, line.text)
        for n, sheet in enumerate(sheets)
        for line in sheet.entries
    ]
    book.insert("sheet_fact", rows)


def sheets(book: Logbook, car: str) -> list[Sheet]:
    """Return a car's sheets in the order in which they take effect: baseline first, a full one before changes."""
    return sheets_from(car, sheet_rows(book, car))


def sheet_rows(book: Logbook, car: str) -> list[tuple[Any, ...]]:
    """Return the lines of a car's sheets in the order in which they take effect, as ``sheets_from`` takes them."""
    return book.rows(
        "select date, number, is_full, entry, sheet, item, value, unit, text from book.main.sheet where car = ? "
        "order by date nulls first, number, is_full desc, entry, sheet, item",
        [car],
    )


def sheets_from(car: str, rows: Iterable[Sequence[Any]]) -> list[Sheet]:
    """Return the sheets that ``sheet_rows`` were made of."""
    grouped: dict[tuple[Any, ...], list[SheetEntry]] = {}
    for date, number, is_full, entry, sheet, item, value, unit, text in rows:
        grouped.setdefault((date, number, is_full, entry, sheet), []).append(SheetEntry(item, value, unit, text))
    return [
        Sheet(car, date, number, is_full, tuple(lines))
        for (date, number, is_full, _, _), lines in grouped.items()
    ]  # fmt: skip


def save_air(book: Logbook, entry: int, readings: Sequence[tuple[str | None, AirReading]]) -> None:
    """Write air readings, each with the track it was stated for."""
    book.insert(
        "air_fact",
        [
            (
                entry, track, air.time, air.temperature, air.relative_humidity, air.station_pressure,
                air.wind_speed, air.wind_from_deg, air.track_temperature, air.source,
            )
            for track, air in readings
        ],
    )  # fmt: skip


EVENING = dt.timedelta(hours=3)
NIGHT = dt.timedelta(hours=6)
"""how long before and after a test day its runs' air may have been read. Common practice, no source."""


def air(book: Logbook, date: dt.date, track: str | None = None) -> list[AirReading]:
    """Return a day's readings in order of time, from the evening before into the night after for runs near midnight.

    Those of the track, or of no stated track where there are none of its own.
    """
    midnight = dt.datetime.combine(date, dt.time())
    rows = book.rows(
        "select track, * exclude (entry, track) from book.main.air "
        "where time between ? and ? and (track is null or track = ?) order by time",
        [midnight - EVENING, midnight + dt.timedelta(days=1) + NIGHT, track],
    )
    that_day = [row for row in rows if row[1].date() == date]
    stated = any(row[0] is not None for row in that_day or rows)
    return [AirReading(*row[1:]) for row in rows if (row[0] is not None) == stated]


def all_air(book: Logbook, date: dt.date | None = None) -> list[tuple[str | None, AirReading]]:
    """Return a day's readings of every track in order of time, each with its track; of the newest day by default."""
    rows = book.rows(
        "select track, * exclude (entry, track) from book.main.air "
        "where time::date = coalesce(?::date, (select max(time)::date from book.main.air)) order by time, track",
        [date],
    )
    return [(row[0], AirReading(*row[1:])) for row in rows]


def cars_near(book: Logbook, dates: Iterable[dt.date]) -> set[str]:
    """Return the cars that ran on any of these dates or a day beside one: runs near midnight see its air too."""
    near = [date + dt.timedelta(days=n) for date in dates for n in (-1, 0, 1)]
    rows = book.rows(
        "select distinct car from book.main.slip_fact where list_contains(?, date) "
        "union select distinct car from book.main.trace_fact where list_contains(?, date)",
        [near, near],
    )
    return {car for (car,) in rows}


def save_channel_map(book: Logbook, entry: int, name: str, content: str, fingerprint: str) -> None:
    """Write a channel map; ``fingerprint`` of the header it was used for, empty where it hasn't been yet."""
    book.insert("map_fact", [(entry, fingerprint, name, content)])


def channel_maps(book: Logbook) -> list[tuple[str, str, str]]:
    """Return (name, content, fingerprint) of every channel map, newest first."""
    rows = book.rows("select name, content, fingerprint from book.main.map_fact order by entry desc")
    return [tuple(row) for row in rows]


def maps_by_entry(book: Logbook) -> list[tuple[int, str, str, str]]:
    """Return (entry, name, content, fingerprint) of every channel map, in the order of the entries."""
    rows = book.rows("select entry, name, content, fingerprint from book.main.map_fact order by entry")
    return [tuple(row) for row in rows]


_TABLES = ("track_fact", "car_fact", "map_fact", "slip_fact", "sheet_fact", "air_fact")


def drop_all(book: Logbook) -> None:
    """Drop every fact but traces; only to write them again from the originals in the same transaction."""
    for table in _TABLES:
        book.rows(f"delete from book.main.{table}")
