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
from nightgauge.store.schema import FILE_TAGS
from nightgauge.vocabulary.exports import EXPORT_SAMPLES, Export, ParsedExport
from nightgauge.vocabulary.flags import UNCERTAIN
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
    strange = parsed.samples.select(pl.col("tag_id").unique()).filter(~pl.col("tag_id").is_in(known.implode()))
    if strange.height:
        raise ProgrammerError(f"export has samples of tag_id {strange['tag_id'].sort().to_list()}, not in table tag")


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
        if samples.is_empty():
            return Meeting(_NOTHING_MET, _NOTHING_MET)
        window = samples.select(
            low=pl.col("tag_id").min(), high=pl.col("tag_id").max(),
            first=pl.col("time_utc").min(), last=pl.col("time_utc").max(),
        ).row(0, named=True)  # fmt: skip
        con.register("incoming", samples)
        met = con.sql(_MEET, params=window).pl()
        con.unregister("incoming")
        same = pl.col("same")
        return Meeting(met.filter(same).drop("same"), met.filter(~same).drop("same"))


_NOTHING_MET = pl.DataFrame(
    schema={"tag_id": pl.Int32, "time_utc": EXPORT_SAMPLES.schema["time_utc"], "file_id": pl.Int32}
)

# The window stands in the query as constants: the engine then skips the row groups of other tags and times.
_MEET = """
    SELECT incoming.tag_id, incoming.time_utc, sample.file_id,
        sample.value IS NOT DISTINCT FROM incoming.value
        AND sample.text_value IS NOT DISTINCT FROM incoming.text_value
        AND sample.flag IS NOT DISTINCT FROM incoming.flag::flag AS same
    FROM incoming JOIN sample ON sample.tag_id = incoming.tag_id AND sample.time_utc = incoming.time_utc
    WHERE sample.tag_id BETWEEN $low AND $high AND sample.time_utc BETWEEN $first AND $last
"""


def merge(con: duckdb.DuckDBPyConnection, samples: pl.DataFrame, file_id: int) -> Merged:
    """Merge samples of a file that is later than all stored ones."""
    return Merged.together([_merge_slice(con, piece, file_id) for piece in slices(samples)])


def slices(samples: pl.DataFrame) -> Iterator[pl.DataFrame]:
    """Yield the samples in pieces, sorted by tag and time so that each piece has few tags or a short time."""
    if not samples.is_empty():
        yield from samples.sort(KEY).iter_slices(SLICE_ROWS)


def _merge_slice(con: duckdb.DuckDBPyConnection, samples: pl.DataFrame, file_id: int) -> Merged:
    met = Meeting.of(con, samples)
    changed = samples.join(met.same, on=KEY, how="anti", maintain_order="left") if met.same.height else samples
    fresh = changed.join(met.other, on=KEY, how="anti", maintain_order="left") if met.other.height else changed
    if met.other.height:
        overwrite(con, samples.join(met.other.select(KEY), on=KEY, how="semi"), file_id)
    append(con, fresh, file_id)
    span = changed.select(first=pl.col("time_utc").min(), last=pl.col("time_utc").max()).row(0)
    return Merged(
        fresh=fresh.height,
        overwrote=met.other.height,
        repeated=met.same.height,
        uncertain=int((changed["flag"] == UNCERTAIN).sum()),
        first=span[0],
        last=span[1],
        changes=changed_ranges_of(con, changed.select(KEY)),
    )


def append(con: duckdb.DuckDBPyConnection, samples: pl.DataFrame, file_id: int) -> None:
    """Add samples that meet no stored one."""
    if samples.is_empty():
        return
    con.register("fresh", samples)
    con.execute(
        """INSERT INTO sample (tag_id, time_utc, value, text_value, flag, file_id)
        SELECT tag_id, time_utc, value, text_value, flag::flag, $file_id FROM fresh""",
        {"file_id": file_id},
    )
    con.unregister("fresh")


def overwrite(con: duckdb.DuckDBPyConnection, samples: pl.DataFrame, file_id: int) -> None:
    """Put samples in the place of the stored ones of the same tag and time, where those lie."""
    con.register("winners", samples)
    con.execute(
        """UPDATE sample SET value = winners.value, text_value = winners.text_value,
            flag = winners.flag::flag, file_id = $file_id
        FROM winners WHERE sample.tag_id = winners.tag_id AND sample.time_utc = winners.time_utc
            AND sample.tag_id BETWEEN $low AND $high AND sample.time_utc BETWEEN $first AND $last""",
        {
            "file_id": file_id,
            "low": samples["tag_id"].min(),
            "high": samples["tag_id"].max(),
            "first": samples["time_utc"].min(),
            "last": samples["time_utc"].max(),
        },
    )
    con.unregister("winners")


def changed_ranges_of(con: duckdb.DuckDBPyConnection, keys: pl.DataFrame) -> pl.DataFrame:
    """Return the ranges that changed samples (columns tag_id, time_utc) make, per vessel."""
    vessels = con.sql("SELECT tag_id, vessel FROM tag").pl()
    return ranges.of_changes(keys.join(vessels, on="tag_id", how="inner").select("vessel", "time_utc"))
