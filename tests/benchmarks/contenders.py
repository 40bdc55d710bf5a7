"""Nights started at once on one field while others read it: who may not run is told, and nothing is lost or doubled.

    uv run python tests/benchmarks/contenders.py [--nights 10] [--readers 3]

Half of the nights end at once where another runs, half wait. Readers ask for what commands ask for, over and over.
"""

import argparse
import os
import sys
import tempfile
from collections import Counter
from importlib import import_module
from multiprocessing.connection import Connection
from pathlib import Path

import kills

from nightgauge.errors import StoreBusy, StoreMissing
from nightgauge.field.read import read_field
from nightgauge.store import Store

WAIT_S = 300.0
PAUSE_S = 0.5
"""Between two readings of one reader: who reads without a pause keeps every writer out, which nobody does by hand."""


def run_night(toml: str, wait_s: float, told: Connection) -> None:
    """Run a night in this process; tell how it ended."""
    nightly = import_module("nightly")
    nightly.clock = lambda: kills.CLOCK
    with open(os.devnull, "w", encoding="utf-8") as sys.stdout:  # noqa: PTH123
        try:
            code = nightly.nightly.fn(Path(toml), kills.LAST, wait_s, with_server=False)
            told.send(("ended", str(code)))
        except StoreBusy as error:
            told.send(("busy", str(error)))


def read(toml: str, told: Connection) -> None:
    """Read until somebody speaks; tell how often what was read was whole, and what was not."""
    store = Store(read_field(Path(toml)).database)
    seen: Counter[str] = Counter()
    while not told.poll(PAUSE_S):
        try:
            with store.reading() as reader:
                files, held = reader.source_files(), sum(piece.height for piece in reader._home.everything())
            loaded = int((files["rows_stored"] - files["rows_overwrote"]).sum())
            seen["whole" if held == loaded else f"{held} samples of {loaded}"] += 1
        except StoreMissing:
            seen["none yet"] += 1
    told.send(dict(seen))


def run(nights: int, readers: int, folder: Path) -> tuple[list[tuple[str, str]], list[dict[str, int]]]:
    """Return how the nights ended, and what the readers saw; raise where what is left is not as one night leaves it."""
    context = kills.forkserver()
    kills.make_field(folder / "field", "duckdb")
    kills.add_later(folder / "field")
    toml = str(folder / "field" / "field.toml")
    ends = [context.Pipe() for _ in range(nights + readers)]
    processes = [
        context.Process(target=run_night, args=(toml, WAIT_S * (number % 2), theirs), daemon=True)
        for number, (_, theirs) in enumerate(ends[:nights])
    ]
    processes += [context.Process(target=read, args=(toml, theirs), daemon=True) for _, theirs in ends[nights:]]
    for process in processes:
        process.start()
    for _, theirs in ends:
        theirs.close()
    ended = [ours.recv() for ours, _ in ends[:nights]]
    for ours, _ in ends[nights:]:
        ours.send("enough")
    seen = [ours.recv() for ours, _ in ends[nights:]]
    for process in processes:
        process.join()
    kills.complain_if_half(folder / "field")
    _complain_unless_alone(folder, toml)
    return ended, seen


def _complain_unless_alone(folder: Path, toml: str) -> None:
    """Complain where the database is not that of one night alone."""
    found = kills.contents(folder / "field")
    read_field(Path(toml)).database.unlink()
    context = kills.forkserver()
    hear, told = context.Pipe(duplex=False)
    process = context.Process(target=run_night, args=(toml, 0.0, told))
    process.start()
    process.join()
    if hear.recv() != ("ended", "0"):
        raise AssertionError("one night alone does not end well")
    kills.compare(kills.contents(folder / "field"), found)


def main() -> None:
    """Run what the command line asks for."""
    made = argparse.ArgumentParser(description="Start nights at once on one field while others read it.")
    made.add_argument("--nights", type=int, default=10)
    made.add_argument("--readers", type=int, default=3)
    asked = made.parse_args()
    with tempfile.TemporaryDirectory() as name:
        ended, seen = run(asked.nights, asked.readers, Path(name))
    sys.stdout.write("".join(f"{how}: {what}\n" for how, what in ended) + f"readers saw {seen}\n")


if __name__ == "__main__":
    import_module("contenders").main()  # by its name, so that what is sent to processes is found there
