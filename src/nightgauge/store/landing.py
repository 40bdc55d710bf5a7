"""Landing one export: its samples merged with what is stored, its quarantine, its ledger row, its changes.

The later file wins for the same tag and time. Rows that say what is already stored change nothing.
Samples are merged slice by slice, each against the stored rows of its own tags and times only, so memory
is bounded by the slice and a night's new rows never touch old ones.
"""

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime

import duckdb
import polars as pl

from nightgauge.errors import ProgrammerError
from nightgauge.store import ranges
from nightgauge.store.frames_io import insert, scalar
from nightgauge.store.home import KEY, Merged, SampleHome
from nightgauge.store.sample_order import is_in_order
from nightgauge.store.schema import FILE_TAGS, FLAG_TYPE
from nightgauge.vocabulary.exports import EXPORT_SAMPLES, Export, ParsedExport
from nightgauge.vocabulary.flags import FLAG, UNCERTAIN
from nightgauge.vocabulary.frames import QUARANTINE, SOURCE_FILES

SLICE_ROWS = 2_000_000
"""Samples merged at a time. House choice: about 100 MB of join, and few enough slices that scans do not add up."""


@dataclass(frozen=True)
class FileCounts:
    """What became of the rows of one export; ``rows_read`` is the sum of stored, repeated, replaced, quarantined."""

    file_id: int
    rows_read: int = 0
    rows_stored: int = 0
    rows_repeated: int = 0
    rows_replaced: int = 0
    rows_overwrote: int = 0
    rows_quarantined: int = 0
    rows_ignored: int = 0
    rows_uncertain: int = 0
    rows_assumed_first: int = 0


def land(
    con: duckdb.DuckDBPyConnection, home: SampleHome, export: Export, parsed: ParsedExport, read_at: datetime
) -> FileCounts:
    """Store one export that is read for the first time, within the caller's transaction."""
    _check(con, parsed)
    file_id = next_file_id(con)
    # Losers are compared before the samples land: what counts is what was stored before this file.
    losers_repeated = home.count_same(parsed.losers)
    stored = home.merge(parsed.samples, file_id)
    counts = FileCounts(
        file_id=file_id,
        rows_read=parsed.rows_read,
        rows_stored=stored.fresh + stored.overwrote,
        rows_repeated=parsed.rows_repeated + stored.repeated + losers_repeated,
        rows_replaced=parsed.losers.height - losers_repeated,
        rows_overwrote=stored.overwrote,
        rows_quarantined=int(parsed.quarantine["rows"].sum()),
        rows_ignored=parsed.rows_ignored,
        rows_uncertain=stored.uncertain,
        rows_assumed_first=parsed.rows_assumed_first,
    )
    insert(con, QUARANTINE, parsed.quarantine.with_columns(file_id=pl.lit(file_id)))
    insert(con, FILE_TAGS, parsed.tags_seen.with_columns(file_id=pl.lit(file_id), reread_owed=pl.lit(value=False)))
    record_file(con, export, "stored", read_at, counts=counts, span=(stored.first, stored.last))
    ranges.add(con, stored.changes)
    return counts


def _check(con: duckdb.DuckDBPyConnection, parsed: ParsedExport) -> None:
    """Refuse an export whose counts do not add up or whose tags nobody knows: both are bugs, not bad data."""
    for frame in (parsed.samples, parsed.losers):
        EXPORT_SAMPLES.check(frame)
    accounted = (
        parsed.samples.height + parsed.losers.height + parsed.rows_repeated + int(parsed.quarantine["rows"].sum())
    )
    if accounted != parsed.rows_read:
        raise ProgrammerError(f"export read {parsed.rows_read} rows but accounts for {accounted}")
    known = con.sql("SELECT tag_id FROM tag").pl()["tag_id"]
    strange = set(parsed.samples["tag_id"].rle().struct.field("value")) - set(known)
    if strange:
        raise ProgrammerError(f"export has samples of tag_id {sorted(strange)}, not in table tag")


