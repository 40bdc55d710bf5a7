"""The bench of the lake: landing, reading, size and handing out, each against the table of the database.

    uv run python tests/benchmarks/lake.py [--vessels 32] [--days 4] [--period-s 5] [--rounds 3] [--cluster]

Ten signals a vessel wander in steps of a transmitter's last digit. Each day is one export with all vessels, as parsed;
table and lake take turns, and the fastest of each counts. With `--cluster` two workers of this machine are started,
to see what handing out a group costs beside its work.
"""

import argparse
import pickle
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

sys.path.append(str(Path(__file__).parents[2] / "flows"))  # where it is not installed, as the flows themselves


import dask_workers
from nightgauge.field.settings import Field, TagRow, Vessel
from nightgauge.store import Store
from nightgauge.units import Conversion, conversion
from nightgauge.vocabulary.exports import EXPORT_QUARANTINE, EXPORT_SAMPLES, TAGS_SEEN, Export, ParsedExport
from nightgauge.vocabulary.frames import TIME
from nightgauge.vocabulary.signals import signal_of

START = datetime(2026, 5, 1, tzinfo=UTC)
SIGNALS = (
    ("vessel_pressure", "psig"), ("inlet_pressure", "psig"), ("interface_level", "in"), ("oil_level", "in"),
    ("water_total", "bbl"), ("oil_total", "bbl"), ("gas_rate", "Mcf/d"), ("temperature", "degF"),
    ("oil_downstream_pressure", "psig"), ("water_downstream_pressure", "psig"),
)  # fmt: skip
GROUP = 16
"""Vessels that are handed out together, as the night does."""


@dataclass
class Clocks:
    """The fastest of several runs of each thing, wall and processor."""

    wall_s: dict[str, float] = field(default_factory=dict)
    processor_s: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def running(self, what: str) -> Iterator[None]:
        """Time what stands in the block."""
        wall, processor = time.perf_counter(), _processor_s()
        yield
        spent = time.perf_counter() - wall, _processor_s() - processor
        self.wall_s[what] = min(self.wall_s.get(what, float("inf")), spent[0])
        self.processor_s[what] = min(self.processor_s.get(what, float("inf")), spent[1])


