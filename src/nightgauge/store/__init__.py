"""The DuckDB file: the only home of the database and of SQL."""

from nightgauge.store.landing import FileCounts
from nightgauge.store.reader import Reader
from nightgauge.store.store import Store
from nightgauge.store.tags import TagSync
from nightgauge.store.writer import Writer

__all__ = ["FileCounts", "Reader", "Store", "TagSync", "Writer"]
