"""The bench of deriving: reading a fleet's samples from its store against deriving every frame from them.

    uv run python tests/benchmarks/deriving.py [--vessels 200] [--period-s 5] [--days 1] [--rounds 3] [--keep DIR]

A fleet is simulated with ten signals a vessel, each kept at every scan, and landed in a store. Reading and deriving
then take turns, and the fastest of each counts. With `--keep` the store stays for the next run. Only the last day is
derived, so with more days than one it has the context that a night has.

Searching for cycles is timed on its own, from the known intervals of signals in memory to the dumps, one vessel after
the other on one thread. Counted are the usable samples of the day of the signals that dumps are told by (switch, the
meter that is used, level); vessels that throttle are left out, for nothing is searched there.
"""

import argparse
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

from nightgauge.derive.grid import days
from nightgauge.derive.plant import Plant
from nightgauge.derive.readings import readings_of, seen, to_us
from nightgauge.derive.vessel import find_dumps
from nightgauge.field.read import read_field
from nightgauge.field.settings import Field, TagRow
from nightgauge.pipeline.deriving import READ_TOGETHER, derive_changed
from nightgauge.simulate import Mixture, Plan, random_fleet
from nightgauge.simulate.folder import field_toml, tags_csv
from nightgauge.simulate.make import simulate_samples
from nightgauge.simulate.plan import Instrument, VesselPlan
from nightgauge.store import Store
from nightgauge.vocabulary.exports import EXPORT_QUARANTINE, EXPORT_SAMPLES, TAGS_SEEN, Export, ParsedExport
from nightgauge.vocabulary.frames import TIME
from nightgauge.vocabulary.signals import SIGNALS

SEED = 61
AT_ONCE = 20
"""Vessels simulated and landed at a time: their samples fit in memory."""
_OTHER = {
    "pressure": ("psig", 0.1), "length": ("in", 0.1), "gas rate": ("Mcf/d", 1.0), "volume": ("bbl", 0.0),
    "temperature": ("degF", 0.1), "fraction": ("%", 0.2), "state": ("", 0.0), "liquid rate": ("bbl/day", 1.0),
}  # fmt: skip
"""Unit and noise of a signal that the drawn vessel does not have."""
_NAMES = (
    "vessel_pressure", "inlet_pressure", "interface_level", "oil_level", "water_total", "oil_total", "gas_rate",
    "temperature", "oil_downstream_pressure",
)  # fmt: skip


@dataclass
class Clock:
    """The fastest of several runs."""

    wall_s: float = float("inf")
    processor_s: float = float("inf")

    @contextmanager
    def running(self) -> Iterator[None]:
        """Time what stands in the block."""
        wall, processor = time.perf_counter(), _processor_s()
        yield
        self.wall_s = min(self.wall_s, time.perf_counter() - wall)
        self.processor_s = min(self.processor_s, _processor_s() - processor)


def _processor_s() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def main() -> int:
    """Run the bench as the command line asks and print its figures."""
    asked = arguments()
    for name, value in run(asked.vessels, asked.period_s, asked.days, asked.rounds, asked.keep).items():
        sys.stdout.write(f"{name:32s} {value:14,.3f}\n")
    return 0


def run(vessels: int, period_s: int, days: int = 1, rounds: int = 1, keep: Path | None = None) -> dict[str, float]:
    """Return the figures of one fleet, by name with their unit."""
    home = Path(tempfile.mkdtemp()) if keep is None else keep / f"{vessels}x{days}at{period_s}"
    try:
        field_, store = laid(home, _plan(vessels, days, period_s))
        return _figures(field_, store, rounds)
    finally:
        if keep is None:
            shutil.rmtree(home)


