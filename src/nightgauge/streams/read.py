"""Reading one export to its end."""

from datetime import datetime

from nightgauge.field.settings import Field
from nightgauge.streams import delimited, forms, parquet
from nightgauge.streams.content import kind_of
from nightgauge.streams.gather import Gathered
from nightgauge.streams.judge import Judge
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
    if kind == "parquet":
        for typed in parquet.tables(export, known_tags):
            if not typed.columns.is_empty():
                gathered.add(*judge.judge(forms.of_types(typed, field.time_format)))
    elif kind != "empty":
        for table in delimited.tables(export, kind, known_tags):
            if not table.fields.is_empty():
                gathered.add(*judge.judge(forms.of_text(table, field.time_format)))
            if only is None:
                gathered.add_misfits(table.misfits, is_wide=table.layout.form == "wide")
    return gathered.parsed(tags, judge.zone)
