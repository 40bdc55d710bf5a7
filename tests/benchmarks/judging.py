"""The bench of the night's second half: reckoning, judging, ledger and saving, after weeks of nights.

    uv run python tests/benchmarks/judging.py [--vessels 200] [--days 90] [--drawn 24] [--rounds 3] [--keep DIR]

A few vessels are simulated and derived once; their derived rows, settings, wells and tags stand for the other vessels
under names of their own, and every fourth vessel has two anodes. The rows lie in the store as nights in turn leave
them, day after day. Then one night runs after that history, and its parts are timed apart; the fastest of the rounds
counts. With `--keep` samples and stores stay for the next run.
"""

import argparse
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import frames
import numpy as np
import polars as pl
from frames import Nights
from worlds import Simulated

from nightgauge import ledger
from nightgauge.derive import derive_vessel
from nightgauge.detect import Judgement
from nightgauge.field.calendar import midnights
from nightgauge.field.settings import Anode, Field
from nightgauge.pipeline.judging import judge_vessels
from nightgauge.pipeline.nights import run_night
from nightgauge.pipeline.reckoning import Reckoned, reckon
from nightgauge.store import Store
from nightgauge.store.connection import connect
from nightgauge.store.frames_io import insert
from nightgauge.vocabulary.frames import (
    DUMP_CYCLES,
    SIGNAL_HOURS,
    VESSEL_DAYS,
    VESSEL_HOURS,
    WELL_TESTS,
    Frame,
)
from nightgauge.vocabulary.signals import of_part

SEED = 61
BETWEEN = "~"
"""Stands between a simulated vessel's name and the number of its copy."""
_TABLES: dict[str, tuple[Frame, str]] = {
    "cycles": (DUMP_CYCLES, "opened_utc"),
    "hours": (VESSEL_HOURS, "hour_utc"),
    "days": (VESSEL_DAYS, "day"),
    "signal_hours": (SIGNAL_HOURS, "hour_utc"),
    "tests": (WELL_TESTS, "start_utc"),
}


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


@dataclass
class Clocks:
    """One for each part of a night."""

    reckoning: Clock = field(default_factory=Clock)
    judging: Clock = field(default_factory=Clock)
    keeping: Clock = field(default_factory=Clock)


@dataclass(frozen=True)
class Fleet:
    """A field whose store holds derived rows up to the last night's end."""

    field: Field
    store: Store
    untils: tuple[datetime, datetime]
    """Of the night before, and of the one to time."""


def main() -> int:
    """Run the bench as the command line asks and print its figures."""
    asked = arguments()
    for name, value in run(asked.vessels, asked.days, asked.drawn, asked.rounds, asked.keep).items():
        sys.stdout.write(f"{name:32s} {value:14,.3f}\n")
    return 0


def run(vessels: int, days: int, drawn: int = 24, rounds: int = 1, keep: Path | None = None) -> dict[str, float]:
    """Return the figures of one night of so many vessels after so many days, by name with their unit."""
    home = Path(tempfile.mkdtemp()) if keep is None else keep
    try:
        return _figures(laid(home, vessels, days, min(drawn, vessels)), rounds)
    finally:
        if keep is None:
            shutil.rmtree(home)


def _figures(fleet: Fleet, rounds: int) -> dict[str, float]:
    before, until = fleet.untils
    clocks = Clocks()
    told = 0
    for _ in range(rounds):
        with clocks.reckoning.running():
            reckoned = reckon(fleet.field, fleet.store, before, until)
        with clocks.judging.running():
            judgements, failed = judge_vessels(fleet.field, fleet.store, until, reckoned.anodes)
        if failed or reckoned.failed:
            raise RuntimeError(f"vessels failed: {failed or reckoned.failed}")
        with clocks.keeping.running():
            told = _keep(fleet.store, until, judgements, reckoned)
    parts = vars(clocks).values()
    vessels = len(fleet.field.vessels)
    figures = {"vessels": float(vessels), "findings": float(told)}
    for name, clock in vars(clocks).items():
        figures |= {f"{name}_s": clock.wall_s, f"{name}_processor_s": clock.processor_s}
    return figures | {
        "night_s": sum(clock.wall_s for clock in parts),
        "night_processor_s": sum(clock.processor_s for clock in parts),
        "processor_ms_per_vessel": 1000.0 * sum(clock.processor_s for clock in parts) / vessels,
        "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0,
    }


def _keep(store: Store, until: datetime, judgements: Mapping[str, Judgement], reckoned: Reckoned) -> int:
    """Take a night into the ledger and save it, as `pipeline.nights` does; return how many findings there are."""
    with store.writing() as writer:
        findings, events = ledger.update(writer.findings(), writer.finding_events(), judgements, until)
        reckoned.save(writer)
        writer.save_findings(findings, events)
    return findings.height


def laid(home: Path, vessels: int, days: int, drawn: int) -> Fleet:
    """Return a fleet with its history and the night before judged, made where that has not been done."""
    world = Simulated(SEED, drawn, days + 1)
    source = home / world.name
    field_ = world.lay(source)
    untils = midnights(field_.zone, *world.span(source, field_))
    _derive(world, source, field_, frames.nights_of(field_, *world.span(source, field_)))
    fleet = replace(_copied(field_, vessels), database=home / f"{vessels}x{days}of{drawn}.duckdb")
    store, done = Store(fleet.database), fleet.database.with_suffix(".laid")
    if not done.exists():
        store.path.unlink(missing_ok=True)
        _fill(store, fleet, source, untils)
        run_night(fleet, store, untils[-2], lambda: untils[-2])
        done.touch()
    with store.writing():  # brings a kept store up to date
        pass
    return Fleet(fleet, store, (untils[-2], untils[-1]))


