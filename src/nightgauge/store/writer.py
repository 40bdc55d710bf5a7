"""What can be written to the database; all within the transaction of one `Store.writing`."""

from collections.abc import Sequence
from datetime import date, datetime

import polars as pl

from nightgauge.errors import ProgrammerError
from nightgauge.field.settings import Field
from nightgauge.store import derived_rows, display, homes, keeping, landing, ranges, rereading, setups, tags
from nightgauge.store.bookmarks import RECKON_FROM, set_bookmark, unset_bookmark
from nightgauge.store.derived_rows import DerivedSpan
from nightgauge.store.frames_io import insert, scalar
from nightgauge.store.home import SampleHome
from nightgauge.store.reader import Reader
from nightgauge.units import System
from nightgauge.vocabulary.derived import Derived
from nightgauge.vocabulary.exports import Export, ParsedExport
from nightgauge.vocabulary.frames import (
    FINDING_EVENTS,
    FINDINGS,
    NIGHT_STEPS,
    NIGHTS,
    Frame,
)


class Writer(Reader):
    """An open transaction; made by `Store.writing`. Reads see what was written before them."""

    _left: tuple[SampleHome, ...] = ()
    """Homes that the samples moved out of."""

    def set_display(self, system: System) -> None:
        """Make the `<table>_display` views speak this system of units."""
        display.set_display(self._con, system)

    def sync_home(self, field: Field) -> None:
        """Move the samples where field.toml wants them to live; nothing is done where they do already."""
        before = self._home
        self._home = homes.sync_home(self._con, before, field, self._folder)
        self._left = () if self._home is before else (before,)

    def committed(self) -> None:
        """Remove what the transaction has replaced outside the database, now that it is kept."""
        for home in (self._home, *self._left):
            home.committed()

    def sync_tags(self, field: Field, now: datetime) -> tags.TagSync:
        """Make table `tag` equal to tags.csv; convert, mark and owe readings again as that needs."""
        return tags.sync_tags(self._con, self._home, field, now)

    def sync_setup(self, field: Field) -> None:
        """Mark what settings of field.toml that changed since the last call concern."""
        setups.sync_setup(self._con, self._home, field)

    def land(self, export: Export, parsed: ParsedExport, read_at: datetime) -> landing.FileCounts:
        """Store an export that is read for the first time, with its quarantine, ledger row and changed ranges."""
        return landing.land(self._con, self._home, export, keeping.without_old(self._con, parsed), read_at)

    def land_again(self, file_id: int, parsed: ParsedExport, read_at: datetime) -> int:
        """Replace a stored export's samples of the tags it is owed for; return how many changed. Counts stay."""
        return rereading.land_again(self._con, self._home, file_id, keeping.without_old(self._con, parsed), read_at)

    def drop_samples(self, before: datetime, derive_from: datetime) -> int:
        """Drop all samples before a midnight of UTC for good; return how many.

        Parameters
        ----------
        derive_from : datetime
            From here on rows can still be derived; those before it are never derived again.

        """
        return keeping.drop_before(self._con, self._home, before, derive_from)

    def refuse(self, export: Export, reason: str, read_at: datetime) -> int:
        """Note in the ledger that an export was refused whole; return its file_id."""
        return self._note(export, "refused", reason, read_at)

    def duplicate(self, export: Export, original: str, read_at: datetime) -> int:
        """Note in the ledger that an export has the content of another; return its file_id."""
        return self._note(export, "duplicate", f"same content as {original}", read_at)

    def touched(self, export: Export) -> None:
        """Note a new size or time of a file whose content is still the one stored, so that it is not read again."""
        self._con.execute(
            """UPDATE source_file SET size_bytes = $size, modified_utc = $modified
            WHERE path = $path AND sha256 = $sha256 AND state = 'stored'""",
            {
                "size": export.size_bytes,
                "modified": export.modified_utc,
                "path": export.relative,
                "sha256": export.sha256,
            },
        )

    def _note(self, export: Export, state: str, reason: str, read_at: datetime) -> int:
        file_id = landing.next_file_id(self._con)
        counts = landing.FileCounts(file_id)
        landing.record_file(self._con, export, state, read_at, counts=counts, reason=reason)
        return file_id

    def mark_changed(self, vessel: str, from_utc: datetime, to_utc: datetime) -> None:
        """Note that [from_utc, to_utc) of a vessel must be derived again."""
        ranges.add(self._con, pl.DataFrame({"vessel": [vessel], "from_utc": [from_utc], "to_utc": [to_utc]}))

    def replace_derived(self, vessel: str, start: datetime, end: datetime, derived: Derived) -> None:
        """Put derived rows in the place of all that begin in [start, end), and take the range out of what is owed.

        Raises
        ------
        ProgrammerError
            If a row is of another vessel or begins outside the range.

        """
        self.replace_derived_of([(vessel, start, end)], derived)

    def replace_derived_of(self, spans: Sequence[tuple[str, datetime, datetime]], derived: Derived) -> None:
        """Put derived rows of several vessels in the place of all that begin in their spans (vessel, start, end).

        The ranges are taken out of what is owed. Spans of one vessel are apart.

        Raises
        ------
        ProgrammerError
            If a row begins in none of the spans of its vessel.

        """
        where = [DerivedSpan(vessel, start, end, *self._days_beginning_in(start, end)) for vessel, start, end in spans]
        derived_rows.replace(self._con, where, derived)
        ranges.clear(self._con, spans)
        if spans:
            # Kept with the rows: a night that is killed before it reckons leaves this to the next one.
            earliest = min(start for _, start, _ in spans)
            owed = self.reckoning_owed_from()
            set_bookmark(self._con, RECKON_FROM, earliest if owed is None else min(owed, earliest))

    def reckoned_all(self) -> None:
        """Note that the reckoned tables are those of the derived rows."""
        unset_bookmark(self._con, RECKON_FROM)

    def save_reckoned(self, frame: Frame, rows: pl.DataFrame, first_day: date | None = None) -> None:
        """Put rows in the place of all stored of a reckoned table, or of those from `first_day` on.

        Raises
        ------
        ProgrammerError
            If a row lies before `first_day`.

        """
        if first_day is None:
            self._con.execute(f"DELETE FROM {frame.name}")  # noqa: S608  names are declared
        else:
            if rows.filter(pl.col("day") < first_day).height:
                raise ProgrammerError(f"{frame.name}: rows lie before {first_day}")
            self._con.execute(f"DELETE FROM {frame.name} WHERE day >= $first", {"first": first_day})  # noqa: S608
        insert(self._con, frame, rows)

    def save_findings(self, findings: pl.DataFrame, events: pl.DataFrame) -> None:
        """Put the ledger's findings in the place of all stored, and add events.

        A mark that is stored stays: people set it at any time, also while a night judges.
        """
        marks = self.findings().select("id", stored_mark="mark")
        kept = findings.join(marks, on="id", how="left").with_columns(mark=pl.coalesce("stored_mark", "mark"))
        self._con.execute("DELETE FROM finding")
        insert(self._con, FINDINGS, kept.drop("stored_mark"))
        insert(self._con, FINDING_EVENTS, events)

    def set_mark(self, finding_id: str, mark_json: str, event: pl.DataFrame) -> None:
        """Set a person's mark on a finding and add the event (a row of FINDING_EVENTS) that records it.

        Raises
        ------
        ProgrammerError
            If there is no such finding.

        """
        marked = self._con.execute(
            "UPDATE finding SET mark = $mark WHERE id = $id RETURNING id", {"mark": mark_json, "id": finding_id}
        )
        if not marked.fetchall():
            raise ProgrammerError(f"there is no finding {finding_id} to mark")
        insert(self._con, FINDING_EVENTS, event)

    def begin_night(self, until: datetime, started: datetime) -> int:
        """Note that a run has begun; return its number."""
        night_id = int(scalar(self._con, "SELECT coalesce(max(night_id), 0) + 1 FROM night"))
        row = {"night_id": [night_id], "until_utc": [until], "started_utc": [started], "state": ["running"]}
        insert(self._con, NIGHTS, pl.DataFrame(row))
        return night_id

    def end_night(self, night_id: int, ended: datetime, state: str, detail: str) -> None:
        """Note how a run ended."""
        self._con.execute(
            "UPDATE night SET ended_utc = $ended, state = $state, detail = $detail WHERE night_id = $night_id",
            {"ended": ended, "state": state, "detail": detail, "night_id": night_id},
        )

    def save_steps(self, steps: pl.DataFrame, night_id: int | None) -> None:
        """Add steps (NIGHT_STEPS but for their numbers) of a night, or of a whole run (None)."""
        last = int(scalar(self._con, "SELECT coalesce(max(step_id), 0) FROM night_step"))
        numbered = steps.with_columns(
            step_id=last + 1 + pl.int_range(pl.len(), dtype=pl.Int64), night_id=pl.lit(night_id, dtype=pl.Int32)
        )
        insert(self._con, NIGHT_STEPS, numbered)

    def close_killed_nights(self) -> int:
        """Note that runs without an end were killed; only for who holds the night's lock. Return how many."""
        killed = self._con.execute(
            """UPDATE night SET state = 'killed', detail = 'the process ended without saying so'
            WHERE state = 'running' RETURNING night_id"""
        ).fetchall()
        return len(killed)
