"""The settings each vessel was last derived with, so that a changed field.toml derives again what it concerns.

Settings are kept as dated segments; two setups are compared stretch by stretch between all their dates,
and only stretches in which another setting is in force are marked. Names, finding limits and the heater that follows
are left out: nothing derived rests on them.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise

import duckdb
import polars as pl

from nightgauge.field.settings import BackPressureValve, Field, Vessel, WaterDump
from nightgauge.field.turns import routed, scheduled, turns_of
from nightgauge.store import ranges
from nightgauge.store.frames_io import insert, select
from nightgauge.store.home import SampleHome, whole_of
from nightgauge.store.remembered import remember
from nightgauge.store.schema import CHANGED_RANGES, DERIVED_FRAMES, RECKONED_FRAMES, VESSEL_SETUPS
from nightgauge.vocabulary.frames import TAGS, TIME

_CONTROLS = ("water_dump", "oil_valve", "gas_valve")
_NOT_DERIVED_FROM = ("id", "name", "limits", "heating", *_CONTROLS)
_BEGINNING = datetime.min.replace(tzinfo=UTC)
_END = datetime.max.replace(tzinfo=UTC)
_STRETCHES: Mapping[str, pl.DataType | type[pl.DataType]] = {"vessel": pl.String, "start_utc": TIME, "end_utc": TIME}


@dataclass(frozen=True)
class Segment:
    """One part of a vessel's settings, in force from `start` up to `end`; None where it is open."""

    part: str
    start: datetime | None
    end: datetime | None
    digest: str

    def covers(self, when: datetime) -> bool:
        """Return whether it is in force at a time."""
        return (self.start is None or self.start <= when) and (self.end is None or when < self.end)


def segments_of(vessel: Vessel, field: Field) -> tuple[Segment, ...]:
    """Return the settings that the derived rows of a vessel rest on."""
    plain = {key: value for key, value in vars(vessel).items() if key not in _NOT_DERIVED_FROM}
    plain |= {"atmospheric_pressure_kpa": field.atmospheric_pressure_kpa, "time_zone": field.time_zone}
    outages = (
        Segment("outage", outage.from_utc, outage.to_utc, "out of service")
        for outage in field.outages
        if outage.vessel == vessel.id
    )
    controls = (s for part in _CONTROLS for s in _control_segments(part, getattr(vessel, part)))
    return (Segment("settings", None, None, _digest(plain)), *controls, *outages, *_test_segments(vessel, field))


def _test_segments(vessel: Vessel, field: Field) -> Iterator[Segment]:
    """Yield what tests.csv, routing.csv and gauges.csv say of the well tests that are told on the vessel."""
    for turn in (*scheduled(field, vessel.id), *routed(field, vessel)):
        words = {"well": turn.well, "source": turn.source, "start": str(turn.start_utc)}
        yield Segment("test", turn.start_utc, turn.end_utc, _digest(words))
    tanks = {tank.id: tank for tank in field.tanks}
    for gauge in field.gauges:
        if _may_tell(vessel, field, gauge.well):
            # With a turn of the well on any vessel a gauge is no test of its own.
            turns = [str(turn) for turn in turns_of(field, gauge.well, gauge.start_utc, gauge.end_utc)]
            words = {"gauge": str(gauge), "tank": str(tanks.get(gauge.tank)), "turns": " ".join(turns)}
            yield Segment("test", gauge.start_utc, gauge.end_utc, _digest(words))


def _may_tell(vessel: Vessel, field: Field, well_id: str) -> bool:
    """Return whether a hand gauge of a well may be told on a vessel: where the well is tested, or on its own."""
    is_own = any(well.id == well_id and well.vessel == vessel.id for well in field.wells)
    is_tested = any(turn.well == well_id for turn in scheduled(field, vessel.id))
    takes_any = vessel.service == "test vessel" or "well_on_test" in field.signals_of(vessel.id)
    return is_own or is_tested or takes_any


def _control_segments(part: str, dated: Sequence[WaterDump | BackPressureValve]) -> Iterator[Segment]:
    """Yield a control's settings as segments; the first holds before its own date too, as the field format says."""
    for number, setting in enumerate(dated):
        start = setting.valid_from if number else None
        end = dated[number + 1].valid_from if number + 1 < len(dated) else None
        yield Segment(part, start, end, _digest({k: v for k, v in vars(setting).items() if k != "valid_from"}))


