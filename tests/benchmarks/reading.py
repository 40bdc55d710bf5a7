"""How long exports take into the store, beside what the engines take that only load the same file.

    uv run python tests/benchmarks/reading.py [--form long parquet wide] [--rows N] [--runs N] [--folder DIR]

One day of vessels with ten signals every five seconds, as a historian writes it: time by time. Our time is that of
`read_exports`, the path that `flows/nightly.py` takes: judged, converted, sorted, merged, on disk and queryable when
the clock stops. Beside it, in turn and on the same file: DuckDB's own load into a typed and sorted table with nothing
judged, and Polars reading the Parquet file into memory. Each runs in a process of its own, which tells its peak.
"""

import argparse
import multiprocessing
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import duckdb
import numpy as np
import polars as pl

from nightgauge.field.read import read_field
from nightgauge.pipeline.reading import read_exports
from nightgauge.store import Store

SIGNALS = {
    "PT": ("vessel_pressure", "psig", 45.0),
    "PIT": ("inlet_pressure", "psig", 48.0),
    "LIT": ("interface_level", "in", 44.0),
    "LT": ("oil_level", "in", 66.0),
    "ZS": ("water_dump_open", "", 0.0),
    "FI": ("water_rate", "bbl/day", 3200.0),
    "FIO": ("oil_rate", "bbl/day", 410.0),
    "FIG": ("gas_rate", "Mcf/day", 310.0),
    "AI": ("oil_water_cut", "%", 2.0),
    "TT": ("temperature", "degF", 95.0),
}
START = datetime(2026, 5, 17, tzinfo=UTC)
PERIOD = timedelta(seconds=5)
CHUNK = 200
"""Times written at once."""


def make_field(folder: Path, vessels: int) -> list[str]:
    """Write a field folder without exports; return its tags."""
    ids = [f"QB-{number:04d}" for number in range(vessels)]
    tables = "".join(f'\n[[vessel]]\nid = "{vessel}"\nservice = "separator"\n' for vessel in ids)
    head = 'name = "Bench"\ntime_zone = "America/Denver"\ntags = "tags.csv"\nstreams = ["streams/*"]\n'
    (folder / "streams").mkdir(parents=True)
    (folder / "field.toml").write_text(head + tables)
    rows = [
        (f"{vessel}.{letters}-{100 + place}.PV", vessel, signal, unit)
        for vessel in ids
        for place, (letters, (signal, unit, _)) in enumerate(SIGNALS.items())
    ]
    lines = [",".join(row) for row in rows]
    (folder / "tags.csv").write_text("\n".join(["tag,vessel,signal,unit", *lines]) + "\n")
    return [tag for tag, *_ in rows]


def chunks(tags: list[str], times: int) -> "list[tuple[int, int]]":
    """Return the first and the number of times of each piece of an export."""
    return [(first, min(CHUNK, times - first)) for first in range(0, times, CHUNK)]


