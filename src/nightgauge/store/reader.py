"""What can be read from the database; every frame comes in its declared order."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import duckdb
import polars as pl

from nightgauge.store import ranges, rereading
from nightgauge.store.frames_io import Parameters, select
from nightgauge.store.remembered import recall
from nightgauge.store.schema import IN_FORCE
from nightgauge.vocabulary.derived import Derived
from nightgauge.vocabulary.frames import (
    DUMP_CYCLES,
    FINDING_EVENTS,
    FINDINGS,
    NIGHTS,
    QUARANTINE,
    SIGNAL_HOURS,
    SOURCE_FILES,
    TIME,
    VESSEL_DAYS,
    VESSEL_HOURS,
    VESSEL_SAMPLES,
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
_VERY_EARLY = datetime.min.replace(year=1, tzinfo=ZoneInfo("UTC"))


class Reader:
    """An open connection to read with; made by `Store.reading` and `Store.writing`."""

    def __init__(self, connection: duckdb.DuckDBPyConnection) -> None:
        self._con = connection

    def vessel_samples(self, vessel: str, start: datetime, end: datetime) -> pl.DataFrame:
        """Return the samples of a vessel in [start, end) as VESSEL_SAMPLES; bad ones are kept without a value."""
        samples = self._con.sql(
            f"""SELECT signal, time_utc, CASE WHEN flag = 'bad' THEN NULL ELSE value END AS value,
                CASE WHEN flag = 'bad' THEN NULL ELSE text_value END AS text_value, flag, max_gap_s
            FROM sample JOIN tag USING (tag_id)
            WHERE vessel = $vessel AND time_utc >= $start AND time_utc < $end AND {IN_FORCE}
            ORDER BY tag_id, time_utc""",  # noqa: S608  a constant of this room
            params={"vessel": vessel, "start": start, "end": end},
        ).pl()
        return VESSEL_SAMPLES.build(samples)

    def data_span(self, vessel: str) -> tuple[datetime, datetime] | None:
        """Return the first and last sample time of a vessel, or None where it has none."""
        rows = self._con.execute(
            f"""SELECT min(time_utc), max(time_utc) FROM sample JOIN tag USING (tag_id)
            WHERE vessel = $vessel AND {IN_FORCE}""",  # noqa: S608  a constant of this room
            {"vessel": vessel},
        ).fetchall()
        first, last = rows[0]
        return None if first is None else (first, last)

    def derived(self, vessel: str, start: datetime | None, end: datetime) -> Derived:
        """Return the derived rows of a vessel that begin in [start, end); a day begins at its midnight in the field."""
        span: Parameters = {"vessel": vessel, "start": start or _VERY_EARLY, "end": end}

        def rows(frame: Frame, time: str) -> pl.DataFrame:
            return select(self._con, frame, _OF_VESSEL.format(time=time), span)

        first_day, end_day = self._days_beginning_in(start, end)
        days = select(
            self._con, VESSEL_DAYS, _OF_VESSEL.format(time="day"),
            {"vessel": vessel, "start": first_day, "end": end_day},
        )  # fmt: skip
        return Derived(
            cycles=rows(DUMP_CYCLES, "opened_utc"),
            hours=rows(VESSEL_HOURS, "hour_utc"),
            days=days,
            signal_hours=rows(SIGNAL_HOURS, "hour_utc"),
            tests=rows(WELL_TESTS, "start_utc"),
        )

    def days(self, start: datetime, end: datetime) -> pl.DataFrame:
        """Return the days of all vessels that begin in [start, end) as VESSEL_DAYS."""
        first_day, end_day = self._days_beginning_in(start, end)
        return select(self._con, VESSEL_DAYS, "day >= $start AND day < $end", {"start": first_day, "end": end_day})

    def hours(self, start: datetime, end: datetime) -> pl.DataFrame:
        """Return the hours of all vessels that begin in [start, end) as VESSEL_HOURS."""
        return select(self._con, VESSEL_HOURS, "hour_utc >= $start AND hour_utc < $end", {"start": start, "end": end})

    def signal_hours(self, signals: frozenset[str], start: datetime, end: datetime) -> pl.DataFrame:
        """Return the hours of these signals of all vessels that begin in [start, end) as SIGNAL_HOURS."""
        where = "signal IN (SELECT unnest($signals)) AND hour_utc >= $start AND hour_utc < $end"
        return select(self._con, SIGNAL_HOURS, where, {"signals": sorted(signals), "start": start, "end": end})

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

    def files_with_tags(self, tags: frozenset[str]) -> pl.DataFrame:
        """Return the exports to read again for these tags, in the order to do it: file_id, path, sha256."""
        return rereading.files_with_tags(self._con, tags)

    def tag_activity(self, until: datetime) -> pl.DataFrame:
        """Return what has come in from each tag in use, counting samples before `until`, as TAG_ACTIVITY."""
        activity = self._con.sql(
            """SELECT tag_id, tag, vessel, signal, count(time_utc) AS samples,
                count(*) FILTER (WHERE flag = 'bad') AS bad_samples,
                min(time_utc) AS first_utc, max(time_utc) AS last_utc
            FROM tag LEFT JOIN (SELECT * FROM sample WHERE time_utc < $until) AS heard USING (tag_id)
            WHERE removed_utc IS NULL GROUP BY ALL""",
            params={"until": until},
        ).pl()
        return TAG_ACTIVITY.build(activity)

    def _days_beginning_in(self, start: datetime | None, end: datetime) -> tuple[date, date]:
        """Return the first day whose midnight in the field is at or after `start`, and the first not before `end`."""
        zone = ZoneInfo(recall(self._con, "time_zone") or "UTC")
        return (date.min if start is None else _first_day_from(start, zone)), _first_day_from(end, zone)


def _first_day_from(when: datetime, zone: ZoneInfo) -> date:
    """Return the first day of a zone that begins at or after a time."""
    local = when.astimezone(zone)
    midnight = datetime(local.year, local.month, local.day, tzinfo=zone)
    return local.date() if when <= midnight.astimezone(when.tzinfo) else date.fromordinal(local.toordinal() + 1)