def _digest(settings: Mapping[str, object]) -> str:
    return hashlib.sha256(json.dumps(settings, sort_keys=True).encode()).hexdigest()


def changed_stretches(old: Iterable[Segment], new: Iterable[Segment]) -> list[tuple[datetime | None, datetime | None]]:
    """Return the stretches of time in which other settings are in force in one than in the other; None = open."""
    old, new = tuple(old), tuple(new)
    dates = {date for segment in (*old, *new) for date in (segment.start, segment.end) if date is not None}
    edges = [_BEGINNING, *sorted(dates), _END]

    def in_force(segments: tuple[Segment, ...], when: datetime) -> frozenset[tuple[str, str]]:
        return frozenset((s.part, s.digest) for s in segments if s.covers(when))

    return [
        (None if start == _BEGINNING else start, None if end == _END else end)
        for start, end in pairwise(edges)
        if in_force(old, start) != in_force(new, start)
    ]


def sync_setup(con: duckdb.DuckDBPyConnection, home: SampleHome, field: Field) -> None:
    """Mark what a changed field.toml concerns, and remember it, within the caller's transaction."""
    remember(con, "time_zone", field.time_zone)
    stored: dict[str, list[Segment]] = {}
    for row in select(con, VESSEL_SETUPS).iter_rows(named=True):
        segment = Segment(row["part"], row["valid_from_utc"], row["valid_to_utc"], row["digest"])
        stored.setdefault(row["vessel"], []).append(segment)
    current = {vessel.id: segments_of(vessel, field) for vessel in field.vessels}
    changed = [
        (vessel, *stretch)
        for vessel, segments in current.items()
        for stretch in changed_stretches(stored.get(vessel, ()), segments)
    ]
    if changed:
        _mark_samples(con, home, pl.DataFrame(changed, schema=_STRETCHES, orient="row"))
    if {vessel: set(segments) for vessel, segments in stored.items()} != {v: set(s) for v, s in current.items()}:
        _rewrite(con, current)
        _forget_others(con, current)


def _mark_samples(con: duckdb.DuckDBPyConnection, home: SampleHome, changed: pl.DataFrame) -> None:
    """Mark the parts of stretches (columns of `_STRETCHES`) in which their vessels have samples."""
    tags = select(con, TAGS, "removed_utc IS NULL").select("tag_id", "vessel").join(changed, on="vessel", how="semi")
    extents = home.extents(whole_of(tags["tag_id"])).join(tags.with_row_index("stretch"), on="stretch")
    spans = extents.group_by("vessel").agg(pl.col("first_utc").min(), pl.col("last_utc").max() + ranges.TICK)
    marked = changed.join(spans, on="vessel").select(
        "vessel",
        from_utc=pl.max_horizontal("start_utc", "first_utc"),
        to_utc=pl.min_horizontal("end_utc", "last_utc"),
    )
    ranges.add(con, marked.filter(pl.col("from_utc") < pl.col("to_utc")))


def _rewrite(con: duckdb.DuckDBPyConnection, current: dict[str, tuple[Segment, ...]]) -> None:
    rows = [
        {"vessel": vessel, "part": s.part, "valid_from_utc": s.start, "valid_to_utc": s.end, "digest": s.digest}
        for vessel, segments in current.items()
        for s in segments
    ]
    con.execute("DELETE FROM vessel_setup")
    insert(con, VESSEL_SETUPS, pl.DataFrame(rows, schema=VESSEL_SETUPS.schema))


def _forget_others(con: duckdb.DuckDBPyConnection, current: Mapping[str, object]) -> None:
    """Drop what was derived, and is owed, for vessels that field.toml no longer has; their samples stay."""
    con.register("vessels", pl.DataFrame({"vessel": list(current)}, schema={"vessel": pl.String}))
    for frame in (*DERIVED_FRAMES, *RECKONED_FRAMES, CHANGED_RANGES):
        con.execute(f"DELETE FROM {frame.name} WHERE vessel NOT IN (SELECT vessel FROM vessels)")  # noqa: S608  declared
    con.unregister("vessels")
