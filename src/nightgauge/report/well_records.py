"""Each well's record of tests in numbers, and what the tests of a vessel's wells come to beside its meters."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from nightgauge.field.settings import Field
from nightgauge.statistics.arrays import Floats
from nightgauge.statistics.few import shift
from nightgauge.vocabulary.well_tests import RECORD, REPEATS

LOADS = timedelta(days=28)
"""Days whose median load the wells' tests are held against. House choice: four weeks, as capacity is."""
RATES = ("liquid", "water", "oil", "net_oil", "gas")


@dataclass(frozen=True)
class Change:
    """The last accepted test against the well's tests before it."""

    rate: str
    """liquid, oil or water: what the well's tests give, liquid first."""
    share: float
    """Below 0: less. [1]"""
    uncertainty: float
    """Standard uncertainty of the share. [1]"""
    tests: int
    """Tests in the record."""


@dataclass(frozen=True)
class WellRecord:
    """One well's tests: rows of WELL_TESTS with the liquid rate added."""

    well: str
    vessel: str | None
    """Where it normally flows."""
    last: dict[str, Any] | None
    """Last accepted test."""
    accepted: int
    failed: tuple[dict[str, Any], ...]
    """Rejected tests, the last first."""
    running: dict[str, Any] | None
    change: Change | None

    @property
    def cut(self) -> float | None:
        """Return the water cut of the last accepted test. [1]"""
        return None if self.last is None else self.last["water_cut_fraction"]


@dataclass(frozen=True)
class Allocation:
    """The latest accepted tests of a vessel's wells, added up, beside the vessel's own load."""

    vessel: str
    phase: str
    """water or oil."""
    wells: int
    """Wells whose tests are in the sum."""
    without: tuple[str, ...]
    """Wells of the vessel that have no accepted test with this rate."""
    tests_m3_per_day: float
    load_m3_per_day: float
    """Median of the last 28 days."""

    @property
    def ratio(self) -> float:
        """Return tests / load."""
        return self.tests_m3_per_day / self.load_m3_per_day


def well_records(tests: pl.DataFrame, field: Field, until: datetime) -> tuple[WellRecord, ...]:
    """Return the record of each well that field.toml names or that was tested, in the order of their names.

    Parameters
    ----------
    tests : WELL_TESTS
        Of all wells; those that began at or after `until` are left out.

    """
    known = _with_liquid(tests.filter(pl.col("start_utc") < until.astimezone(UTC))).sort(
        "start_utc", maintain_order=True
    )
    vessels = {well.id: well.vessel for well in field.wells}
    parts = {str(key[0]): part for key, part in known.partition_by("well", as_dict=True).items()}
    return tuple(
        _record(well, vessels.get(well), parts.get(well, known.clear())) for well in _in_order({*vessels, *parts})
    )


def _in_order(names: Iterable[str]) -> list[str]:
    """Return names as people order them: W2 before W10."""
    return sorted(names, key=lambda name: [(not part.isdigit(), int(part) if part.isdigit() else 0, part)
                                           for part in re.split(r"(\d+)", name)])  # fmt: skip


def _with_liquid(tests: pl.DataFrame) -> pl.DataFrame:
    """Add the liquid rate where water and oil are both known, and its uncertainty, as of independent meters."""
    water, oil = (pl.col(f"{name}_uncertainty_m3_per_day") for name in ("water", "oil"))
    return tests.with_columns(
        (pl.col("water_m3_per_day") + pl.col("oil_m3_per_day")).alias("liquid_m3_per_day"),
        (water**2 + oil**2).sqrt().alias("liquid_uncertainty_m3_per_day"),
    )


def _record(well: str, vessel: str | None, tests: pl.DataFrame) -> WellRecord:
    by_state = {state: tests.filter(pl.col("state") == state) for state in ("accepted", "rejected", "running")}
    accepted = by_state["accepted"]
    running = by_state["running"].to_dicts()
    return WellRecord(
        well=well,
        vessel=vessel,
        last=accepted.row(-1, named=True) if len(accepted) else None,
        accepted=len(accepted),
        failed=tuple(reversed(by_state["rejected"].to_dicts())),
        running=running[-1] if running else None,
        change=_change(accepted),
    )


def _change(accepted: pl.DataFrame) -> Change | None:
    """Return how the last accepted test lies to those before it, None without two of them."""
    for name in ("liquid", "oil", "water"):
        known = accepted.filter(pl.col(f"{name}_m3_per_day") > 0.0)
        if len(known) and known["start_utc"][-1] == accepted["start_utc"][-1]:
            break
    else:
        return None
    values = _numbers(known, f"{name}_m3_per_day")
    errors = np.nan_to_num(_numbers(known, f"{name}_uncertainty_m3_per_day")) / values
    before = slice(max(0, len(values) - 1 - RECORD), len(values) - 1)
    moved = shift(np.log(values[before]), np.log(values[-1:]), errors[before], errors[-1:], REPEATS)
    if moved is None:
        return None
    ratio = float(np.exp(moved.size))
    return Change(name, ratio - 1.0, ratio * moved.error, len(values[before]))


def _numbers(frame: pl.DataFrame, name: str) -> Floats:
    return frame[name].cast(pl.Float64).to_numpy().astype(np.float64)


def allocations(
    records: Iterable[WellRecord], days: pl.DataFrame, field: Field, until: datetime
) -> tuple[Allocation, ...]:
    """Return what the tests of each vessel's wells come to beside its load, water and oil.

    Parameters
    ----------
    days : VESSEL_DAYS
        Of all vessels; the last four weeks before `until` count.

    Returns
    -------
    tuple of Allocation
        None of a vessel without a well that has an accepted test, or without a load.

    """
    everyone = list(records)
    last = until.astimezone(field.zone).date()
    recent = days.filter((pl.col("day") >= last - LOADS) & (pl.col("day") < last))
    told = []
    for vessel in field.vessels:
        wells = [record for record in everyone if record.vessel == vessel.id]
        for phase in ("water", "oil"):
            loads = recent.filter(pl.col("vessel") == vessel.id)[f"{phase}_load_m3_per_day"].drop_nulls().drop_nans()
            load = loads.median()
            rates = {r.well: r.last[f"{phase}_m3_per_day"] for r in wells if r.last is not None}
            known = {well: rate for well, rate in rates.items() if rate is not None}
            if known and isinstance(load, float) and load > 0.0:
                without = tuple(record.well for record in wells if record.well not in known)
                told.append(Allocation(vessel.id, phase, len(known), without, sum(known.values()), load))
    return tuple(told)
