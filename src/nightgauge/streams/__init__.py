"""Historian exports to samples and quarantine: every row read is a sample, repeated, replaced or kept out.

The way of one file: `content` turns it into plain UTF-8 text (or hands it to `parquet`), `lines` cuts
the text into rows, `headers` finds out which column is which, `delimited` makes batches of fields,
`stamps` and `zones` make times, `judge` gives each row its sample or the reason it is kept out, and
`repeats` settles rows of the same tag and time.
"""

from nightgauge.streams.files import discover, fingerprint, relative_to, stamp
from nightgauge.streams.judge import UNKNOWN_TAG
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
]