def _processor_s() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def run(vessels: int, days: int = 4, period_s: int = 5, rounds: int = 1, *, cluster: bool = False) -> dict[str, float]:
    """Return the figures by name with their unit."""
    clocks = Clocks()
    size: dict[str, int] = {}
    for _ in range(rounds):
        for kind in ("table", "lake"):
            with tempfile.TemporaryDirectory() as folder:
                field_, store = _laid(Path(folder), kind, vessels)
                _land_all(store, field_, days, period_s, Timed(clocks, kind))
                _read_all(store, field_, days, Timed(clocks, kind))
                size[kind] = _size_bytes(Path(folder))
                if kind == "lake" and cluster:
                    _hand_out(store, field_, days, clocks)
    samples = vessels * len(SIGNALS) * (86400 // period_s)
    figures = {"vessels": float(vessels), "samples_a_day": float(samples)}
    for kind in ("table", "lake"):
        figures |= {
            f"{kind}_landed_per_processor_s": samples / clocks.processor_s[f"{kind} landing"],
            f"{kind}_landed_per_s": samples / clocks.wall_s[f"{kind} landing"],
            f"{kind}_late_vessel_processor_s": clocks.processor_s[f"{kind} late"],
            f"{kind}_repeated_day_processor_s": clocks.processor_s[f"{kind} repeat"],
            f"{kind}_read_ms_per_vessel_day": 1e3 * clocks.wall_s[f"{kind} vessels"] / (vessels * days),
            f"{kind}_read_processor_ms_per_vessel_day": 1e3 * clocks.processor_s[f"{kind} vessels"] / (vessels * days),
            f"{kind}_bytes_per_sample": size[kind] / (samples * days),
        }
    return figures | {name: clocks.wall_s[name] for name in clocks.wall_s if name.startswith("dask")}


@dataclass(frozen=True)
class Timed:
    """Clocks of one home of the samples."""

    clocks: Clocks
    kind: str

    def __call__(self, what: str) -> AbstractContextManager[None]:
        """Time what stands in the block."""
        return self.clocks.running(f"{self.kind} {what}")


def _laid(folder: Path, kind: str, vessels: int) -> tuple[Field, Store]:
    tags = tuple(
        TagRow(f"{number}-{signal}", f"V-{number}", signal, unit, _conversion(signal, unit), 3600.0)
        for number in range(vessels)
        for signal, unit in SIGNALS
    )
    field_ = Field(
        path=folder / "field.toml", name="Bench", time_zone="UTC", tags=tags, streams=("*.csv",),
        vessels=tuple(Vessel(f"V-{number}", "separator") for number in range(vessels)),
        samples="lake" if kind == "lake" else "duckdb", lake=str(folder / "lake"),
    )  # fmt: skip
    store = Store(folder / "nightgauge.duckdb")
    with store.writing() as writer:
        writer.sync_home(field_)
        writer.sync_tags(field_, START)
        writer.sync_setup(field_)
    return field_, store


def _conversion(signal: str, unit: str) -> Conversion:
    return conversion(unit, signal_of(signal).dimension)


def _land_all(store: Store, field_: Field, days: int, period_s: int, timed: Timed) -> None:
    """Land the days in turn, then a vessel's day corrected late, then a day that is known already."""
    for day in range(days):
        parsed = _parsed(_day(field_, day, period_s))
        with timed("landing"):
            _land(store, f"day {day}", parsed)
    late = _day(field_, 0, period_s).filter(pl.col("tag_id") <= len(SIGNALS)).with_columns(pl.col("value") + 1.0)
    with timed("late"):
        _land(store, "late", _parsed(late))
    known = _parsed(_day(field_, days - 1, period_s))
    with timed("repeat"):
        _land(store, "repeat", known)


def _land(store: Store, name: str, parsed: ParsedExport) -> None:
    with store.writing() as writer:
        writer.land(Export(store.path, name, name, 0, START), parsed, START)


def _read_all(store: Store, field_: Field, days: int, timed: Timed) -> None:
    """Read every vessel's every day, four vessels at a time as deriving does."""
    names = [vessel.id for vessel in field_.vessels]
    with timed("vessels"), store.reading() as reader:
        for day in range(days):
            start = START + timedelta(days=day)
            for first in range(0, len(names), 4):
                reader.samples_of(names[first : first + 4], start, start + timedelta(days=1))


def _hand_out(store: Store, field_: Field, days: int, clocks: Clocks) -> None:
    """Time what a group costs beside its work: reading what to send, its size, and the way there and back."""
    names = [vessel.id for vessel in field_.vessels]
    end = START + timedelta(days=days)
    with clocks.running("dask_prepare_group_s"), store.reading() as reader:
        sent = reader.sent_samples(names[:GROUP], START, end)
    with clocks.running("dask_pickle_group_s"):
        pickle.dumps(sent)
    with dask_workers.scheduler_at(None) as address, dask_workers.workers(address, with_server=False) as crew:
        list(crew(_nothing, range(crew.ahead)))  # the workers' first task imports what they need
        with clocks.running("dask_100_groups_of_no_work_s"):
            list(crew(_nothing, [sent] * 100))
        with clocks.running("dask_read_group_s"):
            list(crew(_reading(names[:GROUP], end), [sent]))


def _nothing(_: object) -> None:
    return None


def _reading(names: list[str], end: datetime) -> Callable[[object], int]:
    def read(sent: object) -> int:
        found = sent.samples_of(names, START, end)
        return sum(rows.height for rows in found.values())

    return read


def _size_bytes(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def _day(field_: Field, day: int, period_s: int) -> pl.DataFrame:
    """Return one day of all tags as EXPORT_SAMPLES."""
    rng = np.random.default_rng(day)
    stamps = np.arange(0, 86400, period_s, dtype=np.int64) * 1_000_000
    start_us = int((START + timedelta(days=day)).timestamp()) * 1_000_000
    parts = []
    for row in field_.tags:
        raw = np.round(50.0 + np.cumsum(rng.normal(0.0, 0.05, stamps.size)), 2)
        parts.append(row.conversion.factor * raw + row.conversion.constant)
    values = np.concatenate(parts)
    return EXPORT_SAMPLES.build(
        pl.DataFrame(
            {
                "tag_id": np.repeat(np.arange(1, len(field_.tags) + 1, dtype=np.int32), stamps.size),
                "time_utc": pl.Series(np.tile(start_us + stamps, len(field_.tags))).cast(TIME),
                "value": values,
            }
        ).with_columns(flag=pl.lit("good"))
    )


def _parsed(samples: pl.DataFrame) -> ParsedExport:
    return ParsedExport(
        samples=samples,
        losers=EXPORT_SAMPLES.empty(),
        quarantine=EXPORT_QUARANTINE.empty(),
        rows_read=samples.height,
        rows_repeated=0,
        rows_ignored=0,
        rows_assumed_first=0,
        tags_seen=TAGS_SEEN.empty(),
        unknown_quality={},
    )


def main() -> int:
    """Run the bench as the command line asks and print its figures."""
    made = argparse.ArgumentParser(description="Time the lake against the table.")
    made.add_argument("--vessels", type=int, default=32)
    made.add_argument("--days", type=int, default=4)
    made.add_argument("--period-s", type=int, default=5, help="time between two samples of a signal")
    made.add_argument("--rounds", type=int, default=3, help="runs of which the fastest counts")
    made.add_argument("--cluster", action="store_true", help="time handing out too, with workers of this machine")
    asked = made.parse_args()
    for name, value in run(asked.vessels, asked.days, asked.period_s, asked.rounds, cluster=asked.cluster).items():
        sys.stdout.write(f"{name:44s} {value:16,.4f}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
