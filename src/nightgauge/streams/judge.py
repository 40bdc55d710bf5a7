"""One batch of rows: each is a sample with its flag, is passed over by `ignore`, or is kept out for a reason."""

from collections.abc import Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from datetime import UTC, datetime, timedelta
from fnmatch import fnmatchcase

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.field.settings import Field
from nightgauge.streams import values
from nightgauge.streams.quality import flags_of
from nightgauge.streams.samples import NO_TEXTS, Rows, flag_places
from nightgauge.streams.tag_table import TagTable
from nightgauge.streams.zones import Clock, clock_of
from nightgauge.vocabulary.exports import EXPORT_QUARANTINE
from nightgauge.vocabulary.flags import BAD

FIRST_TIME = datetime(1990, 1, 1, tzinfo=UTC)
"""Rows before this are kept out. Fixed by the field format."""
AHEAD = timedelta(days=1)
"""Rows later than the clock at reading by more than this are kept out. Fixed by the field format."""
RAW_LENGTH = 200
"""Characters of a row that the quarantine keeps."""

HEADER_AGAIN = "header line again"
NO_TAG = "empty tag"
UNREADABLE_STAMP = "unreadable time stamp"
MISSING_HOUR = "time stamp in the hour that the clock change left out"
TOO_EARLY = "time stamp before 1990"
TOO_LATE = "time stamp later than the clock at reading plus one day"
UNKNOWN_TAG = "tag is not in tags.csv"
NOT_VALID_THEN = "tag is in tags.csv, but not valid at that time"

_UNKNOWN, _IGNORED, _EMPTY, _LEFT_OUT = -1, -2, -3, -4
_BAD_PLACE = flag_places([BAD])[0]
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FIRST_US = (FIRST_TIME - _EPOCH) // timedelta(microseconds=1)

Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Batch:
    """Rows of an export in one form, whatever file they came from.

    ``rows`` has columns `row`, `tag`, `stamp` (as written), `time_us` (null if unreadable), `is_local`,
    `number` (null if no plain number), `text` (as written; null where the number is all there is) and,
    where the export has one, `quality`.
    """

    rows: pl.DataFrame
    raw: tuple[str, ...]
    """Columns that make up the raw text, in the order of the file."""
    separator: str
    time_header: str


@dataclass(frozen=True)
class Judged:
    """What became of the rows of a batch."""

    kept: Rows
    """Rows that become samples."""
    quarantine: pl.DataFrame
    """EXPORT_QUARANTINE, rows kept out one by one."""
    strangers: pl.DataFrame
    """EXPORT_QUARANTINE, one row per tag that is unknown or not valid."""
    seen: pl.DataFrame
    """Columns `tag`, `rows`."""
    rows_ignored: int
    unknown_quality: Mapping[str, int]


