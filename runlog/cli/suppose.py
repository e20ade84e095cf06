"""``runlog suppose``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog.cli.common import CarOption, JsonOption, LogbookOption, logbook, new_command, print_json, quantity
from runlog.errors import UsageError


def _option(name: str, metavar: str, text: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(name, metavar=metavar, help=text, show_default=False)
    return option


@new_command(
    "Say what the car's own runs and physics together make of changes before they are made, and of other air: any "
    "adjustable, weight, gearing, tyre size, power, drag. Each line says who speaks. Limits of the car file are never "
    "passed.",
    'runlog suppose "ballast rear +25" "launch rpm +200" --car heron',
)
def app(
    changes: Annotated[
        list[str] | None,
        typer.Argument(metavar="CHANGE", help='Such as "shift rpm +100", "race weight -50lb".', show_default=False),
    ] = None,
    temperature: Annotated[str | None, _option("--temperature", "TEMP", "In other air, such as 90F or 32C.")] = None,
    humidity: Annotated[float | None, _option("--humidity", "PCT", "Relative humidity in per cent.")] = None,
    pressure: Annotated[str | None, _option("--pressure", "PRESSURE", "Station pressure, such as 29.40inHg.")] = None,
    tailwind: Annotated[str | None, _option("--tailwind", "SPEED", "Along the track; -5mph is a head wind.")] = None,
    car: CarOption = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Say what runs and physics make of changes."""
    from runlog.workflows.find import find_car
    from runlog.workflows.suppose.answer import TypedAir, suppose_page

    if humidity is not None and not 0 <= humidity <= 100:
        raise UsageError(f"--humidity: {humidity:g} is outside 0 to 100 per cent")
    typed = TypedAir(
        temperature=quantity(temperature, "temperature", "--temperature"),
        relative_humidity=None if humidity is None else humidity / 100,
        station_pressure=quantity(pressure, "pressure", "--pressure"),
        wind_along=quantity(tailwind, "speed", "--tailwind"),
    )
    with logbook(book) as opened:
        page = suppose_page(opened, find_car(opened, car), changes or (), typed)
    if as_json:
        print_json(page)
    else:
        from runlog.reports.suppose import print_suppose

        print_suppose(page)