def values(tags: list[str], times: int, rng: np.random.Generator) -> np.ndarray:
    """Return (times, tags) readings; switches are 0 and 1."""
    middle = np.array([value for _, _, value in SIGNALS.values()] * (len(tags) // len(SIGNALS)))
    made = np.round(rng.normal(middle, np.maximum(middle, 1) * 0.02, (times, len(tags))), 3)
    switches = middle == 0.0
    made[:, switches] = rng.random((times, int(switches.sum()))) < 0.1
    return made


def stamps(first: int, count: int) -> pl.Series:
    """Return times as a historian writes them."""
    start = pl.Series([START + first * PERIOD]).dt.epoch("us")[0]
    step = PERIOD // timedelta(microseconds=1)
    return pl.Series("timestamp", start + np.arange(count) * step).cast(pl.Datetime("us", "UTC"))


def long_rows(tags: list[str], first: int, count: int, rng: np.random.Generator) -> pl.DataFrame:
    """Return one row per sample, time by time."""
    return pl.DataFrame(
        {
            "tag": pl.Series(tags).gather(np.tile(np.arange(len(tags)), count)),
            "timestamp": stamps(first, count).gather(np.repeat(np.arange(count), len(tags))),
            "value": values(tags, count, rng).ravel(),
            "quality": pl.Series(["Good"]).new_from_index(0, len(tags) * count),
        }
    )


def write_long(path: Path, tags: list[str], times: int) -> None:
    """Write a long CSV export."""
    rng = np.random.default_rng(1)
    text = pl.col("timestamp").dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    with path.open("wb") as file:
        for number, (first, count) in enumerate(chunks(tags, times)):
            long_rows(tags, first, count, rng).with_columns(text).write_csv(file, include_header=number == 0)


def write_wide(path: Path, tags: list[str], times: int) -> None:
    """Write a wide CSV export."""
    rng = np.random.default_rng(1)
    with path.open("wb") as file:
        for number, (first, count) in enumerate(chunks(tags, times)):
            cells = pl.DataFrame(values(tags, count, rng), schema=tags)
            text = stamps(first, count).dt.strftime("%Y-%m-%dT%H:%M:%SZ")
            cells.insert_column(0, text).write_csv(file, include_header=number == 0)


def write_parquet(path: Path, tags: list[str], times: int) -> None:
    """Write a long Parquet export."""
    rng = np.random.default_rng(1)
    pl.concat(long_rows(tags, first, count, rng) for first, count in chunks(tags, times)).write_parquet(path)


WRITERS = {"long": (write_long, "csv"), "wide": (write_wide, "csv"), "parquet": (write_parquet, "parquet")}


def ours(folder: Path, export: Path) -> int:
    """Read the field's exports into a new store; return the samples stored."""
    field, database = read_field(folder / "field.toml"), folder / "ours.duckdb"
    database.unlink(missing_ok=True)
    report = read_exports(field, Store(database), lambda: datetime.now(UTC))
    return report.rows("rows_stored")


def engine(folder: Path, export: Path) -> int:
    """Load an export with DuckDB alone into a typed and sorted table; return the rows stored."""
    database = folder / "engine.duckdb"
    database.unlink(missing_ok=True)
    with duckdb.connect(str(database)) as con:
        con.execute("SET TimeZone = 'UTC'")
        con.execute("SET enable_progress_bar = false")
        con.execute(f"CREATE TABLE sample AS SELECT * FROM ({_source(export)}) ORDER BY tag, time_utc")
        counted = con.execute("SELECT count(*) FROM sample").fetchone()
    return counted[0] if counted else 0


def _source(export: Path) -> str:
    if export.suffix == ".parquet":
        return f"SELECT tag, timestamp AS time_utc, value, quality FROM read_parquet('{export}')"
    with export.open() as file:
        names = file.readline().strip().split(",")
    is_long = names[:2] == ["tag", "timestamp"]
    kinds = dict(zip(names, ["VARCHAR", "TIMESTAMPTZ", "DOUBLE", "VARCHAR"], strict=False))
    if not is_long:
        kinds = {name: "DOUBLE" if place else "TIMESTAMPTZ" for place, name in enumerate(names)}
    dialect = "header = true, delim = ',', quote = '\"', escape = '\"', auto_detect = false"
    rows = f"read_csv('{export}', columns = {kinds}, {dialect})"
    if is_long:
        return f"SELECT tag, timestamp AS time_utc, value, quality FROM {rows}"
    cells = f"UNPIVOT {rows} ON * EXCLUDE (timestamp) INTO NAME tag VALUE value"
    return f"SELECT tag, timestamp AS time_utc, value FROM ({cells})"


def in_memory(folder: Path, export: Path) -> int:
    """Read a Parquet export into memory with Polars; return its rows."""
    return pl.read_parquet(export).height


CONTENDERS: dict[str, Callable[[Path, Path], int]] = {"ours": ours, "engine": engine, "polars": in_memory}


def measured(name: str, folder: Path, export: Path) -> dict[str, float]:
    """Return rows, wall and processor seconds and the peak memory [MiB] of one run in a process of its own."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(_measure, (name, folder, export))


def _measure(name: str, folder: Path, export: Path) -> dict[str, float]:
    before, begun = resource.getrusage(resource.RUSAGE_SELF), time.perf_counter()
    rows = CONTENDERS[name](folder, export)
    wall, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_SELF)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return {"rows": rows, "wall": wall, "processor": used, "peak": after.ru_maxrss / 1024}


def run(form: str, rows: int, runs: int, folder: Path) -> dict[str, float]:
    """Return the medians of one form of export by contender and figure, and our ratios to the engine's.

    Parameters
    ----------
    form : str
        long, wide or parquet.
    rows : int
        Samples in the export, about.
    runs : int
        Runs of each contender, in turn.
    folder : Path
        Where the field is made; an export that is there already is used again.

    """
    vessels = max(min(200, rows // 1000), 1)
    folder = folder / f"{form}-{rows}"
    write, suffix = WRITERS[form]
    export = folder / "streams" / f"export.{suffix}"
    if not export.exists():
        write(export, make_field(folder, vessels), max(rows // (vessels * len(SIGNALS)), 1))
    names = ["ours", "engine"] + ["polars"] * (form == "parquet")
    taken = [{name: measured(name, folder, export) for name in names} for _ in range(runs)]
    told = {
        f"{name} {figure}": statistics.median(one[name][figure] for one in taken)
        for name in names
        for figure in ("rows", "wall", "processor", "peak")
    }
    for figure in ("wall", "processor"):
        told[f"{figure} ratio"] = statistics.median(one["ours"][figure] / one["engine"][figure] for one in taken)
    return told


def main() -> None:
    """Print the figures that the command line asks for."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--form", nargs="+", choices=list(WRITERS), default=list(WRITERS))
    asked.add_argument("--rows", type=int, default=20_000_000)
    asked.add_argument("--runs", type=int, default=3)
    asked.add_argument("--folder", type=Path, help="keep the exports here for another time")
    chosen = asked.parse_args()
    with tempfile.TemporaryDirectory() as made:
        for form in chosen.form:
            sys.stdout.write(f"{form}, {chosen.rows:,} rows\n")
            for name, figure in run(form, chosen.rows, chosen.runs, chosen.folder or Path(made)).items():
                sys.stdout.write(f"    {name:20s} {figure:14,.2f}\n")


if __name__ == "__main__":
    main()
