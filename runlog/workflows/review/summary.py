"""The summary of a test day in plain words: what is known, what isn't, and what comes next."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.records.trace import alarm_name
from runlog.workflows.review.changes import is_assumed, is_settled

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

_ENDS = ("lo90_s", "hi90_s")


def summary(page: Mapping[str, Any]) -> dict[str, list[str]]:
    """Return the sentences of the summary from the other parts of a review."""
    return {
        "known": [*_day(page), *_best(page), *_spread(page), *_settled(page["changes"])],
        "unknown": [*_open(page["changes"]), *_gaps(page)],
        "next": _next(page),
    }


def in_words(effect: Mapping[str, Any]) -> str:
    """Return an effect on a time with its 90 % interval, without signs that have to be explained."""
    low, high = (effect[end] for end in _ENDS)
    if high <= 0:
        return f"quicker by {-effect['mean_s']:.3f} s (between {-high:.3f} and {-low:.3f} s, 90 %)"
    if low >= 0:
        return f"slower by {effect['mean_s']:.3f} s (between {low:.3f} and {high:.3f} s, 90 %)"
    return f"anything from {-low:.3f} s quicker to {high:.3f} s slower (90 %)"


def change_name(change: Mapping[str, Any]) -> str:
    """Return what was changed, from what to what."""
    effect = change["elapsed"]
    if effect is None:
        first = change["moves"][0]
        return f"{change['item']} {plain(first['from'])} to {plain(first['to'])}{_unit(change['unit'])}"
    return f"{change['item']} {plain(effect['from'])} to {plain(effect['to'])}{_unit(change['unit'])}"


def plain(value: float | str | None) -> str:
    """Return a setting as the crew says it."""
    if value is None:
        return "not noted"
    return value if isinstance(value, str) else f"{value:g}"


def _unit(unit: str) -> str:
    return "" if unit in ("1", "hole", "") else f" {unit}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _day(page: Mapping[str, Any]) -> list[str]:
    runs = page["runs"]
    clean = sum(run["clean"] for run in runs)
    where = f" at {' and '.join(page['tracks'])}" if page["tracks"] else ""
    lost = [f"run {run['number']} ({run['spoiled_reason']})" for run in runs if run["spoiled_reason"]]
    many = "all" if clean == len(runs) else "none" if not clean else str(clean)
    count = f", {many} of them clean" if len(runs) > 1 else ", clean" if clean else ""
    said = f"{page['car']} made {_count(len(runs), 'run')}{where}{count}"
    return [f"{said}; lost: {', '.join(lost)}." if lost else f"{said}."]


def _best(page: Mapping[str, Any]) -> list[str]:
    best = page["best"]
    if best is None:
        return []
    corrected = f", {best['corrected_s']:.3f} s in standard air" if best["corrected_s"] is not None else ""
    said = f"The best clean pass was run {best['number']}: {best['to_ft']} ft in {best['measured_s']:.3f} s"
    return [f"{said}{corrected}."]


def _spread(page: Mapping[str, Any]) -> list[str]:
    spread, best = page["spread"], page["best"]
    if spread is None or best is None:
        return []
    low, high = spread["lo90_s"], spread["hi90_s"]
    return [
        f"The same setup repeats to {best['to_ft']} ft within {spread['sd_s']:.3f} s (one standard deviation; between "
        f"{low:.3f} and {high:.3f} s, 90 %): a difference well below that can't be seen in one run."
    ]


def _settled(changes: Sequence[Mapping[str, Any]]) -> list[str]:
    words = {"helped": "helped", "hurt": "hurt", "no_difference": "made no difference that matters"}
    return [
        f"{_capital(change_name(change))} {words[effect['verdict']]}: {in_words(effect)} to {effect['to_ft']} ft."
        for change in changes
        if (effect := change["elapsed"]) and is_settled(effect)
    ]


def _open(changes: Sequence[Mapping[str, Any]]) -> list[str]:
    said = []
    for change in changes:
        effect = change["elapsed"]
        if effect is None:
            said.append(f"{_capital(change_name(change))}: noted, but nothing is learned about it.")
        elif not is_settled(effect):
            settle = f" What would settle it: {change['settles']}." if change["settles"] else ""
            said.append(f"{_capital(change_name(change))}: {_doubt(effect)}.{settle}")
    return said


def _doubt(effect: Mapping[str, Any]) -> str:
    if effect["note"]:
        return str(effect["note"])
    if effect["verdict"] == "cannot_separate":
        return f"cannot be told apart from {', '.join(effect['inseparable_from'])}"
    if is_assumed(effect):
        return "no difference, as was assumed: runs have told next to nothing of it"
    return f"cannot tell yet: {in_words(effect)} to {effect['to_ft']} ft"


def _gaps(page: Mapping[str, Any]) -> list[str]:
    runs = page["runs"]
    said = []
    without = [str(run["number"]) for run in runs if run["air"] is None]
    if without:
        said.append(f"No air within reach of run {', '.join(without)}: its figures are not corrected.")
    blind = [str(run["number"]) for run in runs if not run["trace"]]
    if blind and len(blind) == len(runs):
        said.append("No run was logged: engine, driveline and sensors were not looked at.")
    elif blind:
        said.append(f"No logger file for run {', '.join(blind)}.")
    missing = [name.replace("_", " ") for name in page["found"]["not_logged"]]
    if missing:
        said.append(f"Watched, but not logged on every run: {', '.join(missing)}. Nothing is said about these.")
    if page["found"]["questions"]:
        said.append(f"{_count(len(page['found']['questions']), 'question')} about the day's data still open.")
    return said


def _next(page: Mapping[str, Any]) -> list[str]:
    said = [f"{_capital(item['due'])}: {item['text']}." for item in page["open_items"]]
    cleared = page["clearance"]
    if cleared and cleared["reasons"]:
        far = "There is no next run" if cleared["to_ft"] == 0 else f"The next run goes to {cleared['to_ft']} ft at most"
        said.append(f"{far}: {'; '.join(cleared['reasons'])}.")
    alarms = dict.fromkeys(_alarm(alarm) for alarm in page["found"]["alarms"])
    if alarms:
        said.append(f"Before the car runs again, look into: {'; '.join(alarms)}.")
    moved = page["as_left"]["back_to_baseline"]
    if moved:
        said.append(f"The car was left {_count(len(moved), 'setting')} away from its baseline; the way back is listed.")
    for step in page["next"]:
        path = " → ".join(plain(place) for place in step["path"])
        minding = f" Mind: {'; '.join(step['cautions'])}." if step["cautions"] else ""
        said.append(f"To learn most: {step['adjustable']} {path}{_unit(step['unit'])}, there and back.{minding}")
    return said


def _alarm(alarm: Mapping[str, Any]) -> str:
    return f"{alarm_name(alarm['channel'], alarm['condition'])} in run {alarm['run']} ({alarm['action']})"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
