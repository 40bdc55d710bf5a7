"""Reading: from export files to stored samples, one transaction each."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from nightgauge.errors import SourceError
from nightgauge.field.settings import Field
from nightgauge.pipeline.telling import Clock, Tell, silent
from nightgauge.store import Store
from nightgauge.streams import TagTable, discover, fingerprint, read_export, relative_to, stamp


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


@dataclass(frozen=True)
class ReadReport:
    """What the reading step did."""

    files: tuple[FileOutcome, ...] = ()

    def count(self, state: str) -> int:
        """Return how many exports ended in this state."""
        return sum(outcome.state == state for outcome in self.files)

    def rows(self, name: str) -> int:
        """Return the sum over the exports of one of their row counts, such as `rows_read`."""
        return sum(getattr(outcome, name) for outcome in self.files)


def read_exports(field_: Field, store: Store, clock: Clock, tell: Tell = silent) -> ReadReport:
    """Read every export that is new, changed, or holds a tag that was added since; one transaction each.

    An export that cannot be read to its end is refused whole and named; the rest lands.
    """
    with store.writing() as writer:
        writer.set_display(field_.display_units)
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
            outcomes.append(_read_one(field_, store, table, path, known, clock))
        tell("reading exports", number, len(paths))
    return ReadReport(tuple(outcomes))


class _Known:
    """What the ledger says of files, kept up to date while a run reads."""

    def __init__(self, rows: pl.DataFrame) -> None:
        last = rows.sort("file_id").group_by("path", maintain_order=True).last()
        self._stamps = {row["path"]: (row["size_bytes"], row["modified_utc"]) for row in last.iter_rows(named=True)}
        stored = rows.filter(pl.col("state") == "stored")
        self._contents = dict(zip(stored["sha256"], stored["path"], strict=True))

    def is_unchanged(self, relative: str, path: Path) -> bool:
        """Return whether size and time are as when this path was last read or refused."""
        return self._stamps.get(relative) == stamp(path)

    def holder(self, sha256: str) -> str | None:
        """Return the path under which this content is stored."""
        return self._contents.get(sha256)

    def add(self, sha256: str, relative: str) -> None:
        """Note that this content is stored now."""
        self._contents[sha256] = relative


def _read_again(field_: Field, store: Store, table: TagTable, tags: frozenset[str], clock: Clock) -> None:
    """Read stored exports once more for tags that were added or whose states or dates changed."""
    if not tags:
        return
    with store.reading() as reader:
        owed = reader.files_with_tags(tags)
    for file_id, relative, sha256 in owed.iter_rows():
        path = field_.folder / relative
        if stamp(path) is None:
            continue  # It stays owed, and is read should it come back.
        export = fingerprint(path, field_.folder)
        if export.sha256 != sha256:
            continue  # Another content by now: that is read as an export of its own.
        parsed = read_export(export, field_, table, clock(), only=tags)
        with store.writing() as writer:
            writer.land_again(file_id, parsed, clock())


def _read_one(field_: Field, store: Store, table: TagTable, path: Path, known: _Known, clock: Clock) -> FileOutcome:
    relative = relative_to(path, field_.folder)
    try:
        export = fingerprint(path, field_.folder)
    except SourceError as error:
        return FileOutcome(relative, "refused", str(error))
    holder = known.holder(export.sha256)
    if holder is not None:
        with store.writing() as writer:
            writer.duplicate(export, holder, clock())
        return FileOutcome(relative, "duplicate", f"same content as {holder}")
    try:
        parsed = read_export(export, field_, table, clock())
    except SourceError as error:
        with store.writing() as writer:
            writer.refuse(export, str(error), clock())
        return FileOutcome(relative, "refused", str(error))
    if stamp(path) != (export.size_bytes, export.modified_utc):
        return FileOutcome(relative, "growing", "it changed while it was read; it is read again next time")
    with store.writing() as writer:
        counts = writer.land(export, parsed, clock())
    known.add(export.sha256, relative)
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
