"""Reading one export to its end."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np
import polars as pl

from nightgauge.field.settings import Field
from nightgauge.streams import delimited, folds, parquet
from nightgauge.streams.content import kind_of
from nightgauge.streams.headers import Layout
from nightgauge.streams.judge import Batch, Judge, Judged
from nightgauge.streams.lines import Misfit
from nightgauge.streams.samples import Rows, joined, no_rows, settle
from nightgauge.streams.stamps import read_texts
from nightgauge.streams.tag_table import TagTable
from nightgauge.vocabulary.exports import EXPORT_QUARANTINE, TAGS_SEEN, Export, ParsedExport

JOIN_ROWS = 5_000_000
"""Rows gathered in small arrays before they are joined to large ones. House choice: 40 MB per array, which the
allocator gives back to the system when freed; small ones stay with the process."""


def read_export(
    export: Export, field: Field, tags: TagTable, clock: datetime, only: frozenset[str] | None = None
) -> ParsedExport:
    """Return every row of an export as sample, loser, repeated or kept out.

    Parameters
    ----------
    export : Export
        The file.
    field : Field
        Zone, quality codes, time format and tags to ignore.
    tags : TagTable
        Rows of tags.csv with the store's numbers.
    clock : datetime
        Time of reading; rows more than a day later are kept out.
    only : frozenset of str, optional
        Take the rows of these tags only, as if the file had no others.

    Raises
    ------
    SourceError
        If the file cannot be read to its end: it is refused whole.

    """
    judge = Judge(field, tags, clock, only)
    gathered = _Gathered()
    kind = kind_of(export)
    if kind == "parquet":
        for table in parquet.tables(export, frozenset(tags.groups)):
            gathered.add(judge, _typed_batches(table, field))
    elif kind != "empty":
        for piece in delimited.tables(export, kind, frozenset(tags.groups)):
            gathered.add(judge, _text_batches(piece, field))
            if only is None:
                gathered.add_misfits(piece.misfits, piece.layout)
    return gathered.parsed(judge)


def _text_batches(table: delimited.Table, field: Field) -> Iterator[Batch]:
    layout, fields = table.layout, table.fields
    if fields.is_empty():
        return
    stamp = fields[f"c{layout.time}"]
    stamps = read_texts(stamp, field.time_format).of_header(is_utc=layout.is_utc)
    if layout.form == "long":
        roles = {role: fields[f"c{place}"] for role, place in layout.roles.items()}
        rows = pl.DataFrame({"row": fields["row"], **roles, **stamps.columns()}).with_columns(
            number=pl.col("text").cast(pl.Float64, strict=False)
        )
    else:
        index = pl.DataFrame({"row": fields["row"], "stamp": stamp, **stamps.columns()})
        cells = [fields[f"c{place}"].str.strip_chars() for place in layout.cells]
        rows = _unpivoted(index, cells, layout).filter(pl.col("text") != "")
        rows = rows.with_columns(number=pl.col("text").cast(pl.Float64, strict=False))
    yield _batch(rows, layout, table.separator)


def _typed_batches(table: parquet.TypedTable, field: Field) -> Iterator[Batch]:
    layout, columns = table.layout, table.columns
    if columns.is_empty():
        return
    stamp = columns[f"c{layout.time}"]
    stamps = parquet.stamps_of(stamp, field.time_format).of_header(is_utc=layout.is_utc)
    index = pl.DataFrame({"row": columns["row"], "stamp": stamp, **stamps.columns()})
    if layout.form == "long":
        number, text = parquet.number_and_text(columns[f"c{layout.value}"])
        roles = {"tag": columns[f"c{layout.tag}"].cast(pl.String)}
        if layout.quality is not None:
            roles["quality"] = columns[f"c{layout.quality}"]
        yield _batch(index.with_columns(**roles, number=number, text=text), layout, ",")
        return
    parts = [parquet.number_and_text(columns[f"c{place}"]) for place in layout.cells]
    numbers = _unpivoted(index, [number for number, _ in parts], layout)
    texts = _unpivoted(index, [text for _, text in parts], layout)
    rows = numbers.rename({"text": "number"}).with_columns(text=texts["text"].str.strip_chars())
    is_filled = pl.col("number").is_not_null() | (pl.col("text").fill_null("") != "")
    yield _batch(rows.filter(is_filled), layout, ",")


def _unpivoted(index: pl.DataFrame, cells: list[pl.Series], layout: Layout) -> pl.DataFrame:
    """Return one row per cell, row by row and in a row by column; the cell is called `text`."""
    names = [f"v{i}" for i in range(len(cells))]
    long = index.hstack([cell.alias(name) for cell, name in zip(cells, names, strict=True)]).unpivot(
        names, index=index.columns, variable_name="tag", value_name="text"
    )
    tags = pl.Series([layout.names[place] for place in layout.cells], dtype=pl.String)
    order = np.arange(long.height).reshape(len(cells), index.height).T.ravel()
    place = np.tile(np.arange(len(cells)), index.height)
    return long[order].with_columns(tag=tags.gather(place))


def _batch(rows: pl.DataFrame, layout: Layout, separator: str) -> Batch:
    roles = layout.roles if layout.form == "long" else {"stamp": 0, "text": 1}
    raw = tuple(sorted(roles, key=roles.__getitem__))
    return Batch(rows, raw, separator, layout.names[layout.time])


@dataclass
class _Gathered:
    """What the batches of a file came to so far."""

    kept: list[Rows] = field(default_factory=lambda: [no_rows()])
    recent: list[Rows] = field(default_factory=list)
    judged: list[Judged] = field(default_factory=list)
    misfits: list[pl.DataFrame] = field(default_factory=list)

    def add(self, judge: Judge, batches: Iterator[Batch]) -> None:
        for batch in batches:
            if not batch.rows.is_empty():
                judged = judge.judge(batch)
                self.recent.append(judged.kept)
                self.judged.append(replace(judged, kept=no_rows()))
        if sum(map(len, self.recent)) >= JOIN_ROWS:
            self.kept.append(joined(self.recent))

    def add_misfits(self, misfits: tuple[Misfit, ...], layout: Layout) -> None:
        """Keep rows out that do not fit; in a wide export each filled field but the stamp counts as one row."""
        if misfits:
            wide = layout.form == "wide"
            self.misfits.append(
                pl.DataFrame(
                    {
                        "row_number": [misfit.number for misfit in misfits],
                        "rows": [max(misfit.filled - 1, 1) if wide else 1 for misfit in misfits],
                        "reason": [misfit.reason for misfit in misfits],
                        "raw_text": [misfit.raw.decode("utf-8", errors="replace")[:200] for misfit in misfits],
                        "tag": [None for _ in misfits],
                    },
                    schema=EXPORT_QUARANTINE.schema,
                )
            )

    def parsed(self, judge: Judge) -> ParsedExport:
        self.kept.extend(self.recent)
        self.recent.clear()
        rows = joined(self.kept)
        kept = len(rows)
        rows, rows_assumed_first = _resolved(rows, judge)
        settled = settle(rows, judge.tags.tag_ids)
        quarantine = self._quarantine()
        rows_read = kept + int(quarantine["rows"].sum())
        unknown_quality: dict[str, int] = {}
        for part in self.judged:
            for word, count in part.unknown_quality.items():
                unknown_quality[word] = unknown_quality.get(word, 0) + count
        return ParsedExport(
            samples=settled.samples,
            losers=settled.losers,
            quarantine=quarantine,
            rows_read=rows_read,
            rows_repeated=settled.rows_repeated,
            rows_ignored=sum(part.rows_ignored for part in self.judged),
            rows_assumed_first=rows_assumed_first,
            tags_seen=_seen(self.judged),
            unknown_quality=dict(sorted(unknown_quality.items())),
        )

    def _quarantine(self) -> pl.DataFrame:
        nothing = EXPORT_QUARANTINE.empty()
        strangers = (
            _joined([part.strangers for part in self.judged], nothing)
            .group_by("tag", "reason", maintain_order=True)
            .agg(pl.col("row_number").first(), pl.col("rows").sum(), pl.col("raw_text").first())
            .select(nothing.columns)
        )
        single = _joined([*(part.quarantine for part in self.judged), *self.misfits], nothing)
        return pl.concat([single, strangers]).sort("row_number", maintain_order=True)


def _joined(parts: list[pl.DataFrame], nothing: pl.DataFrame) -> pl.DataFrame:
    return pl.concat([nothing, *parts])


def _seen(judged: list[Judged]) -> pl.DataFrame:
    counts = _joined([part.seen for part in judged], TAGS_SEEN.empty())
    return counts.group_by("tag").agg(pl.col("rows").sum()).sort("tag")


def _resolved(rows: Rows, judge: Judge) -> tuple[Rows, int]:
    """Return the rows with the second passes of doubled hours put later, and how many were assumed to be first."""
    if not (rows.window >= 0).any():
        return rows, 0
    local = np.flatnonzero(rows.is_local)
    time_us, window = rows.time_us.copy(), rows.window[local]
    passes = folds.passes(
        folds.LocalRows(
            judge.tags.group_of[rows.index[local]],
            time_us[local] + judge.zone.offset_at_us(time_us[local]),
            window,
        )
    )
    is_second = passes == folds.SECOND
    time_us[local[is_second]] += judge.zone.second_pass_delay_us(window[is_second])
    return replace(rows, time_us=time_us), int(((passes == folds.UNTOLD) & (window >= 0)).sum())
