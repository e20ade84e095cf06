"""Measure the program: ``python tests/bench/run.py [--quick] [NAME…]``. Figures go to stdout; nothing is kept.

Ratios are of pairs taken in turn (A B A B …) on the same machine, so that they mean something on another; times in
seconds hold only for the machine that took them. Nothing here is part of the test suite.
"""

from __future__ import annotations

import argparse
import os
import platform
import tempfile
from pathlib import Path

import big_file
import bulk
import importing
import lake
import learning
import physics
import reviewing
import starting
from timing import HEADER

BENCHES = {
    "help": starting.help_page,
    "show": starting.show,
    "effects": starting.effects,
    "import": importing.one_log,
    "big": big_file.big_file,
    "bulk": bulk.imports,
    "layout": bulk.layouts,
    "physics": physics.simulation,
    "learn": learning.car,
    "fleets": learning.fleets,
    "mixed": learning.against_mixed_model,
    "lake": lake.lakes,
    "review": reviewing.review,
}


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("names", nargs="*", metavar="NAME", help=f"which to run: {', '.join(BENCHES)}; all by default")
    options.add_argument("--quick", action="store_true", help="fewer repeats")
    options.add_argument("--number", type=int, help="how many imports bulk and layout make")
    chosen = options.parse_args()
    unknown = set(chosen.names) - set(BENCHES)
    if unknown:
        options.error(f"no bench {', '.join(sorted(unknown))}; there are: {', '.join(BENCHES)}")
    if chosen.number:
        bulk.NUMBER = chosen.number
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores, load {load:.1f} before the start")
    print(HEADER)
    for name in chosen.names or BENCHES:
        with tempfile.TemporaryDirectory(prefix="runlog-bench-") as folder:
            for line in BENCHES[name](Path(folder), chosen.quick):
                print(line, flush=True)


if __name__ == "__main__":
    main()
