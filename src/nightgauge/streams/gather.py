"""What the batches of one export come to: gathered in the order of the file, settled at its end."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.streams import folds
from nightgauge.streams.batch import RAW_LENGTH
from nightgauge.streams.judge import Tally
from nightgauge.streams.kept_out import few, told_once
from nightgauge.streams.lines import Misfit
from nightgauge.streams.samples import TagRuns, settle
from nightgauge.streams.tag_table import TagTable
from nightgauge.streams.zones import Clock
from nightgauge.vocabulary.exports import EXPORT_QUARANTINE, TAGS_SEEN, ParsedExport

FOLD_FROM_ROWS = 200_000
"""Rows told so far from which they are folded while a file is still read: some 20 MB."""
MAX_WORDS = 100
"""Unknown quality words of one export that are told by name. House choice: nobody reads more; a column that has more is
none of quality."""
OTHER_WORDS = "(all others)"


@dataclass
class Folded:
    """What is told of a file so far, folded each time that it has doubled: a file of any length takes little memory."""

    fold: Callable[[list[pl.DataFrame]], pl.DataFrame]
    parts: list[pl.DataFrame] = field(default_factory=list)
    limit: int = FOLD_FROM_ROWS

    def add(self, part: pl.DataFrame) -> None:
        """Add what one batch tells."""
        self.parts.append(part)
        if sum(part.height for part in self.parts) > self.limit:
            self.parts = [self.whole()]
            self.limit = 2 * self.parts[0].height + FOLD_FROM_ROWS

    def whole(self) -> pl.DataFrame:
        """Return what is told of all batches."""
        return self.fold(self.parts)


def _seen(parts: list[pl.DataFrame]) -> pl.DataFrame:
    return pl.concat([TAGS_SEEN.empty(), *parts]).group_by("tag").agg(pl.col("rows").sum()).sort("tag")


@dataclass
class Gathered:
    """Rows of an export so far, and what became of the others."""

    rows: list[TagRuns] = field(default_factory=list)
    rows_ignored: int = 0
    one_by_one: Folded = field(default_factory=lambda: Folded(few))
    strangers: Folded = field(default_factory=lambda: Folded(told_once))
    seen: Folded = field(default_factory=lambda: Folded(_seen))
    unknown_quality: Counter[str] = field(default_factory=Counter)

    def add(self, rows: TagRuns, tally: Tally) -> None:
        """Add one batch."""
        self.rows.append(rows)
        self.rows_ignored += tally.rows_ignored
        self.one_by_one.add(tally.quarantine)
        self.strangers.add(tally.strangers)
        self.seen.add(tally.seen)
        self._add_words(tally.unknown_quality)

    def _add_words(self, words: Mapping[str, int]) -> None:
        for word, rows in words.items():
            is_told = word in self.unknown_quality or len(self.unknown_quality) < MAX_WORDS
            self.unknown_quality[word[:RAW_LENGTH] if is_told else OTHER_WORDS] += rows

    def add_misfits(self, misfits: Sequence[Misfit], *, is_wide: bool) -> None:
        """Keep rows out that have not the columns of the header.

        In a wide export each filled field but the stamp counts as one row, and a row without any as one.
        """
        columns = {
            "row_number": [misfit.number for misfit in misfits],
            "rows": [max(misfit.filled - 1, 1) if is_wide else 1 for misfit in misfits],
            "reason": [misfit.reason for misfit in misfits],
            "raw_text": [misfit.raw.decode("utf-8", errors="replace")[:RAW_LENGTH] for misfit in misfits],
            "tag": [None for _ in misfits],
        }
        self.one_by_one.add(pl.DataFrame(columns, schema=EXPORT_QUARANTINE.schema))

    def parsed(self, tags: TagTable, clock: Clock) -> ParsedExport:
        """Return the export as read to its end; the rows gathered are used up."""
        rows_assumed_first = _tell_passes(self.rows, tags, clock)
        rows_judged = sum(len(part.rows) for part in self.rows)
        settled = settle(self.rows, tags.tag_ids[tags.by_number])
        quarantine = self._quarantine()
        return ParsedExport(
            samples=settled.samples,
            losers=settled.losers,
            quarantine=quarantine,
            rows_read=rows_judged + int(quarantine["rows"].sum()),
            rows_repeated=settled.rows_repeated,
            rows_ignored=self.rows_ignored,
            rows_assumed_first=rows_assumed_first,
            tags_seen=self.seen.whole(),
            unknown_quality=dict(sorted(self.unknown_quality.items())),
        )

    def _quarantine(self) -> pl.DataFrame:
        whole = pl.concat([self.one_by_one.whole(), self.strangers.whole()])
        return whole.sort(EXPORT_QUARANTINE.order, nulls_last=True, maintain_order=True)


def _tell_passes(parts: list[TagRuns], tags: TagTable, clock: Clock) -> int:
    """Put the second passes of doubled hours later; return how many rows were assumed to be of a first pass."""
    if not any((part.rows.window >= 0).any() for part in parts):
        return 0
    group = tags.group_of[tags.by_number]
    local = [_local_rows(part) for part in parts]
    time_us = np.concatenate([part.rows.time_us[rows] for part, rows in zip(parts, local, strict=True)])
    window = np.concatenate([part.rows.window[rows] for part, rows in zip(parts, local, strict=True)])
    groups = np.concatenate([group[part.rows.tag[rows]] for part, rows in zip(parts, local, strict=True)])
    passes = folds.passes(folds.LocalRows(groups, time_us + clock.offset_at_us(time_us), window))
    is_second = passes == folds.SECOND
    time_us[is_second] += clock.second_pass_delay_us(window[is_second])
    ends = np.cumsum([len(rows) for rows in local])
    for i, (rows, told) in enumerate(zip(local, np.split(time_us, ends[:-1]), strict=True)):
        moved = parts[i].rows.time_us.copy()
        moved[rows] = told
        parts[i] = parts[i].with_times(moved)
    return int(((passes == folds.UNTOLD) & (window >= 0)).sum())


def _local_rows(part: TagRuns) -> npt.NDArray[np.int64]:
    """Return the rows with stamps of the wall clock in the order of the file."""
    order = part.in_file_order()
    return order[part.rows.is_local[order]]
