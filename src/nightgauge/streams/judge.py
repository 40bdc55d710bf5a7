"""One batch of rows: each is a sample with its flag, is passed over by `ignore`, or is kept out for a reason."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from fnmatch import fnmatchcase

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.field.settings import Field
from nightgauge.streams import kept_out
from nightgauge.streams.batch import Batch, value_texts
from nightgauge.streams.kept_out import Reasons
from nightgauge.streams.quality import count_unknown, flags_of
from nightgauge.streams.samples import NO_TEXTS, Rows, flag_places
from nightgauge.streams.tag_table import TagTable
from nightgauge.streams.values import numbers_of
from nightgauge.streams.zones import clock_of
from nightgauge.vocabulary.flags import BAD

FIRST_TIME = datetime(1990, 1, 1, tzinfo=UTC)
"""Rows before this are kept out. Fixed by the field format."""
AHEAD = timedelta(days=1)
"""Rows later than the clock at reading by more than this are kept out. Fixed by the field format."""

_UNKNOWN, _IGNORED, _EMPTY, _LEFT_OUT = -1, -2, -3, -4
"""Groups of tags that are not in the tag table: nobody's, in `ignore`, without a name, not asked for."""
_BAD_PLACE = flag_places([BAD])[0]
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FIRST_US = (FIRST_TIME - _EPOCH) // timedelta(microseconds=1)

Integers = npt.NDArray[np.int64]
Indices = npt.NDArray[np.int32]


@dataclass(frozen=True)
class Tally:
    """What became of the rows of a batch that are no samples, and what was counted."""

    quarantine: pl.DataFrame
    """EXPORT_QUARANTINE, rows kept out one by one."""
    strangers: pl.DataFrame
    """EXPORT_QUARANTINE, one row per tag that is unknown or not valid."""
    seen: pl.DataFrame
    """TAGS_SEEN."""
    rows_ignored: int
    unknown_quality: Mapping[str, int]


