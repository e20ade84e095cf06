"""Write the pages that ``test_golden_pages.py`` compares with anew: ``python tests/end_to_end/refresh_pages.py``.

Look at the difference (``git diff tests/end_to_end/pages``) before keeping it: the pages are regression pins, made by
the program itself, and say only that nothing has changed unnoticed.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

PAGES = Path(__file__).parent / "pages"

COMMANDS = {
    "show_first_hit": "show heron/2031-04-12/1",
    "show_change": "show heron/2031-04-12/7",
    "show_spoiled": "show heron/2031-04-12/9",
    "show_alarm": "show heron/2031-04-12/10",
    "show_without_trace": "show curlew/2031-05-24/6",
    "runs": "runs --car heron",
    "compare": "compare heron/2031-04-12/5 heron/2031-04-12/7",
    "effects_curlew": "effects --car curlew",
    "effects_heron": "effects --car heron",
    "review": "review heron/2031-04-12",
    "review_of_season_end": "review heron/2031-06-07",
    "season": "season heron",
    "fleet": "fleet",
    "plot_increments": "plot increments heron/2031-04-12",
    "plot_traces": "plot traces heron/2031-04-12/7 heron/2031-04-12/10",
    "plot_effects": "plot effects heron",
    "air": "air --temperature 90F --humidity 60 --pressure 29.40inHg",
}


def page(command: str, folder: Path) -> str:
    """Return what a command prints in 80 columns without colour, blanks at the ends of lines left out."""
    env = {name: value for name, value in os.environ.items() if not name.startswith("RUNLOG")}
    done = subprocess.run(
        [Path(sys.executable).with_name("runlog"), *command.split()],
        cwd=folder,
        env={**env, "COLUMNS": "80", "NO_COLOR": "1", "PYTHONUTF8": "1"},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=True,
    )
    return "".join(f"{line.rstrip()}\n" for line in done.stdout.splitlines())


def main() -> None:
    """Make the demo logbook and write every page."""
    PAGES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        page("demo", folder)
        for stem, command in COMMANDS.items():
            (PAGES / f"{stem}.txt").write_text(page(command, folder), encoding="utf-8")
            print(f"{stem}.txt: runlog {command}")


if __name__ == "__main__":
    main()