def next_file_id(con: duckdb.DuckDBPyConnection) -> int:
    """Return the number of the next file read; later numbers win."""
    return int(scalar(con, "SELECT coalesce(max(file_id), 0) + 1 FROM source_file"))


def record_file(  # noqa: PLR0913  a ledger row is made of what is known about a file, and that is these six things
    con: duckdb.DuckDBPyConnection,
    export: Export,
    state: str,
    read_at: datetime,
    *,
    counts: FileCounts,
    reason: str | None = None,
    span: tuple[datetime | None, datetime | None] = (None, None),
) -> None:
    """Write one file's row of the ledger."""
    row = {
        **asdict(counts),
        "path": export.relative,
        "sha256": export.sha256,
        "state": state,
        "reason": reason,
        "first_utc": span[0],
        "last_utc": span[1],
        "read_at_utc": read_at,
        "size_bytes": export.size_bytes,
        "modified_utc": export.modified_utc,
    }
    insert(con, SOURCE_FILES, pl.DataFrame([row], schema_overrides=SOURCE_FILES.schema))


@dataclass(frozen=True)
class Meeting:
    """The rows of a slice that meet a stored sample of the same tag and time; columns tag_id, time_utc, file_id."""

    same: pl.DataFrame
    """Say what is stored."""
    other: pl.DataFrame
    """Say something else."""

    @staticmethod
    def of(con: duckdb.DuckDBPyConnection, samples: pl.DataFrame) -> "Meeting":
        """Look up the stored samples of the same tags and times."""
        if is_new_land(con, samples):
            return Meeting(_NOTHING_MET, _NOTHING_MET)
        con.register("incoming", samples)
        met = con.sql(_MEET, params=_window(samples)).pl()
        con.unregister("incoming")
        same = pl.col("same")
        return Meeting(met.filter(same).drop("same"), met.filter(~same).drop("same"))


def is_new_land(con: duckdb.DuckDBPyConnection, samples: pl.DataFrame) -> bool:
    """Return whether nothing is stored between the first and the last of these tags and times."""
    if samples.is_empty():
        return True
    return not con.execute(f"SELECT 1 FROM sample WHERE {_IN_WINDOW} LIMIT 1", _window(samples)).fetchall()  # noqa: S608


def _window(samples: pl.DataFrame) -> dict[str, object]:
    return samples.select(
        low=pl.col("tag_id").min(), high=pl.col("tag_id").max(),
        first=pl.col("time_utc").min(), last=pl.col("time_utc").max(),
    ).row(0, named=True)  # fmt: skip


_NOTHING_MET = pl.DataFrame(
    schema={"tag_id": pl.Int32, "time_utc": EXPORT_SAMPLES.schema["time_utc"], "file_id": pl.Int32}
)

# The window stands in the query as constants: the engine then skips the row groups of other tags and times.
_IN_WINDOW = "sample.tag_id BETWEEN $low AND $high AND sample.time_utc BETWEEN $first AND $last"
_MEET = f"""
    SELECT incoming.tag_id, incoming.time_utc, sample.file_id,
        sample.value IS NOT DISTINCT FROM incoming.value
        AND sample.text_value IS NOT DISTINCT FROM incoming.text_value
        AND sample.flag IS NOT DISTINCT FROM incoming.flag::flag AS same
    FROM incoming JOIN sample ON sample.tag_id = incoming.tag_id AND sample.time_utc = incoming.time_utc
    WHERE {_IN_WINDOW}
"""  # noqa: S608  constants of this module


def merge(con: duckdb.DuckDBPyConnection, samples: pl.DataFrame, file_id: int) -> Merged:
    """Merge samples of a file that is later than all stored ones."""
    if is_new_land(con, samples):  # asked once for the whole file: what its own slices bring meets none of it
        return Merged.together([_append_slice(con, piece, file_id) for piece in slices(samples)])
    return Merged.together([_merge_slice(con, piece, file_id) for piece in slices(samples)])


