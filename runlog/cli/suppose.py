"""``runlog suppose``."""

from __future__ import annotations

from typing import Annotated

import typer

from runlog.cli.air_options import HumidityOption, PressureOption, TemperatureOption, in_si, share
from runlog.cli.common import CarOption, JsonOption, LogbookOption, logbook, new_command, option, print_json


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
    temperature: TemperatureOption = None,
    humidity: HumidityOption = None,
    pressure: PressureOption = None,
    tailwind: Annotated[str | None, option("--tailwind", "SPEED", "Along the track; -5mph is a head wind.")] = None,
    car: CarOption = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Say what runs and physics make of changes."""
    from runlog.workflows.find import find_car
    from runlog.workflows.suppose.answer import TypedAir, suppose_page

    said = in_si(temperature=temperature, pressure=pressure, tailwind=tailwind)
    typed = TypedAir(said["temperature"], share(humidity), said["pressure"], said["tailwind"])
    with logbook(book) as opened:
        page = suppose_page(opened, find_car(opened, car), changes or (), typed)
    if as_json:
        print_json(page)
    else:
        from runlog.reports.suppose import print_suppose

        print_suppose(page)
