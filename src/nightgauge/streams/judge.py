"""One batch of rows: each is a sample with its flag, is passed over by `ignore`, or is kept out for a reason."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from fnmatch import fnmatchcase

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.field.settings import Field
from nightgauge.streams import kept_out
from nightgauge.streams.batch import Batch
from nightgauge.streams.kept_out import Reasons
from nightgauge.streams.quality import count_unknown, flags_of
from nightgauge.streams.samples import NO_TEXTS, Rows, TagRuns, flag_places
from nightgauge.streams.stamps import Stamps
from nightgauge.streams.tag_table import TagTable
from nightgauge.streams.values import numbers_of
from nightgauge.streams.zones import clock_of
from nightgauge.vocabulary.exports import EXPORT_QUARANTINE, TAGS_SEEN
from nightgauge.vocabulary.flags import BAD

FIRST_TIME = datetime(1990, 1, 1, tzinfo=UTC)
"""Rows before this are kept out. Fixed by the field format."""
AHEAD = timedelta(days=1)
"""Rows later than the clock at reading by more than this are kept out. Fixed by the field format."""

MAX_TAGS = 1_000_000
"""Different tags in one export, known or not. House choice: ten times the tags of a field of 3000 vessels."""
MAX_TAG_BYTES = 64 << 20
"""What their names take together: 64 bytes for each of so many."""

_UNKNOWN, _IGNORED, _EMPTY, _LEFT_OUT = -1, -2, -3, -4
"""Groups of tags that are not in the tag table: nobody's, in `ignore`, without a name, not asked for."""
_BAD_PLACE = flag_places([BAD])[0]
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FIRST_US = (FIRST_TIME - _EPOCH) // timedelta(microseconds=1)

Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
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
    """Judges the batches of one export; several at once."""

    def __init__(self, field: Field, tags: TagTable, clock: datetime, only: frozenset[str] | None) -> None:
        self.field, self.tags, self.only = field, tags, only
        self.latest_us = (clock + AHEAD - _EPOCH) // timedelta(microseconds=1)
        # Two days more, for a stamp of the wall clock can lie that far beyond one of UTC.
        self.zone = clock_of(field.zone, (clock + AHEAD + timedelta(days=2)).date())
        self._groups: dict[str, int] = {}
        self._tag_bytes = 0

    def judge(self, batch: Batch) -> tuple[TagRuns, Tally]:
        """Return the rows of a batch that become samples, and what became of the others."""
        is_header = batch.headers()
        of_word = np.array([self._group(name) for name in batch.tag.texts], np.int32)
        seen = _seen(batch, of_word, is_header)
        group = of_word[batch.tag.place]
        if is_header is not None:
            group[is_header] = _EMPTY if self.only is None else _LEFT_OUT
        rows_ignored, unknown = 0, EXPORT_QUARANTINE.empty()
        if of_word.min(initial=0) < 0:
            rows_ignored = int((group == _IGNORED).sum())
            unknown = kept_out.by_tag(batch, np.flatnonzero(group == _UNKNOWN), kept_out.UNKNOWN_TAG)
            ours = np.flatnonzero((group >= 0) | (group == _EMPTY))
            if len(ours) < len(group):
                batch, group = batch.take(ours), group[ours]
                is_header = None if is_header is None else is_header[ours]
        reasons = Reasons(len(batch))
        placed = self._place(batch, group, is_header, reasons)
        strange = kept_out.by_tag(batch, reasons.kept_out(kept_out.NOT_VALID_THEN), kept_out.NOT_VALID_THEN)
        said = self._say(batch, placed.index, reasons)
        kept = None if reasons.is_none else reasons.open_rows()
        tally = Tally(
            kept_out.one_by_one(batch, *reasons.kept_out_but_for(kept_out.NOT_VALID_THEN)),
            pl.concat([unknown, strange]),
            seen,
            rows_ignored,
            self._unknown_quality(batch, said, kept),
        )
        return TagRuns.of(self._rows(batch, kept, placed, said), len(self.tags.tag_ids)), tally

    def _group(self, written: str) -> int:
        found = self._groups.get(written)
        if found is None:
            found = self._groups[written] = self._group_of(written.strip())
            self._tag_bytes += len(written)
        return found

    @property
    def is_of_too_many_tags(self) -> bool:
        """Return whether the batches so far have more tags than any export."""
        return len(self._groups) > MAX_TAGS or self._tag_bytes > MAX_TAG_BYTES

    def _group_of(self, name: str) -> int:
        if self.only is not None and name not in self.only:
            return _LEFT_OUT
        if not name:
            return _EMPTY
        if any(fnmatchcase(name, pattern) for pattern in self.field.ignore):
            return _IGNORED
        return self.tags.groups.get(name, _UNKNOWN)

    def _place(self, batch: Batch, group: Indices, is_header: Bools | None, reasons: Reasons) -> "_Placed":
        """Return time and tag-table row of each row; mark the rows that those keep out.

        In a doubled hour the tag-table row is the one valid in the first pass; no tag changes within that hour.
        """
        if is_header is not None:
            reasons.mark(is_header, kept_out.HEADER_AGAIN)
        reasons.mark(group == _EMPTY, kept_out.NO_TAG)
        reasons.mark(~batch.stamps.is_read, kept_out.UNREADABLE_STAMP)
        time_us, window = self._utc(batch.stamps, reasons)
        reasons.mark(time_us < _FIRST_US, kept_out.TOO_EARLY)
        reasons.mark(time_us > self.latest_us, kept_out.TOO_LATE)
        if reasons.is_none:
            index = self.tags.index_at(group, time_us)
        else:
            index = np.full(len(batch), -1, np.int32)
            live = reasons.open_rows()
            index[live] = self.tags.index_at(group[live], time_us[live])
        reasons.mark(index < 0, kept_out.NOT_VALID_THEN)
        return _Placed(index, time_us, window)

    def _utc(self, stamps: Stamps, reasons: Reasons) -> tuple[Integers, npt.NDArray[np.int16]]:
        """Return UTC times, of the first pass where the hour is doubled, and the number of that doubled hour or -1."""
        local = np.flatnonzero(stamps.is_local)
        if not len(local):
            return stamps.time_us, np.broadcast_to(np.int16(-1), len(stamps.time_us))
        found = self.zone.to_utc(stamps.time_us[local])
        reasons.mark(found.is_missing, kept_out.MISSING_HOUR, local)
        time_us, window = stamps.time_us.copy(), np.full(len(stamps.time_us), -1, np.int16)
        time_us[local], window[local] = found.utc_us, found.window
        return time_us, window

    def _say(self, batch: Batch, index: Indices, reasons: Reasons) -> "_Said":
        """Return what the rows not yet kept out say; those that say nothing usable are kept out."""
        live = reasons.open_rows()
        if len(live) == len(batch):
            return self._say_of(batch, index, reasons, live)
        said = _Said(np.full(len(batch), np.nan), np.zeros(len(batch), np.uint8))
        if len(live):
            of_live = self._say_of(batch.take(live), index[live], reasons, live)
            said.value[live], said.flag[live] = of_live.value, of_live.flag
            said.unknown = of_live.unknown
            if of_live.texts is not None:
                said.texts = of_live.texts
        return said

    def _say_of(self, batch: Batch, index: Indices, reasons: Reasons, rows: Integers) -> "_Said":
        """Return what the rows of a batch say, of which all are open; `rows` are their places where reasons count."""
        read = numbers_of(index, batch.number, lambda places: batch.written(places)["text"], self.tags)
        said = _Said(read.value, np.broadcast_to(np.uint8(0), len(batch)))
        if batch.quality is not None:
            said.flag, said.unknown = flags_of(batch.quality, self.field.quality_codes)
        is_text, is_missing = self.tags.is_text[index], read.is_missing
        if is_text.any():
            of_text = np.flatnonzero(is_text)
            texts = batch.texts(of_text)
            said.texts = pl.DataFrame({"row": rows[of_text], "text_value": texts})
            said.value = np.where(is_text, np.nan, read.value)
            is_missing = is_missing.copy()
            is_missing[of_text] = texts.is_null().to_numpy()
        for reason, mask in read.reasons:
            reasons.mark(mask & ~is_text, reason, rows)
        reasons.mark(is_missing & (said.flag != _BAD_PLACE), kept_out.NO_VALUE, rows)
        return said

    def _unknown_quality(self, batch: Batch, said: "_Said", kept: Integers | None) -> Mapping[str, int]:
        """Return in how many of the rows kept each quality text that nobody knows stands."""
        if not said.unknown or batch.quality is None:
            return {}
        return count_unknown(batch.quality if kept is None else batch.quality.take(kept), said.unknown)

    def _rows(self, batch: Batch, kept: Integers | None, placed: "_Placed", said: "_Said") -> Rows:
        rows = Rows(
            tag=placed.index,
            time_us=placed.time_us,
            value=said.value,
            flag=said.flag,
            is_local=_folded(batch.stamps.is_local),
            window=placed.window,
            texts=NO_TEXTS if said.texts is None else said.texts.rename({"row": "place"}),
            place=batch.place,
        )
        rows = rows if kept is None else rows.take(kept)
        return replace(rows, tag=self.tags.rank[rows.tag])


def _folded(array: Bools) -> Bools:
    """Return an array of one value throughout without its memory."""
    return np.broadcast_to(array[0], len(array)) if len(array) and (array == array[0]).all() else array


def _seen(batch: Batch, of_word: Indices, is_header: Bools | None) -> pl.DataFrame:
    """Return TAGS_SEEN of a batch."""
    counts = batch.tag.counts(None if is_header is None else ~is_header)
    is_told = (counts > 0) & (of_word != _EMPTY) & (of_word != _LEFT_OUT)
    names = batch.tag.texts.filter(pl.Series(is_told)).str.strip_chars()
    return pl.DataFrame({"tag": names, "rows": counts[is_told]}, schema=TAGS_SEEN.schema)


@dataclass(frozen=True)
class _Placed:
    """Which tag and when, for each row of a batch; the arrays are those of `Rows`."""

    index: Indices
    time_us: Integers
    window: npt.NDArray[np.int16]


@dataclass
class _Said:
    """What the rows of a batch say: value, place of the flag, texts by row, and quality words nobody knows."""

    value: npt.NDArray[np.float64]
    flag: npt.NDArray[np.uint8]
    texts: pl.DataFrame | None = None
    unknown: Mapping[str, str] = field(default_factory=dict)