def slices(samples: pl.DataFrame) -> Iterator[pl.DataFrame]:
    """Yield the samples in pieces, sorted by tag and time so that each piece has few tags or a short time."""
    if not samples.is_empty():
        ordered = samples if is_in_order(samples) else samples.sort(KEY)
        yield from ordered.iter_slices(SLICE_ROWS)


def _append_slice(con: duckdb.DuckDBPyConnection, samples: pl.DataFrame, file_id: int) -> Merged:
    append(con, samples, file_id)
    return _merged(con, samples, fresh=samples.height, overwrote=0, repeated=0)


def _merge_slice(con: duckdb.DuckDBPyConnection, samples: pl.DataFrame, file_id: int) -> Merged:
    met = Meeting.of(con, samples)
    changed = samples.join(met.same, on=KEY, how="anti", maintain_order="left") if met.same.height else samples
    fresh = changed.join(met.other, on=KEY, how="anti", maintain_order="left") if met.other.height else changed
    if met.other.height:
        overwrite(con, samples.join(met.other.select(KEY), on=KEY, how="semi"), file_id)
    append(con, fresh, file_id)
    return _merged(con, changed, fresh=fresh.height, overwrote=met.other.height, repeated=met.same.height)


def _merged(
    con: duckdb.DuckDBPyConnection, changed: pl.DataFrame, *, fresh: int, overwrote: int, repeated: int
) -> Merged:
    span = changed.select(first=pl.col("time_utc").min(), last=pl.col("time_utc").max()).row(0)
    return Merged(
        fresh=fresh,
        overwrote=overwrote,
        repeated=repeated,
        uncertain=int((changed["flag"].to_physical() == _UNCERTAIN_PLACE).sum()),
        first=span[0],
        last=span[1],
        changes=changed_ranges_of(con, changed.select(KEY)),
    )


def append(con: duckdb.DuckDBPyConnection, samples: pl.DataFrame, file_id: int) -> None:
    """Add samples that meet no stored one."""
    if samples.is_empty():
        return
    # Texts cost most on their way into the engine: flags go as numbers, and texts only where there are any.
    has_texts = samples["text_value"].null_count() < samples.height
    numbers = samples.with_columns(pl.col("flag").to_physical())
    con.register("fresh", numbers if has_texts else numbers.drop("text_value"))
    con.execute(
        f"""INSERT INTO sample (tag_id, time_utc, value, text_value, flag, file_id)
        SELECT tag_id, time_utc, value, {"text_value" if has_texts else "NULL"}, {_FLAG_OF_PLACE}, $file_id
        FROM fresh""",  # noqa: S608  constants of this module
        {"file_id": file_id},
    )
    con.unregister("fresh")


_UNCERTAIN_PLACE = FLAG.categories.to_list().index(UNCERTAIN)
_FLAG_OF_PLACE = (
    "CASE flag "
    + " ".join(f"WHEN {place} THEN '{name}'::{FLAG_TYPE}" for place, name in enumerate(FLAG.categories))
    + " END"
)


def overwrite(con: duckdb.DuckDBPyConnection, samples: pl.DataFrame, file_id: int) -> None:
    """Put samples in the place of the stored ones of the same tag and time, where those lie."""
    con.register("winners", samples)
    con.execute(
        f"""UPDATE sample SET value = winners.value, text_value = winners.text_value,
            flag = winners.flag::flag, file_id = $file_id
        FROM winners WHERE sample.tag_id = winners.tag_id AND sample.time_utc = winners.time_utc
            AND {_IN_WINDOW}""",  # noqa: S608  constants of this module
        {"file_id": file_id, **_window(samples)},
    )
    con.unregister("winners")


def changed_ranges_of(con: duckdb.DuckDBPyConnection, keys: pl.DataFrame) -> pl.DataFrame:
    """Return the ranges that changed samples (columns tag_id, time_utc) make, per vessel."""
    vessels = con.sql("SELECT tag_id, vessel FROM tag").pl()
    return ranges.of_samples(keys, vessels)
