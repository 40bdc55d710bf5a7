"""What the batches of one export come to: gathered in the order of the file, settled at its end."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl

from nightgauge.streams import folds
from nightgauge.streams.batch import RAW_LENGTH
from nightgauge.streams.judge import Tally
from nightgauge.streams.kept_out import told_once
from nightgauge.streams.lines import Misfit
from nightgauge.streams.samples import Rows, joined, no_rows, settle
from nightgauge.streams.tag_table import TagTable
from nightgauge.streams.zones import Clock
from nightgauge.vocabulary.exports import EXPORT_QUARANTINE, TAGS_SEEN, ParsedExport

JOIN_ROWS = 5_000_000
"""Rows gathered in small arrays before they are joined to large ones. House choice: 40 MB per array, which the
allocator gives back to the system when freed; small ones stay with the process."""


@dataclass
class Gathered:
    """Rows of an export so far, and what became of the others."""

    rows: list[Rows] = field(default_factory=lambda: [no_rows()])
    recent: list[Rows] = field(default_factory=list)
    """Rows in small arrays, later than the others."""
    tallies: list[Tally] = field(default_factory=list)
    misfits: list[pl.DataFrame] = field(default_factory=lambda: [EXPORT_QUARANTINE.empty()])

    def add(self, rows: Rows, tally: Tally) -> None:
        """Add one batch."""
        self.tallies.append(tally)
        self.recent.append(rows)
        if sum(map(len, self.recent)) >= JOIN_ROWS:
            self.rows.append(joined(self.recent))

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
        self.misfits.append(pl.DataFrame(columns, schema=EXPORT_QUARANTINE.schema))

    def parsed(self, tags: TagTable, clock: Clock) -> ParsedExport:
        """Return the export as read to its end; the rows gathered are used up."""
        self.rows.extend(self.recent)
        self.recent.clear()
        rows, rows_assumed_first = _with_passes(joined(self.rows), tags, clock)
        settled = settle(rows, tags.tag_ids)
        quarantine = self._quarantine()
        seen = pl.concat([TAGS_SEEN.empty(), *(tally.seen for tally in self.tallies)])
        unknown_quality: Counter[str] = Counter()
        for tally in self.tallies:
            unknown_quality.update(tally.unknown_quality)
        return ParsedExport(
            samples=settled.samples,
            losers=settled.losers,
            quarantine=quarantine,
            rows_read=len(rows) + int(quarantine["rows"].sum()),
            rows_repeated=settled.rows_repeated,
            rows_ignored=sum(tally.rows_ignored for tally in self.tallies),
            rows_assumed_first=rows_assumed_first,
            tags_seen=seen.group_by("tag").agg(pl.col("rows").sum()).sort("tag"),
            unknown_quality=dict(sorted(unknown_quality.items())),
        )

    def _quarantine(self) -> pl.DataFrame:
        one_by_one = [tally.quarantine for tally in self.tallies]
        by_tag = told_once([tally.strangers for tally in self.tallies])
        whole = pl.concat([*self.misfits, *one_by_one, by_tag])
        return whole.sort(EXPORT_QUARANTINE.order, nulls_last=True, maintain_order=True)


def _with_passes(rows: Rows, tags: TagTable, clock: Clock) -> tuple[Rows, int]:
    """Return the rows with the second passes of doubled hours put later, and how many were assumed to be first."""
    if not (rows.window >= 0).any():
        return rows, 0
    local = np.flatnonzero(rows.is_local)
    time_us, window = rows.time_us.copy(), rows.window[local]
    local_us = time_us[local] + clock.offset_at_us(time_us[local])
    passes = folds.passes(folds.LocalRows(tags.group_of[rows.index[local]], local_us, window))
    is_second = passes == folds.SECOND
    time_us[local[is_second]] += clock.second_pass_delay_us(window[is_second])
    return replace(rows, time_us=time_us), int(((passes == folds.UNTOLD) & (window >= 0)).sum())
