"""Reading: from export files to stored samples, one transaction each."""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from nightgauge.errors import SourceError
from nightgauge.field.settings import Field
from nightgauge.pipeline.steps import Step
from nightgauge.pipeline.telling import Clock, Tell, silent
from nightgauge.store import Store
from nightgauge.streams import (
    Export,
    ParsedExport,
    TagTable,
    discover,
    fingerprint,
    read_export,
    relative_to,
    stamp,
    unhashed,
)


@dataclass(frozen=True)
class FileOutcome:
    """What became of one export in this run."""

    path: str
    state: str
    """stored, duplicate, refused, or growing (changed while it was read; read again next time)."""
    reason: str | None = None
    rows_read: int = 0
    rows_stored: int = 0
    rows_repeated: int = 0
    rows_replaced: int = 0
    rows_quarantined: int = 0
    unknown_quality: Mapping[str, int] = field(default_factory=dict)

    @property
    def is_uneven(self) -> bool:
        """Return whether rows of it were kept out or contradicted each other; overlaps that repeat are ordinary."""
        return self.rows_replaced + self.rows_quarantined > 0


@dataclass(frozen=True)
class ReadReport:
    """What the reading step did."""

    files: tuple[FileOutcome, ...] = ()
    unchanged: int = 0
    """Exports that were left alone, as they are what was read before."""

    def count(self, state: str) -> int:
        """Return how many exports ended in this state."""
        return sum(outcome.state == state for outcome in self.files)

    def rows(self, name: str) -> int:
        """Return the sum over the exports of one of their row counts, such as `rows_read`."""
        return sum(getattr(outcome, name) for outcome in self.files)

    @property
    def total(self) -> FileOutcome:
        """Return the row counts of all exports together."""
        return FileOutcome(
            "all exports",
            "stored",
            rows_read=self.rows("rows_read"),
            rows_stored=self.rows("rows_stored"),
            rows_repeated=self.rows("rows_repeated"),
            rows_replaced=self.rows("rows_replaced"),
            rows_quarantined=self.rows("rows_quarantined"),
        )


def note_reading(step: Step, report: ReadReport) -> None:
    """Note in the run's step what was read, what was not, and why."""
    states = ("stored", "duplicate", "refused", "growing")
    step.note(
        report.rows("rows_read"),
        report.rows("rows_stored"),
        exports={state: report.count(state) for state in states if report.count(state)},
        unchanged=report.unchanged,
        repeated=report.rows("rows_repeated"),
        replaced=report.rows("rows_replaced"),
        quarantined=report.rows("rows_quarantined"),
        not_read={outcome.path: outcome.reason for outcome in report.files if outcome.state != "stored"},
    )


def read_exports(field_: Field, store: Store, clock: Clock, tell: Tell = silent) -> ReadReport:
    """Read every export that is new, changed, or holds a tag that was added since; one transaction each.

    An export that cannot be read to its end is refused whole and named; the rest lands.
    """
    with store.writing() as writer:
        writer.set_display(field_.display_units)
        writer.sync_home(field_)
        synced = writer.sync_tags(field_, clock())
        writer.sync_setup(field_)
    table = TagTable(synced.ids)
    _read_again(field_, store, table, synced.reread, clock)
    with store.reading() as reader:
        ledger_rows = reader.source_files()
    known = _Known(ledger_rows)
    paths = discover(field_)
    outcomes = []
    for number, path in enumerate(paths, start=1):
        if not known.is_unchanged(relative_to(path, field_.folder), path):
            outcome = _read_one(field_, store, table, path, known, clock)
            outcomes += [outcome] if outcome else []
        tell("reading exports", number, len(paths))
    return ReadReport(tuple(outcomes), len(paths) - len(outcomes))