def _derive(world: Simulated, source: Path, field_: Field, nights: Nights) -> None:
    """Derive the vessels that are simulated, each once over all its days."""
    folder = source / "derived"
    folder.mkdir(exist_ok=True)
    for place, vessel in enumerate(field_.vessels):
        if not frames.is_saved(folder, place):
            samples = world.samples(source, field_, vessel.id)
            derived = derive_vessel(vessel, field_, samples, nights.start, nights.untils[-1], VESSEL_DAYS.empty())
            frames.save(derived, folder, place)


def _copied(field_: Field, vessels: int) -> Field:
    """Return the field with its vessels, wells and tags again under other names, until there are enough."""
    drawn = field_.vessels
    rounds = range(-(-vessels // len(drawn)))
    named = [(replace(vessel, id=_name(vessel.id, turn))) for turn in rounds for vessel in drawn][:vessels]
    there = {vessel.id for vessel in named}
    wells = [
        replace(well, id=_name(well.id, turn), vessel=None if well.vessel is None else _name(well.vessel, turn))
        for turn in rounds
        for well in field_.wells
    ]
    tags = [
        replace(row, tag=_name(row.tag, turn), vessel=_name(row.vessel, turn)) for turn in rounds for row in field_.tags
    ]
    anodes = [Anode(f"{vessel.id}-{end}", vessel.id, "magnesium", 40.0) for vessel in named[::4] for end in "AB"]
    return replace(
        field_,
        vessels=tuple(named),
        wells=tuple(well for well in wells if well.vessel is None or well.vessel in there),
        tags=tuple(row for row in tags if row.vessel in there),
        anodes=tuple(anodes),
    )


def _name(name: str, turn: int) -> str:
    return f"{name}{BETWEEN}{turn}"


def _fill(store: Store, fleet: Field, source: Path, untils: list[datetime]) -> None:
    """Put the derived rows of all vessels into a new store, one day after the other, as nights do."""
    with store.writing() as writer:
        writer.sync_tags(fleet, untils[-1])
        writer.sync_setup(fleet)
    tables = {name: _drawn_rows(source, name, fleet) for name in _TABLES}
    connection = connect(store.path, read_only=False, wait_s=0.0)
    for day, end in pairwise([untils[0] - timedelta(days=1), *untils]):
        for name, (frame, begins) in _TABLES.items():
            edges = (_date(fleet, day), _date(fleet, end)) if begins == "day" else (day, end)
            rows = tables[name].filter((pl.col(begins) >= edges[0]) & (pl.col(begins) < edges[1]))
            insert(connection, frame, _of_all(rows, fleet))
        insert(connection, SIGNAL_HOURS, _currents(fleet, day, end))
    connection.close()


def _date(field_: Field, when: datetime) -> date:
    return when.astimezone(field_.zone).date()


def _drawn_rows(source: Path, name: str, fleet: Field) -> pl.DataFrame:
    """Return one table's rows of the vessels that were simulated."""
    places = range(len({vessel.id.rpartition(BETWEEN)[0] for vessel in fleet.vessels}))
    return pl.concat([getattr(frames.load(source / "derived", place), name) for place in places])


def _of_all(rows: pl.DataFrame, fleet: Field) -> pl.DataFrame:
    """Return the rows of simulated vessels once for each vessel that they stand for."""
    names = [vessel.id for vessel in fleet.vessels]
    stands = pl.DataFrame({"vessel": [name.rpartition(BETWEEN)[0] for name in names], "named": names})
    copies = rows.join(stands, on="vessel").with_columns(vessel=pl.col("named"))
    turn = BETWEEN + pl.col("named").str.split(BETWEEN).list.last()
    wells = [column for column in ("well", "well_on_test") if column in rows.columns]
    return copies.with_columns(pl.col(column) + turn for column in wells).drop("named")


def _currents(fleet: Field, start: datetime, end: datetime) -> pl.DataFrame:
    """Return hours of the anodes' currents: a tenth of an ampere that swings by a tenth of it over the day."""
    hours = pl.datetime_range(start, end, "1h", closed="left", time_unit="us", eager=True)
    swing = 0.1 + 0.01 * np.sin(2.0 * np.pi * np.arange(len(hours)) / 24.0)
    one = pl.DataFrame({"hour_utc": hours, "mean": swing, "minimum": swing, "maximum": swing}).with_columns(
        coverage=pl.lit(1.0), samples=pl.lit(60), bad_samples=pl.lit(0), changes=pl.lit(60)
    )
    whose = pl.DataFrame(
        [{"vessel": anode.vessel, "signal": of_part("anode_current", anode.id)} for anode in fleet.anodes]
    )
    return SIGNAL_HOURS.build(whose.join(one, how="cross"))


def arguments() -> argparse.Namespace:
    """Return the command line's arguments."""
    made = argparse.ArgumentParser(description="Time reckoning, judging, ledger and saving of one night.")
    made.add_argument("--vessels", type=int, default=200)
    made.add_argument("--days", type=int, default=90, help="days of history before the night's own")
    made.add_argument("--drawn", type=int, default=24, help="vessels simulated, which the others are copies of")
    made.add_argument("--rounds", type=int, default=3, help="runs of which the fastest counts")
    made.add_argument("--keep", type=Path, help="folder to keep samples and stores in")
    return made.parse_args()


if __name__ == "__main__":
    sys.exit(main())