def _figures(field_: Field, store: Store, rounds: int) -> dict[str, float]:
    until = field_.as_of or datetime.now(UTC)
    start = until - timedelta(days=1)
    reading, together, deriving, finding = Clock(), Clock(), Clock(), Clock()
    samples = dumps = of_cycles = 0
    for _ in range(rounds):
        with reading.running():
            samples = _read(field_, store, start, until)
        with together.running():
            _read_together(field_, store, start, until)
        _owe(field_, store, start, until)
        with deriving.running():
            failed = derive_changed(field_, store, until - timedelta(days=1), until).failed
        if failed:
            raise RuntimeError(f"vessels failed: {failed}")
        dumps, of_cycles = _find(field_, store, (start, until), finding)
    vessels = len(field_.vessels)
    return {
        "vessels": vessels,
        "samples": samples,
        "reading_s": reading.wall_s,
        "reading_processor_s": reading.processor_s,
        "reading_together_s": together.wall_s,
        "reading_together_processor_s": together.processor_s,
        "deriving_s": deriving.wall_s,
        "deriving_processor_s": deriving.processor_s,
        "deriving_to_reading": deriving.wall_s / reading.wall_s,
        "deriving_to_reading_processor": deriving.processor_s / reading.processor_s,
        "deriving_to_reading_together_processor": deriving.processor_s / together.processor_s,
        "processor_ms_per_vessel_day": 1000.0 * deriving.processor_s / vessels,
        "samples_derived_per_s": samples / deriving.wall_s,
        "cycles": dumps,
        "cycles_derived_per_s": dumps / deriving.wall_s,
        "samples_searched_for_cycles_per_s": of_cycles / finding.wall_s,
        "samples_searched_for_cycles_per_processor_s": of_cycles / finding.processor_s,
    }


def _read(field_: Field, store: Store, start: datetime, until: datetime) -> int:
    """Read every vessel's samples, one vessel at a time; return how many there are."""
    with store.reading() as reader:
        return sum(reader.vessel_samples(vessel.id, start, until).height for vessel in field_.vessels)


def _read_together(field_: Field, store: Store, start: datetime, until: datetime) -> None:
    """Read every vessel's samples, a few vessels at a time as deriving does."""
    vessels = [vessel.id for vessel in field_.vessels]
    with store.reading() as reader:
        for first in range(0, len(vessels), READ_TOGETHER):
            reader.samples_of(vessels[first : first + READ_TOGETHER], start, until)


def _owe(field_: Field, store: Store, start: datetime, until: datetime) -> None:
    """Mark the stretch of every vessel as changed, so that it is derived."""
    with store.writing() as writer:
        for vessel in field_.vessels:
            writer.mark_changed(vessel.id, start, until)


def _find(field_: Field, store: Store, span: tuple[datetime, datetime], clock: Clock) -> tuple[int, int]:
    """Find the dumps of some vessels; return how many vessels' dumps were derived, and the samples looked at."""
    plants = []
    with store.reading() as reader:
        for vessel in field_.vessels[:AT_ONCE]:
            readings = readings_of(reader.vessel_samples(vessel.id, *span))
            (day,) = days(field_, *span)
            plant = Plant(vessel, field_, day, seen(readings, (), to_us(span[0]), to_us(span[1])))
            if not plant.is_throttling:
                plants.append(plant)
        cycles = sum(reader.cycles(vessel.id, *span).height for vessel in field_.vessels)
    looked_at = sum(_looked_at(plant) for plant in plants)
    with clock.running():
        for plant in plants:
            find_dumps(plant)
    return cycles, looked_at


def _looked_at(plant: Plant) -> int:
    """Return how many samples of a vessel its dumps are found by."""
    tracks = (plant.track("water_dump_open"), plant.water_meter, plant.interface)
    return sum(track.time_us.size for track in tracks if track is not None)


def laid(home: Path, plan: Plan) -> tuple[Field, Store]:
    """Return the fleet's field and its store, simulated and landed where that has not been done."""
    home.mkdir(parents=True, exist_ok=True)
    (home / "field.toml").write_text(field_toml(plan), encoding="utf-8")
    (home / "tags.csv").write_text(tags_csv(plan), encoding="utf-8")
    field_ = read_field(home / "field.toml")
    store, done = Store(home / "samples.duckdb"), home / "landed"
    if not done.exists():
        store.path.unlink(missing_ok=True)
        _land(field_, store, plan)
        done.touch()
    return field_, store


