"""Coverage-guided fuzzing of everything that reads bytes from outside.

    python tests/fuzz/readers.py CORPUS [SECONDS]

Needs ``pip install atheris``, which isn't among the packages for development since it has no build for every system.
The first byte chooses the kind of file, the rest is the file. Anything but records, or an error of the program's own,
is a fault: it is written to the working folder as ``crash-…``. Names that end in a compressed form are tried too, and
what a logger file holds is analysed as a run's trace would be.
"""

from __future__ import annotations

import importlib
import pkgutil
import sys
from pathlib import Path

import atheris

KINDS = ("car", "track", "sheet", "slips", "air", "map", "crew", "logger", "undo", "settle", "forecast", "plan", None)
DEMO = Path(__file__).parents[2] / "demo_runs"

with atheris.instrument_imports(include=["runlog"]):
    import runlog.readers

    # readers are loaded when they are needed; only what is loaded here is watched
    for found in pkgutil.iter_modules(runlog.readers.__path__, "runlog.readers."):
        importlib.import_module(found.name)
    from runlog.errors import RunlogError
    from runlog.readers import detect
    from runlog.readers.car import read_car
    from runlog.readers.track import read_track
    from runlog.records import Given, Samples
    from runlog.signals.analysis import analyse
    from runlog.workflows.intake import parsing
    from runlog.workflows.results.traced import setting_of

CAR = read_car((DEMO / "cars" / "heron.toml").read_bytes(), "heron.toml")
TRACK = read_track(next((DEMO / "tracks").glob("*.toml")).read_bytes(), "track.toml")
GIVEN = Given(car="heron", elevation=100.0)


def known() -> parsing.Known:
    """Return a logbook's knowledge of one car and its track."""
    return parsing.Known({CAR.name: CAR}, {TRACK.name: TRACK})


def one(data: bytes) -> None:
    """Read one input as a file."""
    if not data:
        return
    kind, content = KINDS[data[0] % len(KINDS)], data[1:]
    try:
        if kind is None:
            kind = detect.kind_of(content, "incoming.csv") or "logger"
        parsed = parsing.parse(kind, content, "incoming", GIVEN, known())
    except RunlogError:
        return
    if isinstance(parsed, parsing.Log):
        samples = {
            channel.canonical: Samples(channel.time, channel.values)
            for channel in parsed.file.channels
            if channel.canonical and channel.values.size < 20_000
        }
        analyse(samples, setting_of(CAR, TRACK))


def seeds(corpus: Path) -> None:
    """Begin an empty corpus with the files of the demo season, each cut to a length that is quick to read."""
    corpus.mkdir(parents=True, exist_ok=True)
    if any(corpus.iterdir()):
        return
    suffixes = {".csv", ".toml", ".txt", ".json", ".gz", ".zst", ".zip", ".parquet", ".log"}
    files = [file for file in sorted(DEMO.rglob("*")) if file.suffix in suffixes]
    for number, file in enumerate(files):
        content = file.read_bytes()[:3000]
        kind = detect.kind_of(content, file.name)
        place = KINDS.index(kind) if kind in KINDS else KINDS.index("logger")
        (corpus / f"seed{number:03d}").write_bytes(bytes([place]) + content)


def main() -> None:
    corpus, seconds = Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1800
    seeds(corpus)
    options = [
        sys.argv[0],
        str(corpus),
        f"-max_total_time={seconds}",
        "-max_len=6000",
        "-timeout=30",
        "-rss_limit_mb=3000",
    ]
    atheris.Setup(options, one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
