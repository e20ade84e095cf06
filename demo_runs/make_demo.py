"""Write the demo runs: ``python demo_runs/make_demo.py [FOLDER]`` (this folder when none is given).

The same bytes every time, on any Python from 3.11 on; nothing beyond the standard library is needed.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import crew
import truth
import writers
from garage import CARS
from layouts import logger_files
from running import RanDay, run_season
from season import TRACKS

TOML_SHEETS = {("heron", "2031-04-12", 7), ("heron", "2031-04-26", 4), ("wigeon", "2031-06-22", 7)}


def day_files(day: RanDay) -> dict[str, bytes]:
    """Return slips, air and changes of a day, by path."""
    folder = f"pits/{day.day.date}"
    in_toml = [run for run in day.runs if (run.car.name, str(day.day.date), run.number) in TOML_SHEETS]
    texts = {"slips.csv": writers.slips(day), "air.csv": writers.air(day)}
    words = crew.said(day)
    if words is not None:
        texts["crew.jsonl"] = words
    changed = writers.changes(day, skip=[run.number for run in in_toml])
    if changed is not None:
        texts["changes.csv"] = changed
    texts |= {f"changes_run_{run.number}.toml": writers.toml_changes(run) for run in in_toml}
    return {f"{folder}/{name}": text.encode() for name, text in texts.items()}


def build() -> dict[str, bytes]:
    """Return every generated file by its path inside the folder."""
    season = run_season()
    files = {f"tracks/{track.name}.toml": writers.track_file(track).encode() for track in TRACKS.values()}
    for car in CARS:
        files[f"cars/{car.name}.toml"] = writers.car_file(car).encode()
        files[f"sheets/{car.name}_baseline.csv"] = writers.baseline(car).encode()
    for day in season:
        files |= day_files(day)
    logs, facts = logger_files(season)
    files |= logs
    text = json.dumps(truth.all_truth(season, facts), indent=1, ensure_ascii=False)
    files["truth.json"] = (text + "\n").encode()
    return files


def main(folder: Path) -> None:
    for name, content in build().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent)
