"""The effects page on the terminal."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

from runlog.reports.amounts import amount, change, path, setting
from runlog.reports.console import add_row, bullets, console, heading, line, number, table
from runlog.reports.learned import spread_table, verdict_text
from runlog.reports.shown import length
from runlog.reports.words import interval, probability

if TYPE_CHECKING:
    from rich.console import Console


def print_effects(page: dict[str, Any], *, with_next: bool = True) -> None:
    """Print what each change did to a car; ``with_next``: and which changes are still open."""
    out = console()
    left_out = page["runs_left_out"]
    days = "1 day" if page["days"] == 1 else f"{page['days']} days"
    day = "" if page["day"] is None else f" on {page['day']} alone"
    out.print(line((f"{page['car']}: what each change did{day}", "bold")))
    out.print(line(f"{page['runs_used']} runs on {days}; a negative effect is quicker; 90 % intervals"))
    if left_out:
        out.print(line("left out: ", "; ".join(f"{item['key']} ({item['why']})" for item in left_out)))
    for key in page["suspects"]:
        out.print(line(f"? {key} looks spoiled though nobody marked it"))
    if page["priors_too_narrow"]:
        out.print(line("? these runs disagree with what was expected of the changes: intervals are widened"))
    out.print()
    tried = [row for row in page["effects"] if row["change_made"]]
    lost = {item["adjustable"]: item["settings"] for item in page["lost_runs"]}
    for name, rows in groupby(tried, key=lambda row: row["adjustable"]):
        _adjustable(out, name, list(rows), lost.get(name, []))
    unmoved = {row["adjustable"] for row in page["effects"]} - {row["adjustable"] for row in tried}
    if unmoved:
        out.print(line("not tried: ", ", ".join(sorted(unmoved))))
    bullets(out, [item["text"] for item in page["on_the_clock"]], "!")
    _repeatability(out, page["repeatability"])
    if with_next:
        print_next(out, page["next"], page["next_held"])


def _adjustable(out: Console, name: str, rows: list[dict[str, Any]], lost: list[dict[str, Any]]) -> None:
    whole = [row for row in rows if row["from_ft"] == 0 and row["to_ft"] > 60]
    made = whole[-1]["change_made"] if whole else rows[0]["change_made"]
    first = rows[0]
    out.print(
        line(
            (f"{name} {change(made['from'], made['to'], first['unit'])}", "bold"),
            f"   baseline {setting(first['baseline'], first['unit'])}",
        )
    )
    listed = table("where", "effect of the change", "helps", "verdict")
    listed.columns[3].justify = "left"
    listed.columns[3].no_wrap = False
    for row in rows:
        moved = row["change_made"]
        if moved is None:
            continue
        where = f"{row['from_ft']}–{row['to_ft']} ft"
        verdict = verdict_text(moved["verdict"], {**row, "note": moved["note"]})
        add_row(listed, [where, interval(moved), probability(moved["probability_helps"]), verdict])
    out.print(listed)
    bullets(out, [_rests_on(rows, made["from"])], " ")
    moved = _moved(rows[-1])
    if moved:
        bullets(out, [moved], " ")
    for row in rows[-1:]:
        if row["together"] and row["together_mean_s"] is not None:
            names = " and ".join(part["adjustable"] for part in row["together"])
            low, high = (number(row[end], 3, sign=True) for end in ("together_lo90_s", "together_hi90_s"))
            mean = number(row["together_mean_s"], 3, sign=True)
            out.print(line(f"  {names} together, one step: {mean} [{low}, {high}]"))
        if row["confounded_with_day"]:
            bullets(out, ["changed once and left, or mostly between days: hard to tell from the day"], " ")
    notes = dict.fromkeys(
        row["change_made"]["note"] for row in rows if row["change_made"] and row["change_made"]["note"]
    )
    bullets(out, list(notes), "?")
    if any(item["spoiled"] for item in lost):
        said = "; ".join(f"{setting(item['setting'], first['unit'])}: {_lost_words(item)}" for item in lost)
        bullets(out, [f"lost by the car itself, with the rate: {said}"], " ")
    if first["cautions"]:
        bullets(out, ["; ".join(first["cautions"])], "!")
    out.print()


def _rests_on(rows: list[dict[str, Any]], start: float | str) -> str:
    """Return how many runs speak of a change on either side, and how much of what is said was assumed before them."""
    row = rows[-1]
    # short hits speak of the first increments only
    here, away = max((place["runs_each_side"] for place in rows), key=sum)
    learned = f"{row['share_learned']:.0%}".replace("%", " %")
    at = setting(start, row["unit"])
    return (
        f"{here} run{'' if here == 1 else 's'} at {at}, {away} elsewhere: {learned} learned from them to "
        f"{row['to_ft']} ft, the rest assumed ({row['prior_origin']})"
    )


def _moved(row: dict[str, Any]) -> str:
    """Return what the change did to the car, through which it acts, in a sentence; empty where that isn't known."""
    made, geometry = row["change_made"], row["geometry"]
    if made is None:
        return ""
    said = [f"{part['quantity']} {number(part['amount'], 2, sign=True)} {part['unit']}" for part in row["through"]]
    if geometry is not None:
        x, z, share = (geometry[name] for name in ("instant_centre_x_m", "instant_centre_z_m", "anti_squat_pct"))
        said = [f"anti-squat {number(share['from'], 0)} → {number(share['to'], 0)} %"]
        if None not in (*x.values(), *z.values()):
            ahead, up = (f"{length(place['from'], 1)} → {length(place['to'], 1)}" for place in (x, z))
            said.append(f"instant centre {ahead} ahead of the axle, {up} up")
    return f"through {'; '.join(said)}" if said else ""


