"""What can be read from the database; every frame comes in its declared order."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import duckdb
import polars as pl

from nightgauge.errors import SettingError
from nightgauge.store import ranges, rereading
from nightgauge.store.bookmarks import DERIVE_FROM, RECKON_FROM, SAMPLES_FROM, bookmark
from nightgauge.store.field_days import first_day_from
from nightgauge.store.frames_io import Parameters, select, select_unsorted
from nightgauge.store.home import STRETCHES, whole_of
from nightgauge.store.homes import home_of
from nightgauge.store.lake_home import LakeHome
from nightgauge.store.lake_reading import LakeSamples
from nightgauge.store.parting import parted_by_vessel
from nightgauge.store.remembered import recall
from nightgauge.store.vessel_samples import by_vessel, in_force, vessel_samples
from nightgauge.vocabulary.derived import Derived
from nightgauge.vocabulary.frames import (
    DUMP_CYCLES,
    FINDING_EVENTS,
    FINDINGS,
    NIGHT_STEPS,
    NIGHTS,
    QUARANTINE,
    SIGNAL_HOURS,
    SOURCE_FILES,
    TAGS,
    TIME,
    VESSEL_DAYS,
    VESSEL_HOURS,
    WELL_TESTS,
    Column,
    Frame,
)

TAG_ACTIVITY = Frame(
    "tag_activity",
    "one tag in use and what has come in from it",
    ("vessel", "signal", "tag_id"),
    (
        Column("tag_id", pl.Int32, "", "number"),
        Column("tag", pl.String, "", "name in the historian"),
        Column("vessel", pl.String, "", "vessel id"),
        Column("signal", pl.String, "", "signal name"),
        Column("samples", pl.Int64, "", "samples stored"),
        Column("bad_samples", pl.Int64, "", "of these: bad"),
        Column("first_utc", TIME, "", "earliest sample"),
        Column("last_utc", TIME, "", "latest sample"),
    ),
)

_OF_VESSEL = "vessel = $vessel AND {time} >= $start AND {time} < $end"
_OF_VESSELS = "list_contains($vessels, vessel)"
"""Asked once for each name of a stretch of the table, where IN joins row by row: two thirds of the reading's time."""
_VERY_EARLY = datetime.min.replace(year=1, tzinfo=ZoneInfo("UTC"))


