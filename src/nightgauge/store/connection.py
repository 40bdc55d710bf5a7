"""How the database is opened, and how its refusals are told to people.

Every connection is offline (no extension is ever fetched), cannot read other files, works in UTC and is
locked that way before anything else happens on it.
"""

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

from nightgauge.errors import StoreBusy, StoreDamaged, StoreError, StoreMissing, StoreNewer, StoreNotWritable

RETRY_EVERY_S = 0.1
"""Pause between two tries at a busy database. [s] House choice: short beside any wait, idle enough."""
MEMORY_LIMIT = "1GB"
"""What the database engine may hold before it spills to disk. House choice: a night on a small machine fits 2 GB."""

_CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    "enable_external_access": "false",
    "python_enable_replacements": "false",
    "memory_limit": MEMORY_LIMIT,
}
_HOLDER = re.compile(r"\(PID (\d+)\)")
_NO_ROOM = ("No space left on device", "File too large", "Disk quota exceeded")
_NO_RIGHT = ("Permission denied", "Read-only file system", "No such file or directory", "Is a directory")
_NO_MEMORY = ("Out of Memory", "max_temp_directory_size")
_BUSY = ("Could not set lock on file", "with a different configuration")
_DAMAGED = (
    "not a valid DuckDB database",
    "Could not read enough bytes",
    "Corrupt database file",
    "Could not read from",
)


def connect(path: Path, *, read_only: bool, wait_s: float) -> duckdb.DuckDBPyConnection:
    """Open the database, trying again while another process holds it.

    Parameters
    ----------
    path : Path
        The database file.
    read_only : bool
        Never creates the file; several processes may read at once.
    wait_s : float
        How long to try. [s]

    Raises
    ------
    StoreMissing
        If `read_only` and there is no file.
    StoreBusy, StoreNotWritable, StoreDamaged, StoreNewer
        As told by the engine.

    """
    if read_only and not path.exists():
        raise missing(path)
    if not read_only:
        make_folder_of(path)
    give_up_at = time.monotonic() + wait_s
    while True:
        try:
            with told_as_store_error(path):
                return _open(path, read_only=read_only)
        except StoreBusy:
            if time.monotonic() >= give_up_at:
                raise
            time.sleep(RETRY_EVERY_S)


def missing(path: Path) -> StoreMissing:
    """Return the error for a database that no night has made yet."""
    return StoreMissing(f"there is no database {path} yet: no night has run on this field; run the nightly flow first")


def _open(path: Path, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    connection = duckdb.connect(str(path), read_only=read_only, config=_CONFIG)
    connection.execute("SET TimeZone = 'UTC'")
    connection.execute("SET lock_configuration = true")
    return connection


def make_folder_of(path: Path) -> None:
    """Make the folder that a database is to stand in.

    Raises
    ------
    StoreNotWritable
        If it cannot be made.

    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreNotWritable(f"the folder {path.parent} cannot be made for the database: {error.strerror}") from error


@contextmanager
def told_as_store_error(path: Path) -> Iterator[None]:
    """Turn the engine's refusals into errors that say what to do; those that mean a bug go through as they are."""
    try:
        yield
    except duckdb.Error as error:
        told = _store_error(path, str(error))
        if told is None:
            raise
        raise told from error


def _store_error(path: Path, text: str) -> StoreError | None:
    """Return what the engine's words mean to a person, or None where they mean a bug."""
    line = " ".join(text.split())
    if any(words in text for words in _BUSY):
        holder = _HOLDER.search(text)
        who = f"process {holder.group(1)}" if holder else "this process itself"
        return StoreBusy(f"the database {path} is in use by {who}; try again when it has ended")
    if any(words in text for words in _NO_ROOM):
        return StoreNotWritable(f"no room on the disk for the database {path}: {line}; nothing of this step was stored")
    if "version number" in text:
        return StoreNewer(f"the database {path} was written by a newer version of the program: {line}")
    if any(words in text for words in _NO_MEMORY):
        return StoreError(f"too little memory, or room to spill to, for the database {path}: {line}")
    if any(words in text for words in _NO_RIGHT):
        return StoreNotWritable(f"the database {path} cannot be used: {line}; check the folder and its permissions")
    if any(words in text for words in _DAMAGED):
        return StoreDamaged(f"{path} is not a whole database: {line}; restore it from a backup or move it away")
    return None
