"""Historian exports to samples and quarantine: every row read is a sample, repeated, replaced or kept out.

The way of one file: `content` turns it into plain UTF-8 text (or hands it to `parquet`), `headers` finds out which
column is which, `lines` cuts the text into rows and `delimited` makes tables of their fields. `read` brings either to
batches of one form, several pieces `side_by_side`; `judge` gives each row of a batch its time (`stamps`, `zones`),
value (`values`) and flag (`quality`), or the reason it is `kept_out`. At the end of the file, `folds` tells the two
passes of doubled hours apart and `samples` settles rows of the same tag and time.
"""

from nightgauge.streams.files import discover, fingerprint, relative_to, stamp, unhashed
from nightgauge.streams.kept_out import UNKNOWN_TAG
from nightgauge.streams.read import read_export
from nightgauge.streams.tag_table import TagTable
from nightgauge.vocabulary.exports import Export, ParsedExport

__all__ = [
    "UNKNOWN_TAG",
    "Export",
    "ParsedExport",
    "TagTable",
    "discover",
    "fingerprint",
    "read_export",
    "relative_to",
    "stamp",
    "unhashed",
]