class Reader:
    """An open connection to read with; made by `Store.reading` and `Store.writing`."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, folder: Path = Path()) -> None:
        self._con = connection
        self._folder = folder
        """Where the database lies; a lake's place may be told from there."""
        self._home = home_of(connection, folder)

    def vessel_samples(self, vessel: str, start: datetime, end: datetime) -> pl.DataFrame:
        """Return the samples of a vessel in [start, end) as VESSEL_SAMPLES; bad ones are kept without a value."""
        tags = self._tags_of(vessel)
        return vessel_samples(self._home.samples_of(tags["tag_id"], start, end), tags)

    def samples_of(self, vessels: Sequence[str], start: datetime, end: datetime) -> dict[str, pl.DataFrame]:
        """Return the samples of each of some vessels in [start, end), as `vessel_samples` does but read together."""
        tags = in_force(select(self._con, TAGS, _OF_VESSELS, {"vessels": list(vessels)}))
        return by_vessel(self._home.samples_of(tags["tag_id"], start, end), tags, vessels)

    def sent_samples(self, vessels: Sequence[str], start: datetime, end: datetime) -> LakeSamples:
        """Return what reads the samples of vessels in [start, end) elsewhere, without the database.

        Raises
        ------
        SettingError
            If the samples live in the database itself, which nobody else can read then.

        """
        if not isinstance(self._home, LakeHome):
            raise SettingError(
                "the samples live in the database, which only one process can open; to hand vessels to workers"
                ' set samples = "lake" in field.toml, and lake = "..." to a place that every worker can read'
            )
        tags = in_force(select(self._con, TAGS, _OF_VESSELS, {"vessels": list(vessels)}))
        return self._home.sent(tags, start, end)

    def data_span(self, vessel: str) -> tuple[datetime, datetime] | None:
        """Return the first and last sample time of a vessel, or None where it has none."""
        tags = self._tags_of(vessel).with_columns(stretch=pl.int_range(pl.len(), dtype=pl.Int32))
        extents = self._home.extents(tags.select(*STRETCHES))
        if extents.is_empty():
            return None
        first, last = extents.select(pl.col("first_utc").min(), pl.col("last_utc").max()).row(0)
        return first, last

    def _tags_of(self, vessel: str) -> pl.DataFrame:
        """Return the rows of `tag` in force of a vessel as TAGS."""
        return in_force(select(self._con, TAGS, "vessel = $vessel", {"vessel": vessel}))

    def derived(self, vessel: str, start: datetime | None, end: datetime) -> Derived:
        """Return the derived rows of a vessel that begin in [start, end); a day begins at its midnight in the field."""
        return self.derived_of([vessel], start, end)[vessel]

    def derived_of(
        self,
        vessels: Sequence[str],
        start: datetime | None,
        end: datetime,
        columns: Mapping[str, Sequence[str]] | None = None,
    ) -> dict[str, Derived]:
        """Return the derived rows of some vessels that begin in [start, end), each table read once for all of them.

        Parameters
        ----------
        columns : mapping of str to sequence of str, optional
            By the names of `Derived`: the columns that are wanted, of which those that give the order are always
            there but for the vessel; a frame that is not named comes empty. Without it all come with all their columns.

        """
        span = (start or _VERY_EARLY, end)
        days = self._days_beginning_in(start, end)
        tables: dict[str, tuple[Frame, str, tuple[object, object]]] = {
            "cycles": (DUMP_CYCLES, "opened_utc", span),
            "hours": (VESSEL_HOURS, "hour_utc", span),
            "days": (VESSEL_DAYS, "day", days),
            "signal_hours": (SIGNAL_HOURS, "hour_utc", span),
            "tests": (WELL_TESTS, "start_utc", span),
        }
        parts: dict[str, dict[str, pl.DataFrame]] = {}
        for name, (frame, time, between) in tables.items():
            wanted = tuple(frame.schema) if columns is None else tuple(columns.get(name, ()))
            parts[name] = self._by_vessel(frame, time, vessels, between, wanted)
        return {vessel: Derived(**{name: of[vessel] for name, of in parts.items()}) for vessel in vessels}

    def _by_vessel(
        self, frame: Frame, time: str, vessels: Sequence[str], span: tuple[object, object], wanted: Sequence[str]
    ) -> dict[str, pl.DataFrame]:
        """Return the rows of some vessels that begin in a span, each vessel's in the frame's order."""
        if not wanted:
            return dict.fromkeys(vessels, frame.empty())
        read = [name for name in frame.schema if name in {"vessel", *frame.order, *wanted}]
        where = f"{_OF_VESSELS} AND {time} >= $start AND {time} < $end"
        asked: Parameters = {"vessels": list(vessels), "start": span[0], "end": span[1]}
        rows = select_unsorted(self._con, frame, where, asked, read)
        return parted_by_vessel(rows, frame, vessels, wanted)

    def days(self, start: datetime, end: datetime, vessels: Sequence[str] | None = None) -> pl.DataFrame:
        """Return the days of some vessels, or of all, that begin in [start, end) as VESSEL_DAYS."""
        first_day, end_day = self._days_beginning_in(start, end)
        where, of = _of_some(vessels)
        span: Parameters = {"start": first_day, "end": end_day}
        return select(self._con, VESSEL_DAYS, f"day >= $start AND day < $end AND {where}", span | of)

    def first_days(self) -> dict[str, date]:
        """Return each vessel's first day with derived rows."""
        return dict(self._con.execute("SELECT vessel, min(day) FROM vessel_day GROUP BY vessel").fetchall())

    def days_of(self, vessels: Sequence[str], end: datetime) -> pl.DataFrame:
        """Return the days of some vessels that begin before a time as VESSEL_DAYS."""
        _, end_day = self._days_beginning_in(None, end)
        known: Parameters = {"vessels": list(vessels), "end": end_day}
        return select(self._con, VESSEL_DAYS, f"{_OF_VESSELS} AND day < $end", known)

    def hours(self, start: datetime, end: datetime) -> pl.DataFrame:
        """Return the hours of all vessels that begin in [start, end) as VESSEL_HOURS."""
        return select(self._con, VESSEL_HOURS, "hour_utc >= $start AND hour_utc < $end", {"start": start, "end": end})

    def signal_hours(
        self, signals: frozenset[str], start: datetime, end: datetime, vessels: Sequence[str] | None = None
    ) -> pl.DataFrame:
        """Return the hours of these signals of some vessels, or of all, that begin in [start, end) as SIGNAL_HOURS."""
        of_some, of = _of_some(vessels)
        where = f"signal IN (SELECT unnest($signals)) AND hour_utc >= $start AND hour_utc < $end AND {of_some}"
        span: Parameters = {"signals": sorted(signals), "start": start, "end": end}
        return select(self._con, SIGNAL_HOURS, where, span | of)

    def cycles(self, vessel: str, start: datetime, end: datetime) -> pl.DataFrame:
        """Return the dumps of a vessel that opened in [start, end) as DUMP_CYCLES."""
        where = _OF_VESSEL.format(time="opened_utc")
        return select(self._con, DUMP_CYCLES, where, {"vessel": vessel, "start": start, "end": end})

    def reckoned(self, frame: Frame) -> pl.DataFrame:
        """Return a table that nights reckon (capacity, back pressure, carryover, anodes) as its frame."""
        return select(self._con, frame)

    def tests(self, start: datetime, end: datetime) -> pl.DataFrame:
        """Return the tests of all wells that began in [start, end) as WELL_TESTS."""
        return select(self._con, WELL_TESTS, "start_utc >= $start AND start_utc < $end", {"start": start, "end": end})

    def findings(self) -> pl.DataFrame:
        """Return all findings as FINDINGS."""
        return select(self._con, FINDINGS)

    def finding_events(self) -> pl.DataFrame:
        """Return all events of findings as FINDING_EVENTS."""
        return select(self._con, FINDING_EVENTS)

    def nights(self) -> pl.DataFrame:
        """Return all runs as NIGHTS."""
        return select(self._con, NIGHTS)

    def night_steps(self) -> pl.DataFrame:
        """Return the steps of all runs as NIGHT_STEPS."""
        return select(self._con, NIGHT_STEPS)

    def last_night(self) -> datetime | None:
        """Return up to when the last good night judged, or None before the first."""
        done = self.nights().filter(pl.col("state") == "done")["until_utc"]
        last = done.max()
        return last if isinstance(last, datetime) else None

    def source_files(self) -> pl.DataFrame:
        """Return the ledger of exports as SOURCE_FILES."""
        return select(self._con, SOURCE_FILES)

    def quarantine(self) -> pl.DataFrame:
        """Return all rows ever kept out as QUARANTINE; those with `superseded_utc` have been read since."""
        return select(self._con, QUARANTINE)

    def changed_ranges(self) -> pl.DataFrame:
        """Return what must be derived again: vessel, from_utc, to_utc (exclusive), apart and in order."""
        return ranges.stored(self._con)

    def reckoning_owed_from(self) -> datetime | None:
        """Return from when on derived rows have changed since the tables that nights reckon were reckoned last."""
        return bookmark(self._con, RECKON_FROM)

    def samples_from(self) -> datetime | None:
        """Return before which time samples were dropped; None where all are kept."""
        return bookmark(self._con, SAMPLES_FROM)

    def derivable_from(self) -> datetime | None:
        """Return from when on rows can be derived; None where no samples were dropped."""
        return bookmark(self._con, DERIVE_FROM)

    def files_with_tags(self, tags: frozenset[str]) -> pl.DataFrame:
        """Return the exports to read again for these tags, in the order to do it: file_id, path, sha256."""
        return rereading.files_with_tags(self._con, tags)

    def tag_activity(self, until: datetime) -> pl.DataFrame:
        """Return what has come in from each tag in use, counting samples before `until`, as TAG_ACTIVITY."""
        tags = in_force(select(self._con, TAGS)).select("tag_id", "tag", "vessel", "signal")
        heard = self._home.extents(whole_of(tags["tag_id"]).with_columns(to_utc=pl.lit(until).cast(TIME)))
        numbered = tags.with_columns(stretch=pl.int_range(pl.len(), dtype=pl.Int32))
        activity = numbered.join(heard, on="stretch", how="left").drop("stretch")
        return TAG_ACTIVITY.build(activity.with_columns(pl.col("samples", "bad_samples").fill_null(0)))

    def _days_beginning_in(self, start: datetime | None, end: datetime) -> tuple[date, date]:
        """Return the first day whose midnight in the field is at or after `start`, and the first not before `end`."""
        zone = ZoneInfo(recall(self._con, "time_zone") or "UTC")
        return (date.min if start is None else first_day_from(start, zone)), first_day_from(end, zone)


def _of_some(vessels: Sequence[str] | None) -> tuple[str, Parameters]:
    """Return the condition that rows are of some vessels, or of any, and its parameters."""
    return ("true", {}) if vessels is None else (_OF_VESSELS, {"vessels": list(vessels)})