class _Known:
    """What the ledger says of files, kept up to date while a run reads."""

    def __init__(self, rows: pl.DataFrame) -> None:
        ordered = rows.sort("file_id")
        last = ordered.group_by("path", maintain_order=True).last()
        self._stamps = {row["path"]: (row["size_bytes"], row["modified_utc"]) for row in last.iter_rows(named=True)}
        stored = ordered.filter(pl.col("state") == "stored")
        self._current = dict(zip(stored["path"], stored["sha256"], strict=True))
        self._holders = dict(zip(stored["sha256"], stored["path"], strict=True))
        self._sizes = set(stored["size_bytes"])

    def is_of_new_size(self, path: Path) -> bool:
        """Return whether no stored content has the size of this file, so that it has no twin."""
        found = stamp(path)
        return found is not None and found[0] not in self._sizes

    def is_unchanged(self, relative: str, path: Path) -> bool:
        """Return whether size and time are as when this path was last read or refused."""
        return self._stamps.get(relative) == stamp(path)

    def is_only_touched(self, export: Export) -> bool:
        """Return whether the path holds the very content that was last stored from it."""
        return self._current.get(export.relative) == export.sha256

    def twin(self, export: Export) -> str | None:
        """Return another path under which this content is stored.

        A path that goes back to an earlier content of its own has no twin: that is a correction taken back.
        """
        holder = self._holders.get(export.sha256)
        return None if holder == export.relative else holder

    def add(self, export: Export) -> None:
        """Note that this content is stored now."""
        self._current[export.relative] = export.sha256
        self._sizes.add(export.size_bytes)
        self._holders[export.sha256] = export.relative


def _read_again(field_: Field, store: Store, table: TagTable, tags: frozenset[str], clock: Clock) -> None:
    """Read stored exports once more for tags that were added or whose states or dates changed.

    What cannot be read again now stays owed, and is read should it come back.
    """
    if not tags:
        return
    with store.reading() as reader:
        owed = reader.files_with_tags(tags)
    for file_id, relative, sha256 in owed.iter_rows():
        try:
            export = fingerprint(field_.folder / relative, field_.folder)
            if export.sha256 != sha256:
                continue  # Another content by now: that is read as an export of its own.
            parsed = read_export(export, field_, table, clock(), only=tags)
        except SourceError:
            continue
        with store.writing() as writer:
            writer.land_again(file_id, parsed, clock())


def _read_one(
    field_: Field, store: Store, table: TagTable, path: Path, known: _Known, clock: Clock
) -> FileOutcome | None:
    """Return what became of an export, or None where it holds what is stored from it already."""
    relative = relative_to(path, field_.folder)

    def parsed_of(export: Export) -> ParsedExport | SourceError:
        try:
            return read_export(export, field_, table, clock())
        except SourceError as error:
            return error

    try:
        with ThreadPoolExecutor(1) as beside:
            hashing = beside.submit(fingerprint, path, field_.folder)
            # No stored content has this size, so its hash is needed only when it lands.
            early = parsed_of(unhashed(path, field_.folder)) if known.is_of_new_size(path) else None
            export = hashing.result()
    except SourceError as error:
        # Not kept in the ledger: a right that is given later changes neither size nor time of the file.
        return FileOutcome(relative, "refused", str(error))
    if early is None and known.is_only_touched(export):
        with store.writing() as writer:
            writer.touched(export)
        return None
    twin = known.twin(export) if early is None else None
    if twin is not None:
        with store.writing() as writer:
            writer.duplicate(export, twin, clock())
        return FileOutcome(relative, "duplicate", f"same content as {twin}")
    parsed = parsed_of(export) if early is None else early
    if stamp(path) != (export.size_bytes, export.modified_utc):
        # Before a refusal is kept: what is wrong with a file that is being written, or gone, says nothing of it.
        return FileOutcome(relative, "growing", "it changed or went away while it was read; it is read again next time")
    if isinstance(parsed, SourceError):
        with store.writing() as writer:
            writer.refuse(export, str(parsed), clock())
        return FileOutcome(relative, "refused", str(parsed))
    with store.writing() as writer:
        counts = writer.land(export, parsed, clock())
    known.add(export)
    return FileOutcome(
        relative,
        "stored",
        rows_read=counts.rows_read,
        rows_stored=counts.rows_stored,
        rows_repeated=counts.rows_repeated,
        rows_replaced=counts.rows_replaced,
        rows_quarantined=counts.rows_quarantined,
        unknown_quality=parsed.unknown_quality,
    )
