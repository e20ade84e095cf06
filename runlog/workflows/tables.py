"""The logbook as plain tables, for other programs: one name, one shape, every unit in the column's name.

A column without a unit is a count, a share from 0 to 1 or a text; ``value`` is in the unit beside it. Times are local.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from runlog.constants import SPEED_DISTANCES_FT, SPLIT_DISTANCES_FT
from runlog.errors import UsageError
from runlog.readers.headers import find_unit
from runlog.units import SI_UNITS
from runlog.vocabulary import CHANNEL_BY_NAME

if TYPE_CHECKING:
    import datetime as dt

    import polars as pl

    from runlog.records import RunKey
    from runlog.store.connection import Logbook

_TIMES = ", ".join(
    f"{kind}t{feet} as {kind}t{feet}_s" for kind in ("", "corrected_", "trace_") for feet in SPLIT_DISTANCES_FT
)
_SDS = ", ".join(f"trace_sd{feet} as trace_sd{feet}_s" for feet in SPLIT_DISTANCES_FT)
_SPEEDS = ", ".join(f"{kind}v{feet} as {kind}v{feet}_m_s" for kind in ("", "corrected_") for feet in SPEED_DISTANCES_FT)
_KEY = "car || '/' || date || '/' || number as key, car, date, number"
_OF_RUN = "(? is null or car = ?) and (? is null or date = ?) and (? is null or number = ?)"
_IN_ORDER = "order by car, date, number"


@dataclass(frozen=True)
class Table:
    """A table: what a row of it is, how it is read, and whether it can be narrowed to a car and a run."""

    name: str
    row: str
    sql: str
    of_run: bool = True


TABLES: Final = {
    table.name: table
    for table in (
        Table(
            "runs",
            "a run: its slip, measured and corrected, the splits by its trace, and its air",
            "select key, car, date, number, time, track, lane, purpose, clean, spoiled, valid_to_ft, note, "
            f"reaction as reaction_s, {_TIMES}, {_SDS}, {_SPEEDS}, temperature as temperature_k, relative_humidity, "
            "station_pressure as station_pressure_pa, density as density_kg_m3, density_ratio, density_altitude as "
            "density_altitude_m, wind_along as wind_along_m_s, track_temperature as track_temperature_k, air_source "
            f"from book.main.run where {_OF_RUN} {_IN_ORDER}",
        ),
        Table(
            "splits",
            "a time from the start beam of a run",
            "select key, car, date, number, distance_ft, measured as measured_s, corrected as corrected_s, "
            f"trace as trace_s from book.main.split where {_OF_RUN} {_IN_ORDER}, distance_ft",
        ),
        Table(
            "increments",
            "a time between two neighbouring beams of a run",
            "select key, car, date, number, from_ft, to_ft, measured as measured_s, corrected as corrected_s "
            f"from book.main.increment where {_OF_RUN} {_IN_ORDER}, from_ft",
        ),
        Table(
            "setups",
            "an item of the setup in force at a run",
            f"select {_KEY}, item, value, unit, text from book.main.setup where {_OF_RUN} {_IN_ORDER}, item",
        ),
        Table(
            "air",
            "an air reading",
            "select track, time, temperature as temperature_k, relative_humidity, station_pressure as "
            "station_pressure_pa, wind_speed as wind_speed_m_s, wind_from_deg, track_temperature as "
            "track_temperature_k, source from book.main.air where ? is null or time::date = ? "
            "order by time, track nulls first",
            of_run=False,
        ),
        Table(
            "crew",
            "something that the crew said; content is JSON",
            "select id, what, car, date, number, said_at, said_by, content from book.main.crew "
            f"where {_OF_RUN} order by date, said_at, id",
        ),
        Table(
            "traces",
            "a sample of a channel of a run's log, at its own time",
            f"select {_KEY}, name as channel, sample.canonical, unit as written_unit, time as time_s, value "
            "from book.main.sample as sample join book.main.channel as channel using (car, date, number, name) "
            f"where {_OF_RUN} {_IN_ORDER}, channel, time",
        ),
    )
}


def table(
    book: Logbook, name: str, car: str | None = None, day: dt.date | None = None, run: RunKey | None = None
) -> pl.DataFrame:
    """Return a table, or its rows of a car, of a day or of a run; a row each for what ``TABLES`` says."""
    found = TABLES.get(name)
    if found is None:
        raise UsageError(f"no table {name!r}; there are: {', '.join((*TABLES, 'effects'))}")
    if run is not None:
        car, day = run.car, run.date
    number = None if run is None else run.number
    frame = book.frame(found.sql, [car, car, day, day, number, number] if found.of_run else [day, day])
    return _with_si_unit(frame) if name == "traces" else frame


def _with_si_unit(frame: pl.DataFrame) -> pl.DataFrame:
    """Add the unit that samples are held in beside the one that the logger wrote."""
    import polars as pl

    pairs = frame.select("canonical", "written_unit").unique().rows()
    units = pl.DataFrame(
        [(canonical, written, _si_unit(canonical, written)) for canonical, written in pairs],
        schema={"canonical": pl.String, "written_unit": pl.String, "unit": pl.String},
        orient="row",
    )
    joined = frame.join(units, on=["canonical", "written_unit"], how="left", nulls_equal=True, maintain_order="left")
    return joined.select(*frame.columns[:6], "unit", *frame.columns[6:])


def _si_unit(canonical: str | None, written: str) -> str | None:
    """Return the unit of a channel's samples; None where the logger's own isn't known, so that they are as logged.

    What is no channel of ours and in ``g`` may be grams or standard gravity: which it was taken for isn't kept.
    """
    word = CHANNEL_BY_NAME.get(canonical or "")
    if word is not None:
        return SI_UNITS[word.dimension]
    unit = find_unit(written) if written else None
    return None if unit is None or unit.symbol == "g" else SI_UNITS[unit.dimension]


_EFFECT = (
    "adjustable", "unit", "step", "from_ft", "to_ft", "mean_s", "lo50_s", "hi50_s", "lo90_s", "hi90_s",
    "probability_helps", "verdict", "runs_needed",
)  # fmt: skip


def effects_table(content: dict[str, Any]) -> pl.DataFrame:
    """Return the effects of a page as ``effects --json`` has it: a row for each adjustable and stretch of the track.

    The effect is of one usual step upwards; what starts with ``made`` is of the change that was really made.
    """
    import polars as pl

    rows = []
    for row in content["effects"]:
        made = row["change_made"] or {}
        rows.append(
            {
                "car": content["car"],
                **{name: row[name] for name in _EFFECT},
                "inseparable_from": ", ".join(row["inseparable_from"]),
                "made_from": made.get("from"),
                "made_to": made.get("to"),
                "made_mean_s": made.get("mean_s"),
                "made_lo90_s": made.get("lo90_s"),
                "made_hi90_s": made.get("hi90_s"),
                "made_probability_helps": made.get("probability_helps"),
                "made_verdict": made.get("verdict"),
            }
        )
    texts = ("car", "adjustable", "unit", "verdict", "inseparable_from", "made_verdict")
    whole = ("from_ft", "to_ft", "runs_needed")
    names = list(rows[0]) if rows else ["car", *_EFFECT, "inseparable_from"]
    kinds = {name: pl.String if name in texts else pl.Int64 if name in whole else pl.Float64 for name in names}
    return pl.DataFrame(rows, schema=kinds, strict=False)
