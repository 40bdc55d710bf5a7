"""Reading one export to its end."""

from datetime import datetime

from nightgauge.field.settings import Field
from nightgauge.streams import delimited, forms, parquet
from nightgauge.streams.content import kind_of, refusal
from nightgauge.streams.gather import Gathered
from nightgauge.streams.judge import MAX_TAGS, Judge, Tally
from nightgauge.streams.samples import TagRuns
from nightgauge.streams.side_by_side import side_by_side
from nightgauge.streams.tag_table import TagTable
from nightgauge.vocabulary.exports import Export, ParsedExport


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
    judge, gathered = Judge(field, tags, clock, only), Gathered()
    kind, known_tags = kind_of(export), frozenset(tags.groups)

    def judged_types(table: parquet.TypedTable) -> tuple[TagRuns, Tally]:
        return judge.judge(forms.of_types(table, field.time_format))

    def judged_text(piece: delimited.Piece) -> tuple[delimited.Table, tuple[TagRuns, Tally]]:
        table = piece()
        return table, judge.judge(forms.of_text(table, field.time_format))

    if kind == "parquet":
        for judged in side_by_side(judged_types, parquet.tables(export, known_tags)):
            gathered.add(*judged)
            _refuse_too_many_tags(export, judge)
    elif kind != "empty":
        for table, judged in side_by_side(judged_text, delimited.pieces(export, kind, known_tags)):
            gathered.add(*judged)
            _refuse_too_many_tags(export, judge)
            if only is None:
                gathered.add_misfits(table.misfits, is_wide=table.layout.form == "wide")
    return gathered.parsed(tags, judge.zone)


def _refuse_too_many_tags(export: Export, judge: Judge) -> None:
    if judge.is_of_too_many_tags:
        raise refusal(
            export,
            "its tags",
            f"more than {MAX_TAGS:,} different ones, or very long ones",
            "a column of tag names",
            "look which column its header calls the tag, or keep the file out of `streams`",
        )