def _land(field_: Field, store: Store, plan: Plan) -> None:
    now = datetime.now(UTC)
    with store.writing() as writer:
        ids = {(row.vessel, row.signal): (number, row) for number, row in writer.sync_tags(field_, now).ids}
        writer.sync_setup(field_)
    for first in range(0, len(plan.vessels), AT_ONCE):
        part = replace(plan, vessels=plan.vessels[first : first + AT_ONCE], seed=plan.seed + first)
        kept = simulate_samples(part)
        rows = [ids[vessel.id, i.signal] for vessel in part.vessels for i in vessel.instruments]
        samples = kept.join(_conversions(rows), on="tag").select(
            "tag_id",
            time_utc=pl.lit(plan.start).cast(TIME) + pl.duration(milliseconds=1000.0 * pl.col("second")),
            value=pl.col("value") * pl.col("factor") + pl.col("constant"),
            flag=pl.lit("good"),
        )
        with store.writing() as writer:
            writer.land(Export(store.path, f"part{first}", f"{first}", 0, now), _parsed(samples), now)


def _conversions(rows: list[tuple[int, TagRow]]) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "tag": pl.Series(range(len(rows)), dtype=pl.Int32),
            "tag_id": [number for number, _ in rows],
            "factor": [row.conversion.factor for _, row in rows],
            "constant": [row.conversion.constant for _, row in rows],
        }
    )


def _parsed(samples: pl.DataFrame) -> ParsedExport:
    return ParsedExport(
        samples=EXPORT_SAMPLES.build(samples),
        losers=EXPORT_SAMPLES.empty(),
        quarantine=EXPORT_QUARANTINE.empty(),
        rows_read=samples.height,
        rows_repeated=0,
        rows_ignored=0,
        rows_assumed_first=0,
        tags_seen=TAGS_SEEN.empty(),
        unknown_quality={},
    )


def _plan(vessels: int, days: int, period_s: int) -> Plan:
    """Return a fleet whose vessels have ten signals, each kept at every scan."""
    drawn = random_fleet(vessels, days, SEED, mixture=Mixture(nuisances=False))
    return replace(drawn, vessels=tuple(_measured(vessel, float(period_s)) for vessel in drawn.vessels))


def _measured(vessel: VesselPlan, period_s: float) -> VesselPlan:
    names = (*_NAMES, "water_dump_open" if vessel.is_snap else "water_dump_position")
    drawn = {i.signal: i for i in vessel.instruments}
    there = [drawn.get(name) or _instrument(vessel, name) for name in names]
    kept = tuple(
        replace(i, scan_s=period_s, dead_band=0.0, max_interval_s=0.0, states=None, silent=(), bad=()) for i in there
    )
    return replace(vessel, instruments=kept, anodes=())


def _instrument(vessel: VesselPlan, signal: str) -> Instrument:
    unit, noise = _OTHER[SIGNALS[signal].dimension]
    return Instrument(signal, f"{vessel.id}-{signal}", unit, noise=noise)


def arguments() -> argparse.Namespace:
    """Return the command line's arguments."""
    made = argparse.ArgumentParser(description="Time deriving against reading.")
    made.add_argument("--vessels", type=int, default=200)
    made.add_argument("--period-s", type=int, default=5, help="time between two samples of a signal")
    made.add_argument("--days", type=int, default=1, help="days landed; the last one is derived")
    made.add_argument("--rounds", type=int, default=3, help="runs of which the fastest counts")
    made.add_argument("--keep", type=Path, help="folder to keep the fleet's store in")
    return made.parse_args()


if __name__ == "__main__":
    sys.exit(main())
