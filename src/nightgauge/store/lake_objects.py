"""Parquet objects in a folder or an object store: written once, read in parts, removed; never changed.

Any file system that fsspec knows serves. Keys and passwords come from the environment, as each of them reads it
(AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY, AWS_ENDPOINT_URL).
"""

import io
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import fsspec
import polars as pl
import pyarrow.dataset as ds
import pyarrow.parquet as pq
from fsspec.implementations.local import LocalFileSystem

from nightgauge.errors import SettingError, StoreDamaged, StoreNotWritable
from nightgauge.vocabulary.frames import SAMPLES

ROW_GROUP = 131_072
"""Rows that are read or skipped together. House choice: less than a vessel's day of ten signals at five seconds, so
that reading one vessel takes little of the others."""

_FORMAT: dict[str, Any] = {
    "compression": "zstd",
    "row_group_size": ROW_GROUP,
    # Stamps rise evenly: their differences pack to almost nothing. The rest repeats itself.
    "column_encoding": {"time_utc": "DELTA_BINARY_PACKED"},
    "use_dictionary": [name for name in SAMPLES.schema if name != "time_utc"],
}


@dataclass(frozen=True)
class Objects:
    """The objects of one database below one address; cheap to make, and to send to another process."""

    address: str

    def write(self, name: str, samples: pl.DataFrame) -> int:
        """Write SAMPLES as one object and return its size. [bytes]

        Raises
        ------
        StoreNotWritable
            If the place refuses it.

        """
        buffer = io.BytesIO()
        pq.write_table(samples.to_arrow(), buffer, **_FORMAT)
        data = buffer.getbuffer()
        self._put(name, data)
        return len(data)

    def mark(self, name: str) -> None:
        """Write an empty object."""
        self._put(name, b"")

    def _put(self, name: str, data: bytes | memoryview) -> None:
        system, root = self._opened()
        path = f"{root}/{name}"
        with _told(f"{self.address}/{name}", StoreNotWritable, "cannot be written"):
            if not isinstance(system, LocalFileSystem):
                system.pipe_file(path, bytes(data))
                return
            system.makedirs(path.rpartition("/")[0], exist_ok=True)
            with open(path, "wb") as file:  # noqa: PTH123  fsspec's path is a text
                file.write(data)
                file.flush()
                # The manifest must never name what a power cut can take.
                os.fsync(file.fileno())

    def read(self, names: Sequence[str], where: ds.Expression | None = None) -> pl.DataFrame:
        """Return the rows of objects that meet a condition as SAMPLES, in no order.

        Raises
        ------
        StoreDamaged
            If an object is gone or broken.

        """
        if not names:
            return SAMPLES.empty()
        system, root = self._opened()
        with _told(self.address, StoreDamaged, "does not hold what the database says"):
            paths = [f"{root}/{name}" for name in names]
            found = ds.dataset(paths, filesystem=system, format="parquet").to_table(filter=where)
            frame = pl.DataFrame(pl.from_arrow(found))
        return frame.select(pl.col(name).cast(dtype) for name, dtype in SAMPLES.schema.items())

    def names(self, below: str = "") -> list[str]:
        """Return the names of all objects, or of those in one folder."""
        system, root = self._opened()
        with _told(self.address, StoreNotWritable, "cannot be listed"):
            system.invalidate_cache()
            try:
                found = system.find(f"{root}/{below}".rstrip("/"))
            except FileNotFoundError:
                return []
        start = len(root) + 1
        return sorted(path[start:] for path in found)

    def remove(self, names: Sequence[str]) -> None:
        """Remove objects; those that are gone already are no matter."""
        system, root = self._opened()
        for name in names:
            with _told(f"{self.address}/{name}", StoreNotWritable, "cannot be removed"):
                try:
                    system.rm_file(f"{root}/{name}")
                except FileNotFoundError:
                    continue

    def _opened(self) -> tuple[Any, str]:
        """Return the file system and the path in it."""
        with _told(self.address, SettingError, "is no place for a lake"):
            system, root = fsspec.core.url_to_fs(self.address)
        return system, str(root).rstrip("/")


def condition(tag_ids: pl.Series, start: datetime | None = None, end: datetime | None = None) -> ds.Expression:
    """Return the condition on objects' rows: these tags, in [start, end)."""
    low, high = tag_ids.min(), tag_ids.max()
    # The window beside the list lets row groups of other tags be skipped.
    where = (ds.field("tag_id") >= low) & (ds.field("tag_id") <= high) & ds.field("tag_id").isin(tag_ids.to_list())
    if start is not None:
        where &= ds.field("time_utc") >= start
    if end is not None:
        where &= ds.field("time_utc") < end
    return where


@contextmanager
def _told(place: str, kind: type[SettingError | StoreDamaged | StoreNotWritable], what: str) -> Iterator[None]:
    """Turn a file system's refusals into an error that says where."""
    try:
        yield
    except ImportError as error:
        raise SettingError(
            f"{place} needs a library that is not installed ({error}); for S3 install nightgauge[s3]"
        ) from error
    except Exception as error:
        if not isinstance(error, OSError | ValueError) and type(error).__module__.partition(".")[0] not in _STORES:
            raise
        reason = " ".join(str(error).split())
        raise kind(f"{place} {what}: {reason}; look at `lake` in field.toml and at its rights") from error


_STORES = {"aiohttp", "botocore", "gcsfs", "azure"}
"""Libraries of object stores whose errors are of a kind of their own: no way to the store, no right."""