class Judge:
    """Judges the batches of one export."""

    def __init__(self, field: Field, tags: TagTable, clock: datetime, only: frozenset[str] | None) -> None:
        self.field, self.tags, self.only = field, tags, only
        self.latest_us = (clock + AHEAD - _EPOCH) // timedelta(microseconds=1)
        # Two days more, for a stamp of the wall clock can lie that far beyond one of UTC.
        self.zone = clock_of(field.zone, (clock + AHEAD + timedelta(days=2)).date())

    def judge(self, batch: Batch) -> tuple[Rows, Tally]:
        """Return the rows of a batch that become samples, and what became of the others."""
        rows, seen = self._with_groups(batch.with_header_marks())
        group = rows["group"]
        rows_ignored = int((group == _IGNORED).sum())
        unknown = kept_out.by_tag(rows.filter(group == _UNKNOWN), kept_out.UNKNOWN_TAG, batch)
        is_ours = (group >= 0) | (group == _EMPTY)
        rows = rows if is_ours.all() else rows.filter(is_ours)
        placed, reasons = self._place(rows)
        is_strange = reasons.texts().eq_missing(kept_out.NOT_VALID_THEN)
        strange = kept_out.by_tag(rows.filter(is_strange), kept_out.NOT_VALID_THEN, batch)
        said = self._say(rows, placed.index, reasons)
        kept = reasons.open_rows()
        tally = Tally(
            kept_out.one_by_one(rows.filter(~is_strange), reasons.texts().filter(~is_strange), batch),
            pl.concat([unknown, strange]),
            seen,
            rows_ignored,
            count_unknown(rows["quality"].gather(kept), said.unknown) if said.unknown else {},
        )
        return _rows(kept, placed, said), tally

    def _with_groups(self, rows: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
        """Return the rows with `group`, the tag's group in the tag table or a negative number, and the tags seen."""
        counts = rows.filter(~pl.col("is_header"))["tag"].value_counts()
        names = [(written or "").strip() for written in counts["tag"]]
        groups = pl.Series([self._group(name) for name in names], dtype=pl.Int32)
        is_told = ~groups.is_in([_EMPTY, _LEFT_OUT])
        seen = pl.DataFrame({"tag": pl.Series(names, dtype=pl.String), "rows": counts["count"].cast(pl.Int64)})
        group = pl.col("tag").replace_strict(counts["tag"], groups, default=_EMPTY, return_dtype=pl.Int32)
        header = _EMPTY if self.only is None else _LEFT_OUT
        return rows.with_columns(group=pl.when("is_header").then(header).otherwise(group)), seen.filter(is_told)

    def _group(self, name: str) -> int:
        if self.only is not None and name not in self.only:
            return _LEFT_OUT
        if not name:
            return _EMPTY
        if any(fnmatchcase(name, pattern) for pattern in self.field.ignore):
            return _IGNORED
        return self.tags.groups.get(name, _UNKNOWN)

    def _place(self, rows: pl.DataFrame) -> tuple["_Placed", Reasons]:
        """Return time and tag-table row of each row, and which rows those keep out.

        In a doubled hour the tag-table row is the one valid in the first pass; no tag changes within that hour.
        """
        reasons = Reasons(rows.height)
        group = rows["group"].to_numpy()
        reasons.mark(rows["is_header"].to_numpy(), kept_out.HEADER_AGAIN)
        reasons.mark(group == _EMPTY, kept_out.NO_TAG)
        reasons.mark(rows["time_us"].is_null().to_numpy(), kept_out.UNREADABLE_STAMP)
        time_us, window = self._utc(rows, reasons)
        reasons.mark(time_us < _FIRST_US, kept_out.TOO_EARLY)
        reasons.mark(time_us > self.latest_us, kept_out.TOO_LATE)
        index = np.full(rows.height, -1, np.int32)
        live = reasons.open_rows()
        index[live] = self.tags.index_at(group[live], time_us[live])
        reasons.mark(index < 0, kept_out.NOT_VALID_THEN)
        return _Placed(index, time_us, window, rows["is_local"].to_numpy()), reasons

    def _utc(self, rows: pl.DataFrame, reasons: Reasons) -> tuple[Integers, npt.NDArray[np.int16]]:
        """Return UTC times, of the first pass where the hour is doubled, and the number of that doubled hour or -1."""
        time_us = rows["time_us"].fill_null(0).to_numpy()
        window = np.full(rows.height, -1, np.int16)
        local = np.flatnonzero(rows["is_local"].to_numpy())
        if len(local):
            found = self.zone.to_utc(time_us[local])
            reasons.mark(found.is_missing, kept_out.MISSING_HOUR, local)
            time_us = time_us.copy()
            time_us[local], window[local] = found.utc_us, found.window
        return time_us, window

    def _say(self, rows: pl.DataFrame, index: Indices, reasons: Reasons) -> "_Said":
        """Return what the rows not yet kept out say; those that say nothing usable are kept out."""
        said = _Said(np.full(rows.height, np.nan), np.zeros(rows.height, np.uint8))
        live = reasons.open_rows()
        if not len(live):
            return said
        chosen, index = (rows, index) if len(live) == rows.height else (rows[live], index[live])
        if "quality" in rows.columns:
            flags, said.unknown = flags_of(chosen["quality"], self.field.quality_codes)
            said.flag[live] = flags.to_physical().to_numpy()
        read = numbers_of(index, chosen["number"], chosen["text"], self.tags)
        is_text = self.tags.is_text[index]
        is_missing = read.is_missing.copy()
        said.value[live] = np.where(is_text, np.nan, read.value)
        if is_text.any():
            texts = value_texts(chosen.filter(pl.Series(is_text)))
            said.texts = pl.DataFrame({"row": live[is_text], "text_value": texts})
            is_missing[is_text] = texts.is_null().to_numpy()
        for reason, mask in read.reasons:
            reasons.mark(mask & ~is_text, reason, live)
        reasons.mark(is_missing & (said.flag[live] != _BAD_PLACE), kept_out.NO_VALUE, live)
        return said


@dataclass(frozen=True)
class _Placed:
    """Which tag and when, for each row of a batch; the arrays are those of `Rows`."""

    index: Indices
    time_us: Integers
    window: npt.NDArray[np.int16]
    is_local: npt.NDArray[np.bool_]


@dataclass
class _Said:
    """What the rows of a batch say: value, place of the flag, texts by row, and quality words nobody knows."""

    value: npt.NDArray[np.float64]
    flag: npt.NDArray[np.uint8]
    texts: pl.DataFrame | None = None
    unknown: Mapping[object, str] = field(default_factory=dict)


def _rows(kept: Integers, placed: _Placed, said: _Said) -> Rows:
    texts = NO_TEXTS
    if said.texts is not None:
        places = pl.DataFrame({"row": kept, "place": np.arange(len(kept))})
        texts = places.join(said.texts, on="row", maintain_order="left").select("place", "text_value")
    return Rows(
        index=placed.index[kept],
        time_us=placed.time_us[kept],
        value=said.value[kept],
        flag=said.flag[kept],
        is_local=placed.is_local[kept],
        window=placed.window[kept],
        texts=texts,
    )
