"""Builders for the store's tests: a small field, exports by hand, a database in a temporary folder."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType

import duckdb
import polars as pl
import pytest

from nightgauge.field.settings import Field, TagRow, Vessel
from nightgauge.store import Store, Writer
from nightgauge.store.migrations import migrate
from nightgauge.units import conversion
from nightgauge.vocabulary import frames
from nightgauge.vocabulary.exports import EXPORT_QUARANTINE, EXPORT_SAMPLES, TAGS_SEEN, Export, ParsedExport
from nightgauge.vocabulary.signals import SIGNALS

T0 = datetime(2026, 3, 1, tzinfo=UTC)
READ_AT = datetime(2026, 4, 1, 6, tzinfo=UTC)


def at(minutes: float) -> datetime:
    """Return a time so many minutes after the first."""
    return T0 + timedelta(minutes=minutes)


def make_tag(tag: str, signal: str, unit: str, vessel: str = "V-1", **others: object) -> TagRow:
    known = SIGNALS[signal]
    default = conversion(unit, known.dimension) if known.kind in {"analogue", "total"} else conversion("1", "fraction")
    settings: dict[str, object] = {"conversion": default, "max_gap_s": known.max_gap_s, **others}
    return TagRow(tag=tag, vessel=vessel, signal=signal, unit=unit, **settings)  # type: ignore[arg-type]


LEVEL = make_tag("LI-1", "interface_level", "in")
PRESSURE = make_tag("PI-1", "vessel_pressure", "psig")
SWITCH = make_tag("ZS-1", "water_dump_open", "", states={"OPEN": 1.0, "SHUT": 0.0})
OTHER_LEVEL = make_tag("LI-2", "interface_level", "in", vessel="V-2")


def make_field(tags: Iterable[TagRow] = (LEVEL, PRESSURE, SWITCH, OTHER_LEVEL), **others: object) -> Field:
    vessels = (Vessel("V-1", "free-water knockout"), Vessel("V-2", "separator"))
    settings: dict[str, object] = {"time_zone": "America/Denver", "vessels": vessels, **others}
    return Field(path=Path("field.toml"), name="Test", tags=tuple(tags), streams=("*.csv",), **settings)  # type: ignore[arg-type]


Row = tuple[int, float, float | None, str]
"""tag_id, minute, value, flag."""


def make_samples(rows: Iterable[Row]) -> pl.DataFrame:
    """Return rows as EXPORT_SAMPLES."""
    listed = list(rows)
    return EXPORT_SAMPLES.build(
        {
            "tag_id": [row[0] for row in listed],
            "time_utc": [at(row[1]) for row in listed],
            "value": [row[2] for row in listed],
            "flag": [row[3] for row in listed],
        }
        if listed
        else EXPORT_SAMPLES.empty()
    )


def make_parsed(
    rows: Iterable[Row] = (),
    losers: Iterable[Row] = (),
    repeated: int = 0,
    kept_out: Mapping[str, int] | None = None,
    tags: Iterable[str] = (),
) -> ParsedExport:
    """Return what reading a file would: samples, displaced rows, rows kept out per tag, names seen."""
    samples, displaced = make_samples(rows), make_samples(losers)
    kept_out = kept_out or {}
    quarantine = EXPORT_QUARANTINE.build(
        {
            "row_number": list(range(2, 2 + len(kept_out))),
            "rows": list(kept_out.values()),
            "reason": ["unknown tag"] * len(kept_out),
            "tag": list(kept_out),
        }
        if kept_out
        else EXPORT_QUARANTINE.empty()
    )
    names = sorted({*tags, *kept_out})
    return ParsedExport(
        samples=samples,
        losers=displaced,
        quarantine=quarantine,
        rows_read=samples.height + displaced.height + repeated + sum(kept_out.values()),
        rows_repeated=repeated,
        rows_ignored=0,
        rows_assumed_first=0,
        tags_seen=TAGS_SEEN.build({"tag": names, "rows": [1] * len(names)} if names else TAGS_SEEN.empty()),
        unknown_quality={},
    )


def make_export(name: str = "a.csv", sha256: str | None = None) -> Export:
    return Export(Path(name), name, sha256 or f"hash of {name}", 100, READ_AT - timedelta(days=1))


@dataclass(frozen=True)
class Builders:
    """What tests build from, in one fixture because test folders import nothing from each other."""

    at: Callable[[float], datetime] = at
    tag: Callable[..., TagRow] = make_tag
    field: Callable[..., Field] = make_field
    samples: Callable[..., pl.DataFrame] = make_samples
    parsed: Callable[..., ParsedExport] = make_parsed
    export: Callable[..., Export] = make_export
    read_at: datetime = READ_AT
    level: TagRow = LEVEL
    pressure: TagRow = PRESSURE
    switch: TagRow = SWITCH
    other_level: TagRow = OTHER_LEVEL
    frames: ModuleType = frames


@pytest.fixture(scope="session")
def make() -> Builders:
    return Builders()


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """Return an empty database that knows the tags LI-1 (1), PI-1 (2), ZS-1 (3) of V-1 and LI-2 (4) of V-2."""
    made = Store(tmp_path / "nightgauge.duckdb")
    with made.writing() as writer:
        writer.sync_tags(make_field(), READ_AT)
        writer.sync_setup(make_field())
    return made


@pytest.fixture(scope="session")
def _in_memory() -> Iterator[duckdb.DuckDBPyConnection]:
    with duckdb.connect(":memory:") as connection:
        connection.execute("SET TimeZone = 'UTC'")
        migrate(connection, Path(":memory:"))
        writer = Writer(connection)
        writer.sync_tags(make_field(), READ_AT)
        writer.sync_setup(make_field())
        yield connection


@pytest.fixture(scope="session")
def rolled_back(_in_memory: duckdb.DuckDBPyConnection) -> Callable[[], AbstractContextManager[Writer]]:
    """Return a context that gives a writer on the same database as `store`'s, in memory, and undoes all at its end."""

    @contextmanager
    def opened() -> Iterator[Writer]:
        _in_memory.execute("BEGIN")
        try:
            yield Writer(_in_memory)
        finally:
            _in_memory.execute("ROLLBACK")

    return opened


@pytest.fixture
def writer(rolled_back: Callable[[], AbstractContextManager[Writer]]) -> Iterator[Writer]:
    """Return a writer whose work is undone after the test."""
    with rolled_back() as opened:
        yield opened
