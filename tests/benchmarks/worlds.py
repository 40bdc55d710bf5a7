"""Fleets to judge detectors on: simulated ones and field folders with known faults, laid into a cache once.

A fleet's home in the cache holds field.toml, tags.csv, truth.csv, and its samples as `samples.parquet` (simulated)
or a database (field folders); `frames` adds what is derived from them. To make a fleet anew, delete its home.
"""

import hashlib
import shutil
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import Protocol

import polars as pl

from nightgauge.field.read import read_field
from nightgauge.field.settings import Field, TagRow
from nightgauge.pipeline.reading import read_exports
from nightgauge.simulate import Mixture, Plan, random_fleet
from nightgauge.simulate.folder import field_toml, tags_csv
from nightgauge.simulate.make import simulate_samples, wells_on_test
from nightgauge.simulate.plan import Instrument
from nightgauge.simulate.ranges import RANGES
from nightgauge.simulate.truth import truth_rows
from nightgauge.store import Store
from nightgauge.vocabulary.frames import TIME, VESSEL_SAMPLES
from nightgauge.vocabulary.signals import SIGNALS

SAMPLES = "samples.parquet"
_ROWS_PER_GROUP = 100_000
"""Of the samples' file, which is sorted by tag: a vessel's rows are then read without the others'."""


_AFTER = timedelta(microseconds=1)  # ends of spans are not in them


class World(Protocol):
    """One fleet: how it is laid into the cache, and where its samples are then."""

    @property
    def name(self) -> str:
        """Return what the fleet is called in the cache and in tables."""

    def lay(self, home: Path) -> Field:
        """Make the fleet in its home if it is not there; return its field."""

    def span(self, home: Path, field: Field) -> tuple[datetime, datetime]:
        """Return the first and last time of the fleet's data."""

    def samples(self, home: Path, field: Field, vessel: str) -> pl.DataFrame:
        """Return all of one vessel's samples (VESSEL_SAMPLES)."""


@dataclass(frozen=True)
class Simulated:
    """A fleet of our own simulator, its samples taken as kept, without the way through exports."""

    seed: int
    vessels: int
    days: int
    ranges: str = "usual"
    """Name of the ranges from which its physics are drawn."""

    @property
    def name(self) -> str:
        """Return seed, vessels, days, and the ranges where they are not the usual ones."""
        other = "" if self.ranges == "usual" else f"-{self.ranges}"
        return f"seed{self.seed}-{self.vessels}x{self.days}{other}"

    @cached_property
    def plan(self) -> Plan:
        """Return the fleet as drawn; the same every time."""
        return random_fleet(self.vessels, self.days, self.seed, mixture=Mixture(ranges=RANGES[self.ranges]))

    def lay(self, home: Path) -> Field:
        """Simulate the fleet if its samples are not there yet."""
        home.mkdir(parents=True, exist_ok=True)
        plan = self.plan
        (home / "field.toml").write_text(field_toml(plan), encoding="utf-8")
        (home / "tags.csv").write_text(tags_csv(plan), encoding="utf-8")
        truth_rows(plan).write_csv(home / "truth.csv")
        if not (home / SAMPLES).is_file():
            part = home / f"{SAMPLES}.part"
            simulate_samples(plan).sort("tag", "second").write_parquet(part, row_group_size=_ROWS_PER_GROUP)
            part.replace(home / SAMPLES)
        return read_field(home / "field.toml")

    def span(self, home: Path, field: Field) -> tuple[datetime, datetime]:
        """Return the simulated time."""
        return self.plan.start, self.plan.end

    def samples(self, home: Path, field: Field, vessel: str) -> pl.DataFrame:
        """Return a vessel's samples as reading its exports would have stored them."""
        plan = self.plan
        owners = [(v.id, i) for v in plan.vessels for i in v.instruments]
        places = [place for place, (owner, _) in enumerate(owners) if owner == vessel]
        kept = pl.scan_parquet(home / SAMPLES).filter(pl.col("tag").is_in(places)).collect()
        if any(vessel in group.vessels and group.quality == "none" for group in plan.exports):
            kept = kept.filter(~pl.col("is_bad"))  # such an export leaves them out
        rows = {row.signal: row for row in field.tags if row.vessel == vessel}
        wells = [w.settings.id for w in wells_on_test(plan, vessel)]
        parts = [
            _stored(kept.filter(pl.col("tag") == place), owners[place][1], rows[owners[place][1].signal], wells)
            for place in places
        ]
        start = pl.lit(plan.start).cast(TIME)
        stamped = pl.concat(parts).with_columns(
            time_utc=start + pl.duration(milliseconds=(1000.0 * pl.col("second")).round().cast(pl.Int64))
        )
        return VESSEL_SAMPLES.build(stamped.drop("second"))


def _stored(kept: pl.DataFrame, instrument: Instrument, row: TagRow, wells: list[str]) -> pl.DataFrame:
    """Return one tag's samples in SI; a text signal's numbers as its texts, where it has one."""
    good = ~pl.col("is_bad")
    flag = pl.when(good).then(pl.lit("good")).otherwise(pl.lit("bad"))
    signal = pl.lit(row.signal)
    if SIGNALS[instrument.signal].kind == "text":
        texts = {float(number): well for number, well in enumerate(wells)}
        text = pl.col("value").replace_strict(texts, default=None, return_dtype=pl.String) if wells else pl.lit("")
        number = pl.lit(None, dtype=pl.Float64)
        shown = kept.filter(pl.col("value").is_in(list(texts)))
    else:
        text = pl.lit(None, dtype=pl.String)
        number = pl.when(good).then(pl.col("value") * row.conversion.factor + row.conversion.constant)
        shown = kept
    return shown.select(
        "second", signal=signal, value=number, text_value=text, flag=flag, max_gap_s=pl.lit(row.max_gap_s)
    )


@dataclass(frozen=True)
class Folder:
    """A field folder with truth.csv, its exports read into a database in the cache as a night reads them."""

    path: Path

    @property
    def name(self) -> str:
        """Return the folder's name and a mark of where it lies."""
        where = hashlib.sha256(str(self.path.resolve()).encode()).hexdigest()[:6]
        return f"{self.path.resolve().name}-{where}"

    def lay(self, home: Path) -> Field:
        """Read the exports into a database of the cache's own."""
        home.mkdir(parents=True, exist_ok=True)
        shutil.copy(self.path / "truth.csv", home / "truth.csv")
        field = replace(read_field(self.path / "field.toml"), database=home / "samples.duckdb")
        done = home / "read"
        if not done.exists():
            read_exports(field, Store(field.database), lambda: datetime.now(UTC))
            done.touch()
        return field

    def span(self, home: Path, field: Field) -> tuple[datetime, datetime]:
        """Return the time of the first sample and of the last one, or `as_of`."""
        with Store(home / "samples.duckdb").reading() as reader:
            spans = [span for span in (reader.data_span(vessel.id) for vessel in field.vessels) if span is not None]
        last = max(last for _, last in spans)
        return min(first for first, _ in spans), field.as_of if field.as_of is not None else last

    def samples(self, home: Path, field: Field, vessel: str) -> pl.DataFrame:
        """Return a vessel's samples from the database."""
        with Store(home / "samples.duckdb").reading() as reader:
            span = reader.data_span(vessel)
            if span is None:
                return VESSEL_SAMPLES.empty()
            return reader.vessel_samples(vessel, span[0], span[1] + _AFTER)