class Judge:
    """Judges the batches of one export."""

    def __init__(self, field: Field, tags: TagTable, clock: datetime, only: frozenset[str] | None) -> None:
        self.field, self.tags, self.only = field, tags, only
        self.latest_us = (clock + AHEAD - _EPOCH) // timedelta(microseconds=1)
        self.zone: Clock = clock_of(field.zone, (clock + AHEAD + timedelta(days=2)).date())

    def judge(self, batch: Batch) -> Judged:
        """Return what becomes of each row of a batch."""
        rows = _with_header_marks(batch)
        rows, seen = self._with_groups(rows)
        rows_ignored = int((rows["group"] == _IGNORED).sum())
        unknown = _grouped(rows.filter(pl.col("group") == _UNKNOWN), UNKNOWN_TAG, batch)
        is_ours = (rows["group"] >= 0) | (rows["group"] == _EMPTY)
        rows = rows if is_ours.all() else rows.filter(is_ours)
        return self._judge_known(rows, batch, unknown, (seen, rows_ignored))

    def _with_groups(self, rows: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
        counts = rows.filter(~pl.col("is_header"))["tag"].value_counts()
        written = counts["tag"].to_list()
        names = [(text or "").strip() for text in written]
        groups = pl.DataFrame(
            {"tag": counts["tag"], "name": names, "group": pl.Series([self._group(n) for n in names], dtype=pl.Int32)}
        )
        seen = (
            groups.with_columns(rows=counts["count"].cast(pl.Int64))
            .filter(~pl.col("group").is_in([_EMPTY, _LEFT_OUT]))
            .select(tag="name", rows="rows")
        )
        group = pl.col("tag").replace_strict(groups["tag"], groups["group"], default=_EMPTY, return_dtype=pl.Int32)
        header = _LEFT_OUT if self.only is not None else _EMPTY
        return rows.with_columns(group=pl.when("is_header").then(header).otherwise(group)), seen

    def _group(self, name: str) -> int:
        if not name:
            return _EMPTY if self.only is None else _LEFT_OUT
        if self.only is not None and name not in self.only:
            return _LEFT_OUT
        if any(fnmatchcase(name, pattern) for pattern in self.field.ignore):
            return _IGNORED
        return self.tags.groups.get(name, _UNKNOWN)

    def _judge_known(
        self, rows: pl.DataFrame, batch: Batch, unknown: pl.DataFrame, counted: tuple[pl.DataFrame, int]
    ) -> Judged:
        reasons = _Reasons(rows.height)
        if rows["is_header"].any():
            reasons.mark(rows["is_header"].to_numpy(), HEADER_AGAIN)
        group = rows["group"].to_numpy()
        reasons.mark(group == _EMPTY, NO_TAG)
        times, window = self._times(rows, reasons)
        index = np.full(rows.height, -1, np.int32)
        live = reasons.open_rows()
        index[live] = self.tags.index_at(group[live], times[live])
        is_strange = np.zeros(rows.height, np.bool_)
        is_strange[live[index[live] < 0]] = True
        strangers = pl.concat([unknown, _grouped(rows.filter(pl.Series(is_strange)), NOT_VALID_THEN, batch)])
        reasons.mark(is_strange, NOT_VALID_THEN)
        said = self._said(rows, index, reasons)
        kept = reasons.open_rows()
        is_out = ~reasons.open_mask() & ~is_strange
        return Judged(
            _rows(kept, (index, times, window), rows["is_local"].to_numpy(), said),
            _one_by_one(rows.with_columns(reason=reasons.texts()).filter(pl.Series(is_out)), batch),
            strangers,
            *counted,
            _count(rows["quality"].gather(kept), said.unknown) if said.unknown else {},
        )

    def _times(self, rows: pl.DataFrame, reasons: "_Reasons") -> tuple[Integers, npt.NDArray[np.int16]]:
        """Return UTC times, of the first pass where the hour is doubled, and the number of that doubled hour or -1."""
        time_us = rows["time_us"].fill_null(0).to_numpy()
        reasons.mark(rows["time_us"].is_null().to_numpy(), UNREADABLE_STAMP)
        window = np.full(len(time_us), -1, np.int16)
        is_local = rows["is_local"].to_numpy()
        if is_local.any():
            local = np.flatnonzero(is_local)
            found = self.zone.to_utc(time_us[local])
            time_us = time_us.copy()
            time_us[local], window[local] = found.utc_us, found.window
            is_missing = np.zeros(len(time_us), np.bool_)
            is_missing[local] = found.is_missing
            reasons.mark(is_missing, MISSING_HOUR)
        reasons.mark(time_us < _FIRST_US, TOO_EARLY)
        reasons.mark(time_us > self.latest_us, TOO_LATE)
        return time_us, window

    def _said(self, rows: pl.DataFrame, index: npt.NDArray[np.int32], reasons: "_Reasons") -> "_Said":
        """Return what the rows not yet kept out say; those that say nothing usable are kept out."""
        said = _Said(np.full(rows.height, np.nan), np.zeros(rows.height, np.uint8))
        live = reasons.open_rows()
        if not len(live):
            return said
        chosen, index = (rows, index) if len(live) == rows.height else (rows[live], index[live])
        if "quality" in rows.columns:
            flags, said.unknown = flags_of(chosen["quality"], self.field.quality_codes)
            said.flag[live] = flags.to_physical().to_numpy()
        read = values.numbers_of(index, chosen["number"], chosen["text"], self.tags)
        said.value[live] = read.value
        is_missing, is_text = read.is_missing, self.tags.is_text[index]
        if is_text.any():
            texts = _texts(chosen.filter(pl.Series(is_text)))
            said.value[live[is_text]] = np.nan
            said.texts = pl.DataFrame({"row": live[is_text], "text_value": texts})
            is_missing = is_missing.copy()
            is_missing[is_text] = texts.is_null().to_numpy()
        for reason, mask in read.reasons:
            reasons.mark_at(live, mask & ~is_text, reason)
        reasons.mark_at(live, is_missing & (said.flag[live] != _BAD_PLACE), values.NO_VALUE)
        return said


@dataclass
class _Said:
    """What rows say: value, place of the flag, texts by row, and quality words nobody knows."""

    value: npt.NDArray[np.float64]
    flag: npt.NDArray[np.uint8]
    texts: pl.DataFrame | None = None
    unknown: Mapping[object, str] = dataclass_field(default_factory=dict)


def _rows(
    kept: Integers,
    placed: tuple[npt.NDArray[np.int32], Integers, npt.NDArray[np.int16]],
    is_local: Bools,
    said: _Said,
) -> Rows:
    index, times, window = placed
    texts = NO_TEXTS
    if said.texts is not None:
        places = pl.DataFrame({"row": kept, "place": np.arange(len(kept))})
        texts = places.join(said.texts, on="row", maintain_order="left").select("place", "text_value")
    columns = (index, times, said.value, said.flag, is_local, window)
    if len(kept) < len(index):
        columns = tuple(column[kept] for column in columns)  # type: ignore[assignment]  # same arrays, fewer rows
    return Rows(*columns, texts)


class _Reasons:
    """Why rows are kept out; the first reason found stands."""

    def __init__(self, count: int) -> None:
        self._code = np.zeros(count, np.uint8)
        self._texts: list[str | None] = [None]

    def mark(self, mask: Bools, reason: str) -> None:
        if mask.any():
            if reason not in self._texts:
                self._texts.append(reason)
            self._code[mask & (self._code == 0)] = self._texts.index(reason)

    def mark_at(self, rows: Integers, mask: Bools, reason: str) -> None:
        if mask.any():
            whole = np.zeros(len(self._code), np.bool_)
            whole[rows[mask]] = True
            self.mark(whole, reason)

    def open_mask(self) -> Bools:
        is_open: Bools = self._code == 0
        return is_open

    def open_rows(self) -> Integers:
        return np.flatnonzero(self._code == 0)

    def texts(self) -> pl.Series:
        return pl.Series(self._texts, dtype=pl.String).gather(self._code)


def _with_header_marks(batch: Batch) -> pl.DataFrame:
    """Mark rows whose stamp is the header of the stamps: a second export was joined to the first."""
    rows = batch.rows
    if rows["time_us"].null_count() == 0 or rows["stamp"].dtype != pl.String:
        return rows.with_columns(is_header=pl.lit(value=False))
    header = batch.time_header.lower()
    return rows.with_columns(
        is_header=pl.col("time_us").is_null()
        & (pl.col("stamp").fill_null("").str.strip_chars().str.to_lowercase() == header)
    )


def _texts(rows: pl.DataFrame) -> pl.Series:
    """Return the values as text, whole numbers without a point, null where there is none."""
    whole = pl.col("number").cast(pl.Int64, strict=False)
    number = (
        pl.when(pl.col("number") == whole.cast(pl.Float64))
        .then(whole.cast(pl.String))
        .otherwise(pl.col("number").cast(pl.String))
    )
    text = pl.coalesce("text", number).str.strip_chars()
    return rows.select(text=pl.when(text == "").then(None).otherwise(text))["text"]


def _raw(batch: Batch) -> pl.Expr:
    pieces = [
        (
            pl.coalesce(pl.col("text"), pl.col("number").cast(pl.String))
            if name == "text"
            else pl.col(name).cast(pl.String)
        ).fill_null("")
        for name in batch.raw
    ]
    return pl.concat_str(pieces, separator=batch.separator).str.head(RAW_LENGTH)


def _one_by_one(rows: pl.DataFrame, batch: Batch) -> pl.DataFrame:
    tag = pl.col("tag").str.strip_chars()
    return rows.select(
        row_number=pl.col("row"),
        rows=pl.lit(1, pl.Int64),
        reason=pl.col("reason"),
        raw_text=_raw(batch),
        tag=pl.when(tag != "").then(tag),
    ).cast(pl.Schema(EXPORT_QUARANTINE.schema))


def _grouped(rows: pl.DataFrame, reason: str, batch: Batch) -> pl.DataFrame:
    """Return one row per tag: the first row it stands in, and how many there are."""
    return (
        rows.select(pl.col("row"), tag=pl.col("tag").str.strip_chars(), raw_text=_raw(batch))
        .group_by("tag", maintain_order=True)
        .agg(row_number=pl.col("row").first(), rows=pl.len(), raw_text=pl.col("raw_text").first())
        .select("row_number", "rows", pl.lit(reason).alias("reason"), "raw_text", "tag")
        .cast(pl.Schema(EXPORT_QUARANTINE.schema))
    )


def _count(quality: pl.Series, unknown: Mapping[object, str]) -> dict[str, int]:
    told: dict[str, int] = {}
    for written, count in quality.value_counts().rows():
        if written in unknown:
            told[unknown[written]] = told.get(unknown[written], 0) + count
    return told
