"""The DuckDB file and the lake beside it: the only home of the database, of SQL and of stored samples."""

from nightgauge.store.backup import Copied
from nightgauge.store.lake_reading import LakeSamples
from nightgauge.store.landing import FileCounts
from nightgauge.store.reader import Reader
from nightgauge.store.store import Store
from nightgauge.store.tags import TagSync
from nightgauge.store.writer import Writer

__all__ = ["Copied", "FileCounts", "LakeSamples", "Reader", "Store", "TagSync", "Writer"]
