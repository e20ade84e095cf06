"""What one step is worth here and across cars, by hand; and the same in the commands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runlog.workflows.lessons.worth import worth_content

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Season


def own(adjustable: str, mean: float, *, moved: bool = True, to_ft: int = 1320) -> dict[str, Any]:
    made = {"from": 1.0, "to": 2.0} if moved else None
    return {
        "adjustable": adjustable, "unit": "psi", "step": 0.5, "from_ft": 0, "to_ft": to_ft, "mean_s": mean,
        "lo90_s": mean - 0.01, "hi90_s": mean + 0.01, "verdict": "cannot_tell", "change_made": made,
    }  # fmt: skip


def fleet(adjustable: str, mean: float, cars: int, step: float = 0.5) -> dict[str, Any]:
    tried = {"cars_tried": [f"car{n}" for n in range(cars)], "between_cars_s": 0.004, "step": step}
    return {**own(adjustable, mean), **tried}


def test_a_step_stands_beside_the_same_step_of_other_cars() -> None:
    rows = worth_content(
        [own("a", 0.1, to_ft=60), own("a", 0.2), own("b", 0.3, moved=False), own("c", 0.4, moved=False)],
        [fleet("a", -0.1, 2), fleet("b", -0.2, 1), fleet("c", -0.3, 0)],
    )
    assert [(row["adjustable"], row["cars_tried"]) for row in rows] == [("a", 2), ("b", 1)]
    assert rows[0]["here"]["mean_s"] == 0.2, "on the elapsed time, not to 60 ft"
    assert rows[0]["across"]["mean_s"] == -0.1
    assert rows[1]["here"] is None, "not tried here: nothing is claimed of this car"


def test_another_step_is_not_set_beside() -> None:
    assert worth_content([own("a", 0.1)], [fleet("a", -0.1, 2, step=1.0)])[0]["across"] is None


def test_season_and_fleet_say_the_same(season: Season) -> None:
    """Identity: the figures of the season page are those of effects and of fleet, whichever car is looked at."""
    fleet_rows = {
        (row["adjustable"], row["unit"], row["step"]): row
        for row in season.json("fleet")["effects"]
        if row["from_ft"] == 0 and row["to_ft"] == 1320
    }
    for car in ("heron", "curlew"):
        effects = [row for row in season.json("effects", "--car", car)["effects"] if row["from_ft"] == 0]
        whole = {row["adjustable"]: row for row in effects if row["to_ft"] == max(item["to_ft"] for item in effects)}
        rows = season.json("season", car)["worth"]
        assert any(row["here"] and row["across"] for row in rows)
        for row in rows:
            if row["here"]:
                assert row["here"]["mean_s"] == whole[row["adjustable"]]["mean_s"]
            if row["across"]:
                assert row["across"]["mean_s"] == fleet_rows[row["adjustable"], row["unit"], row["step"]]["mean_s"]


def test_the_document_of_a_season_names_no_other_car(season: Season, tmp_path: Path) -> None:
    path = tmp_path / "season.html"
    done = season.run("season", "heron", "--html", str(path))
    assert done.code == 0
    assert f"season of heron written to {path}" in done.err
    own_words = path.read_text(encoding="utf-8").partition("<script>")[0].lower()
    assert "heron" in own_words
    assert not [name for name in ("curlew", "dunlin", "plover", "wigeon") if name in own_words]