def _lost_words(item: dict[str, Any]) -> str:
    rate = f"{item['rate']:.0%} [{item['lo90']:.0%}, {item['hi90']:.0%}]".replace("%", " %")
    return f"{item['spoiled']} of {item['runs']}, {rate}"


def _repeatability(out: Console, rows: list[dict[str, Any]]) -> None:
    out.print(heading("Repeatability: spread of the same setup on the same day"))
    out.print(spread_table("increment", rows, " ft"))
    out.print()


def print_next(out: Console, steps: list[dict[str, Any]], held: list[str]) -> None:
    """Print what to try next to learn most."""
    out.print(heading("What to try next, to learn most"))
    bullets(out, held, "✗", as_said=True)
    if not steps and not held:
        out.print(line("Nothing tried so far is open: what was changed is settled."))
    for n, step in enumerate(steps, 1):
        runs = f", about {step['runs_needed']} runs" if step["runs_needed"] else ""
        out.print(
            line((f"{n}. {step['adjustable']}: {path(step['path'], step['unit'])}", "bold"), f" (there and back{runs})")
        )
        bullets(out, [step["why"], *(f"! {text}" for text in step["cautions"])], "  ")
    out.print(line(("An estimate, not permission: rules, makers' limits and licensed inspection come first.", "dim")))


def print_priors(page: dict[str, Any]) -> None:
    """Print what was assumed of one usual step before any run: mean ± sd."""
    out = console()
    out.print(heading("What was assumed of one usual step before any run: mean ± sd in thousandths of a second"))
    for prior in [*page["priors"], *page["shared"]]:
        step = f"one step of {amount(prior['step'], prior['unit'])}"
        bent = ", with a best setting inside the range" if prior["curved"] else ""
        bent += "".join(f"; through {part['quantity']}: {part['origin']}" for part in prior.get("through", ()))
        out.print(line((f"{prior['adjustable']}, {step}", "bold"), f"   from: {prior['origin']}{bent}"))
        parts = [
            f"{part['from_ft']}–{part['to_ft']}: {number(1000 * part['mean_s'], 1, sign=True)} ± "
            f"{number(1000 * part['sd_s'], 1)}"
            for part in prior["increments"]
        ]
        bends = [
            f"{number(1000 * part['curvature_mean_s'], 1, sign=True)} ± {number(1000 * part['curvature_sd_s'], 1)}"
            for part in prior["increments"]
            if part["curvature_sd_s"] is not None
        ]
        bullets(out, ["; ".join(parts), *([f"bend: {'; '.join(bends)}"] if bends else [])], " ")
    out.print(
        line(
            "A car file replaces them: prior_mean_s and prior_sd_s of an adjustable, and of the bend "
            "prior_curvature_mean_s and prior_curvature_sd_s."
        )
    )


def _scaled(one: dict[str, Any] | None, name: str, scale: float) -> float | None:
    return None if one is None or one[name] is None else scale * float(one[name])


def _nearer(places: list[dict[str, Any]]) -> list[str]:
    """Say where a plain tool foretold the days left out better than runlog did, and where nothing did."""
    worse, better = [], []
    for place in places:
        errors = {one["model"]: one["rms_error_s"] for one in place["models"] if one["rms_error_s"] is not None}
        own = errors.pop("runlog", None)
        if own is None or not errors:
            continue
        where, best = f"{place['from_ft']}–{place['to_ft']} ft", min(errors, key=lambda model: errors[model])
        if errors[best] < own:
            worse.append(f"{where} ({best} {number(1000 * errors[best], 1)} against {number(1000 * own, 1)})")
        else:
            better.append(where)
    said = [f"a plain tool came nearer than runlog on {', '.join(worse)}"] if worse else []
    return [*said, f"runlog came nearest on {', '.join(better)}"] if better else said


def print_backtest(page: dict[str, Any]) -> None:
    """Print how each model foretold the days that were left out."""
    out = console()
    out.print(line((f"{page['car']}: each of {page['days']} days foretold from the others", "bold")))
    out.print(line(f"{page['runs']} runs; the same runs, settings and air for all"))
    out.print()
    spans = [f"{place['from_ft']}–{place['to_ft']}" for place in page["places"]]
    models = dict.fromkeys(one["model"] for place in page["places"] for one in place["models"])
    for title, name, digits, scale in (
        ("Error, root mean square, in thousandths of a second", "rms_error_s", 1, 1000.0),
        ("The same within the day, its own level taken out: what the settings tell", "rms_within_day_s", 1, 1000.0),
        ("Runs inside the 90 % interval, per cent: 90 would be right", "covered90", 0, 100.0),
    ):
        out.print(heading(title))
        made = table("model", *spans)
        for model in models:
            found = [{one["model"]: one for one in place["models"]}.get(model) for place in page["places"]]
            add_row(made, [model, *(number(_scaled(one, name, scale), digits) for one in found)])
        out.print(made)
        out.print()
    bullets(out, _nearer(page["places"]), "?")
    out.print(
        line(
            "Plain tools as scikit-learn has them. Ridge, HuberRegressor and the mean tell no interval: theirs is made "
            "of their residuals. With few runs small differences say little."
        )
    )
