"""``runlog release``."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from runlog.cli.common import JsonOption, LogbookOption, logbook, new_command, note, plain, print_json
from runlog.errors import UsageError

if TYPE_CHECKING:
    from runlog.store.connection import Logbook
    from runlog.workflows.release.signing import Who


def _option(name: str, metavar: str, text: str) -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(name, metavar=metavar, help=text, show_default=False)
    return option


@new_command(
    "Show how far a car's next run may go and why: release steps, credentials, open items, barred settings. Tick and "
    "sign a step with --sign; where a person sits, checks that aren't ticked and the name are asked for.",
    'runlog release heron --sign 60 --tick all --by "A. Crew"',
)
def app(
    car: Annotated[str | None, typer.Argument(metavar="CAR", help="The car.", show_default=False)] = None,
    tick: Annotated[
        list[str] | None, _option("--tick", "CHECK", "A check found good, or all; may be repeated.")
    ] = None,
    untick: Annotated[
        list[str] | None, _option("--untick", "CHECK", "A check no longer good: takes back its step's sign-off.")
    ] = None,
    step: Annotated[str | None, _option("--step", "STEP", "For --tick and --untick; by default where it is.")] = None,
    sign: Annotated[str | None, _option("--sign", "STEP", "Sign fire-up, burnout, 60, 330, 660 or full.")] = None,
    again: Annotated[str | None, _option("--again", "STEP", "Back to a step, with --why.")] = None,
    setting: Annotated[
        str | None, _option("--setting", "NAME=VALUE", "Release a barred setting, with --by and --why.")
    ] = None,
    part: Annotated[
        str | None, _option("--part", "PART=NAME", "Which engine, converter, gear set, tyre set … is in it.")
    ] = None,
    by: Annotated[str | None, _option("--by", "NAME", "Who says so.")] = None,
    why: Annotated[str | None, _option("--why", "TEXT", "The reason, or a remark.")] = None,
    as_json: JsonOption = False,
    book: LogbookOption = None,
) -> None:
    """Show, tick, sign, go back, release."""
    from runlog.workflows.find import find_car
    from runlog.workflows.release import signing
    from runlog.workflows.release.page import release_page

    who = signing.Who(by, why)
    asked = [name for name, said in (("--untick", untick), ("--sign", sign), ("--again", again),
                                     ("--setting", setting), ("--part", part)) if said]  # fmt: skip
    if len(asked) > 1:
        raise UsageError(f"{' and '.join(asked)} are two things: do one after the other")
    with logbook(book, write=bool(asked or tick)) as opened:
        name = find_car(opened, car)
        if sign:
            _sign(opened, name, sign, tick or [], who)
        elif tick:
            signing.tick(opened, name, step, tick, who)
        elif untick:
            signing.tick(opened, name, step, untick, who, good=False)
        elif again:
            signing.start_again(opened, name, again, who)
        elif setting:
            signing.release_setting(opened, name, setting, who)
        elif part:
            signing.replace_part(opened, name, part, who)
        page = release_page(opened, name)
    if as_json:
        print_json(page)
    else:
        from runlog.reports.release import print_release

        print_release(page)


def _sign(book: Logbook, name: str, step: str, ticks: list[str], who: Who) -> None:
    """Sign a step; ask for what is missing where a person can answer."""
    from runlog.workflows.release import signing
    from runlog.workflows.release.page import stands

    if sys.stdin.isatty():
        found = stands(book, name)
        state = signing.to_tick(found, step)
        known = {text for text, good in state.checks if good} | set(signing.read_ticks(state, ticks))
        everything = {text for text, _ in state.checks}
        signing.hinders(found, state, everything)  # nothing is asked that can't lead to a signature
        for text, _ in state.checks:
            if text not in known and not typer.confirm(plain(f"{text}: good?")):
                note(f"{name} isn't signed: {text} is not good. 'runlog item add' keeps what was found.")
                raise typer.Exit(1)
        ticks = ["all"]
        if not who.by:
            who = signing.Who(typer.prompt("Signed by (name)"), who.text)
    signing.sign(book, name, step, ticks, who)
    note(f"{step} is signed. A check that turns out wrong: runlog release {name} --step {step} --untick CHECK")
