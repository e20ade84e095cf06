"""The learning without a logbook: the guide's example runs as it is printed, and frames say the same as arrays."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from runlog.learning import Lever, runs_from_frame

GUIDE = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
LEVER = Lever("launch rpm", 200.0, "rpm", np.zeros(5), np.full(5, 0.01))


def test_the_example_of_the_guide_runs(capsys):
    (block,) = re.findall(r"## Learning without a logbook.*?```python\n(.*?)```", GUIDE.read_text("utf-8"), re.S)
    names = {}
    exec(compile(block, str(GUIDE), "exec"), names)
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("helped -0.0")  # 200 rpm more were 20 to 25 ms quicker in every pair of the example
    assert re.fullmatch(r"3\.8\d\d ± 0\.0\d\d s to 330 ft", said[1])
    assert names["new_car"][0].origin == "fleet of 1 car"
    assert 1 <= len(names["steps"]) <= 4


def test_a_frame_is_the_arrays_it_stands_for():
    frame = pl.DataFrame(
        {"key": ["a", "b"], "day": ["2031-05-03", "2031-04-12"], "hour": [9.0, 10.0], "t60_s": [1.4, 1.5],
         "t330_s": [3.9, None], "launch rpm": [4400, None], "driver": ["Ann", "Bo"]}
    )  # fmt: skip
    runs = runs_from_frame(frame, [LEVER], {"launch rpm": 4200}, ["driver"])
    assert runs.times[0, :2].tolist() == pytest.approx([1.4, 2.5])
    assert np.isnan(runs.times[:, 2:]).all()
    assert np.isnan(runs.times[1, 1])
    assert runs.settings.tolist() == [[1.0], [0.0]]
    assert runs.day.tolist() == [1, 0]
    assert runs.nuisances["driver"].tolist() == [-0.5, 0.5]


def test_what_is_missing_is_named():
    with pytest.raises(ValueError, match="missing: day, hour, a baseline of launch rpm"):
        runs_from_frame(pl.DataFrame({"key": ["a"]}), [LEVER], {})
