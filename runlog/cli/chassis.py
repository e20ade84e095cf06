"""``runlog chassis``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, option, print_json, quantity
from runlog.cli.written import PngOption, write_drawing
from runlog.errors import UsageError

if TYPE_CHECKING:
    from runlog.workflows.chassis.raised import Radii


@new_command(
    "Show a car's chassis in the setup in force: links, instant centre, anti-squat, weights, balance and wheel "
    "lift; and what a change of holes, ballast, ride height or pinion angle would make of them. The side view as a web "
    "page: 'runlog plot chassis CAR --html FILE'.",
    'runlog chassis heron --suppose "upper link front hole=2"',
)
def app(
    car: Annotated[str | None, typer.Argument(metavar="CAR", help="The car.", show_default=False)] = None,
    run: Annotated[
        str | None,
        typer.Option("--run", metavar="RUN", help="With the setup of this run; the newest by default."),
    ] = None,
    suppose: Annotated[
        list[str] | None,
        typer.Option("--suppose", metavar="NAME=VALUE", help="A change to look at; may be repeated."),
    ] = None,
    holes: Annotated[bool, typer.Option("--holes", help="List every allowed combination of holes.")] = False,
    target: Annotated[
        float | None,
        typer.Option("--target", metavar="PCT", help="Anti-squat that combinations are sorted by.", show_default=False),
    ] = None,
    total: Annotated[
        str | None,
        typer.Option(
            "--total", metavar="WEIGHT", help="Plan ballast for this total, with --front.", show_default=False
        ),
    ] = None,
    front: Annotated[
        float | None,
        typer.Option("--front", metavar="PCT", help="The front share that goes with --total.", show_default=False),
    ] = None,
    raised: Annotated[
        Path | None,
        typer.Option(
            "--raised",
            metavar="FILE",
            help="Centre-of-gravity height from a table of raised weighings.",
            show_default=False,
        ),
    ] = None,
    front_radius: Annotated[
        str | None,
        typer.Option(
            "--front-radius",
            metavar="LENGTH",
            help="Loaded radius of the front tyres, with --raised.",
            show_default=False,
        ),
    ] = None,
    rear_radius: Annotated[
        str | None,
        typer.Option(
            "--rear-radius",
            metavar="LENGTH",
            help="The same at the rear; the car file's by default.",
            show_default=False,
        ),
    ] = None,
    svg: Annotated[Path | None, option("--svg", "FILE", "Draw the side view, or the chart of --holes.")] = None,
    png: PngOption = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Show a car's chassis."""
    from runlog.workflows.chassis.ballast import Wanted
    from runlog.workflows.chassis.page import chassis_page
    from runlog.workflows.chassis.raised import with_raised_axle
    from runlog.workflows.find import find_car, find_run

    if target is not None and not holes:
        raise UsageError("--target sorts the combinations of holes: give --holes too")
    if target is not None and not -1000 <= target <= 1000:
        raise UsageError(f"--target: {target:g} is outside -1000 to 1000 per cent")
    weight = quantity(total, "mass", "--total")
    if (weight is None) != (front is None):
        raise UsageError("ballast is planned for a weight and a balance: give --total and --front together")
    if front is not None and not 0 <= front <= 100:
        raise UsageError(f"--front: {front:g} is outside 0 to 100 per cent")
    wanted = None if weight is None or front is None else Wanted(weight, front)
    radii = _radii(front_radius, rear_radius, raised)
    with logbook(book) as opened:
        key = None if run is None else find_run(opened, run)
        name = find_car(opened, car or (key.car if key else None))
        page = chassis_page(opened, name, key, suppose or (), target_pct=target, holes=holes, wanted=wanted)
        if raised is not None:
            page = with_raised_axle(opened, page, raised, radii)
    _draw(page, svg, png)
    if as_json:
        print_json(page)
    else:
        from runlog.reports.chassis import print_chassis

        print_chassis(page)


def _radii(front: str | None, rear: str | None, raised: Path | None) -> Radii:
    """Return the tyre radii of the options; ``UsageError`` where they have nothing to go with or can't be."""
    from runlog.workflows.chassis.raised import Radii

    if raised is None and not (front is None and rear is None):
        raise UsageError("--front-radius and --rear-radius go with a table of weighings: give --raised too")
    found = []
    for name, text in (("--front-radius", front), ("--rear-radius", rear)):
        radius = quantity(text, "length", name)
        if radius is not None and not 0.1 <= radius <= 1.0:
            raise UsageError(f"{name}: {text} is outside 0.1 to 1 m")
        found.append(radius)
    return Radii(*found)


def _draw(page: dict[str, object], svg: Path | None, png: Path | None) -> None:
    """Draw the combinations of holes where they are listed, else the side view."""
    from runlog.reports.drawing import side_view_svg
    from runlog.reports.hole_drawing import hole_chart_svg

    chart = hole_chart_svg(page)
    what = "side view" if chart is None else "chart of hole combinations"
    write_drawing(lambda: chart or side_view_svg(page), svg, png, what)
