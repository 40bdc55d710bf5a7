"""What it takes to load and replay a long history: a year of a hundred vessels in one command.

    uv run python tests/benchmarks/year.py [--vessels N] [--days N] [--folder DIR] [--pattern DIR] [--kill-after S]

A few simulated vessels over some weeks are the pattern; copies of them, the weeks one after the other, make the
field, an export for each day. Then `flows/replay.py` runs over all nights but the first week's, as somebody would
type it. With --kill-after it is killed after so many seconds and goes on with --resume.
"""

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

import polars as pl

from nightgauge.simulate import random_fleet, simulate_field

FLOW = Path(__file__).parents[2] / "flows" / "replay.py"
PATTERN_VESSELS, PATTERN_DAYS, SEED = 4, 42, 77
LAST = date(2026, 5, 18)
WARM_UP = timedelta(days=7)
"""Days before the first night."""


def make_pattern(folder: Path) -> None:
    """Simulate the few vessels that are copied."""
    simulate_field(folder, random_fleet(PATTERN_VESSELS, PATTERN_DAYS, SEED))


def copied(text: str, copy: int) -> str:
    """Return the tables or rows of a field folder for one copy of its vessels."""
    for vessel in range(1, PATTERN_VESSELS + 1):
        text = text.replace(f"V-{vessel:03d}", f"C{copy:03d}-{vessel:03d}")
    return text


def make_field(folder: Path, pattern: Path, vessels: int, days: int) -> int:
    """Write a field of copies; return the samples in its exports."""
    copies = -(-vessels // PATTERN_VESSELS)
    (folder / "streams").mkdir(parents=True)
    head, tables = (pattern / "field.toml").read_text().split("\n[[vessel]]", 1)
    toml = [head, *("[[vessel]]" + copied(tables, copy) for copy in range(copies))]
    (folder / "field.toml").write_text("\n".join(toml))
    header, *rows = (pattern / "tags.csv").read_text().splitlines()
    tags = [f"C{copy:03d}." + copied(row, copy) for copy in range(copies) for row in rows]
    (folder / "tags.csv").write_text("\n".join([header, *tags]) + "\n")
    sources = sorted((pattern / "streams").rglob("*.parquet"))
    first = LAST - timedelta(days=days)
    names = pl.DataFrame({"copy": [f"C{copy:03d}." for copy in range(copies)]})
    samples = 0
    for number in range(days):
        source = pl.read_parquet(sources[number % len(sources)])
        day = first + timedelta(days=number)
        shift = day - date.fromisoformat(_day_of(sources[number % len(sources)]))
        rows_of_day = source.with_columns(pl.col("timestamp") + shift).join(names, how="cross")
        rows_of_day = rows_of_day.with_columns(tag=pl.col("copy") + pl.col("tag")).drop("copy")
        rows_of_day.write_parquet(folder / "streams" / f"{day.isoformat()}.parquet")
        samples += rows_of_day.height
    return samples


def _day_of(path: Path) -> str:
    digits = path.stem.rsplit("_", 1)[1]
    return f"{digits[:4]}-{digits[4:6]}-{digits[6:]}"


def replay(folder: Path, days: int, kill_after: float | None) -> None:
    """Run the flow over the nights, once more with --resume if it is to be killed."""
    first = LAST - timedelta(days=days) + WARM_UP
    command = [sys.executable, str(FLOW), str(folder / "field.toml"), "--from", str(first), "--to", str(LAST)]
    if kill_after is not None:
        with subprocess.Popen(command) as running:
            try:
                running.wait(kill_after)
            except subprocess.TimeoutExpired:
                running.kill()
        command.append("--resume")
    subprocess.run(command, check=True)


def run(vessels: int, days: int, folder: Path, pattern: Path, kill_after: float | None = None) -> dict[str, float]:
    """Return samples, wall and processor seconds, and the peak memory [MiB] of the dearest process."""
    if not (pattern / "field.toml").exists():
        make_pattern(pattern)
    samples = make_field(folder, pattern, vessels, days)
    begun, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    replay(folder, days, kill_after)
    wall, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    size = (folder / "nightgauge.duckdb").stat().st_size / 2**20
    return {"samples": samples, "wall": wall, "processor": used, "peak": after.ru_maxrss / 1024, "database": size}


def main() -> None:
    """Print the figures that the command line asks for."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--vessels", type=int, default=100)
    asked.add_argument("--days", type=int, default=365)
    asked.add_argument("--folder", type=Path, help="make the field here and keep it; must not exist")
    asked.add_argument("--pattern", type=Path, help="the simulated vessels are here, or are made here")
    asked.add_argument("--kill-after", type=float, help="kill the replay after so many seconds, then go on")
    chosen = asked.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder, pattern = chosen.folder or Path(made) / "field", chosen.pattern or Path(made) / "pattern"
        told = run(chosen.vessels, chosen.days, folder, pattern, chosen.kill_after)
    for name, figure in told.items():
        sys.stdout.write(f"{name:12s} {figure:16,.1f}\n")


if __name__ == "__main__":
    main()
