"""A copy of the database as it stands between two transactions, and a copy put back in its place.

The file is copied as it is, held open to read meanwhile: so no transaction is under way, readers go on, and a night
waits at its next transaction for as long as copying takes. The engine's own copying writes every row anew; a night
would have to wait that much longer, and the database would have to be opened with the right to open other files.

A copy's lake lies beside it in a folder of its name with `.lake` at its end. Objects of a lake never change, so those
that are there already are not copied again.
"""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path

import duckdb

from nightgauge.errors import SettingError, StoreBusy, StoreDamaged, StoreError, StoreNotWritable
from nightgauge.store.connection import connect, make_folder_of, missing, told_as_store_error
from nightgauge.store.lock import night_lock
from nightgauge.store.migrations import refuse_newer, version_of
from nightgauge.store.remembered import recall

ROUNDS = 5
"""How often the database is copied anew where a night replaces objects of the lake meanwhile. House choice: each time
only what is new is left to copy, so the second mostly suffices."""
_PIECE = 16 * 1024 * 1024
"""Bytes copied at a time. House choice: large enough that calls cost nothing."""


@dataclass(frozen=True)
class Copied:
    """What a copy holds."""

    size_bytes: int
    """Of the database, and of the lake's objects where they are with it."""
    lake_left_out: str | None = None
    """Address of a lake that is not with it."""


def backup(database: Path, to: Path, *, may_replace: bool, wait_s: float) -> Copied:
    """Copy a database, with its lake where that is a folder; nights may go on.

    The copy is read through before it gets its name.

    Raises
    ------
    SettingError
        If there is a file of that name and it may not be replaced.
    StoreMissing, StoreBusy, StoreDamaged, StoreNewer, StoreNotWritable

    """
    if not database.exists():
        raise missing(database)
    _refuse_to_overwrite(to, may_replace=may_replace)
    make_folder_of(to)
    with _part_of(to) as part:
        for _ in range(ROUNDS):
            _copy_database(database, part, wait_s)
            lake = _lake_of(part, database.parent)
            if lake is None or lake.is_elsewhere or _are_copied(lake, _lake_beside(to, lake)):
                break
        else:
            raise StoreBusy(f"the lake of {database} changed each time while it was copied; try again between nights")
        return _put(part, to, lake, None if lake is None else _lake_beside(to, lake))


def restore(database: Path, copy: Path, *, may_replace: bool, wait_s: float) -> Copied:
    """Put a copy in a database's place, between nights; the copy stays.

    It is read through before anything is replaced.

    Raises
    ------
    SettingError
        If there is no such copy, or there is a database and it may not be replaced.
    StoreBusy, StoreDamaged, StoreNewer, StoreNotWritable

    """
    if not copy.is_file():
        raise SettingError(f"there is no file {copy} to restore from; give one that `nightgauge backup` has made")
    _refuse_to_overwrite(database, may_replace=may_replace)
    with night_lock(database, wait_s), _part_of(database) as part:
        _copy_database(copy, part, wait_s)
        lake = _lake_of(part, database.parent)
        if lake is not None and not lake.is_elsewhere:
            kept = _lake_beside(copy, lake)
            if not _are_copied(replace(lake, place=str(kept.parent)), lake.folder):
                raise StoreDamaged(f"{kept} does not hold all of the lake of {copy}; take another copy")
        _let_go(database, wait_s)
        return _put(part, database, lake, None if lake is None else lake.folder)


def _refuse_to_overwrite(path: Path, *, may_replace: bool) -> None:
    if path.is_dir():
        raise SettingError(f"{path} is a folder; give the name of a file")
    if path.exists() and not may_replace:
        raise SettingError(f"there is a file {path} already; add --replace where it is no longer wanted")


@contextmanager
def _part_of(path: Path) -> Iterator[Path]:
    """Give a name beside a file to write under; nothing of that name is left."""
    part = path.with_name(f".{path.name}.part")
    try:
        _remove(part)
        yield part
    except OSError as error:
        raise StoreNotWritable(f"{path} cannot be written: {error.strerror or error}; nothing was replaced") from error
    finally:
        with suppress(OSError):
            _remove(part)


def _remove(path: Path) -> None:
    path.unlink(missing_ok=True)
    _log_of(path).unlink(missing_ok=True)


def _log_of(database: Path) -> Path:
    """Return where the engine keeps what a killed process has committed and not yet written into the file."""
    return database.with_name(database.name + ".wal")


def _copy_database(database: Path, part: Path, wait_s: float) -> None:
    """Copy a database with what its log holds into one whole file, read through to its end."""
    _remove(part)
    # Closing any handle on the file would drop the engine's lock with it: so ours is opened first and closed last.
    with database.open("rb") as source:
        held = connect(database, read_only=True, wait_s=wait_s)
        try:
            with part.open("wb") as file:
                shutil.copyfileobj(source, file, _PIECE)
            if _log_of(database).exists():
                shutil.copyfile(_log_of(database), _log_of(part))
        finally:
            held.close()
    connect(part, read_only=False, wait_s=0.0).close()  # takes the log into the file
    _read_through(part)


def _read_through(path: Path) -> None:
    """Refuse a database that is newer, of somebody else, empty, or broken anywhere: the engine checks what it reads."""
    with _opened(path) as con:
        version = version_of(con, path)
        refuse_newer(version, path)
        if version == 0:
            raise StoreDamaged(f"{path} holds nothing; take another copy")
        for (table,) in con.execute("SELECT table_name FROM duckdb_tables()").fetchall():
            # A count is answered from statistics, a hash of whole rows is not.
            con.execute(f'SELECT bit_xor(hash(one)) FROM "{table}" AS one').fetchall()  # noqa: S608  the engine's names


@contextmanager
def _opened(path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    con = connect(path, read_only=True, wait_s=0.0)
    try:
        with told_as_store_error(path):
            yield con
    finally:
        con.close()


@dataclass(frozen=True)
class _Lake:
    """A database's part of a lake, as it says itself."""

    place: str
    number: str
    sizes: dict[str, int]
    """Objects by name. [bytes]"""

    @property
    def is_elsewhere(self) -> bool:
        """Return whether it lies in an object store."""
        return "://" in self.place

    @property
    def folder(self) -> Path:
        """Return the folder of its objects."""
        return Path(self.place) / self.number


def _lake_of(path: Path, folder: Path) -> _Lake | None:
    """Return the lake of a database, whose place may be told from a folder; None where it has none."""
    with _opened(path) as con:
        if recall(con, "samples") != "lake":
            return None
        place = recall(con, "lake") or ""
        sizes = dict(con.execute("SELECT name, size_bytes FROM lake_part").fetchall())
        return _Lake(place if "://" in place else str(folder / place), recall(con, "lake_id") or "", sizes)


def _lake_beside(copy: Path, lake: _Lake) -> Path:
    """Return the folder of a lake's objects beside a copy."""
    return copy.with_name(copy.name + ".lake") / lake.number


def _are_copied(lake: _Lake, to: Path) -> bool:
    """Copy the objects that are not there yet; return whether all are there now, as long as they should be."""
    for name, size in lake.sizes.items():
        target = to / name
        if not target.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            part = target.with_name(f".{target.name}.part")
            try:
                shutil.copyfile(lake.folder / name, part)
            except FileNotFoundError:
                return False
            part.replace(target)
        if target.stat().st_size != size:
            return False
    return True


def _let_go(database: Path, wait_s: float) -> None:
    """See that nobody has the database open, and that no log of it is left that the next one would be taken for."""
    if database.exists():
        try:
            connect(database, read_only=False, wait_s=wait_s).close()
        except StoreBusy:
            raise
        except StoreError:
            pass  # Broken or newer: that is why it is replaced.
    _log_of(database).unlink(missing_ok=True)


def _put(part: Path, to: Path, lake: _Lake | None, objects: Path | None) -> Copied:
    """Give a copy its name, and remove the objects beside it that it does not name."""
    size = part.stat().st_size
    with part.open("rb") as file:
        os.fsync(file.fileno())  # a name must never stand for what a power cut can take
    part.replace(to)
    if lake is None or objects is None:
        return Copied(size)
    if lake.is_elsewhere:
        return Copied(size, lake.place)
    for path in objects.rglob("*.parquet"):
        if path.relative_to(objects).as_posix() not in lake.sizes:
            path.unlink(missing_ok=True)
    return Copied(size + sum(lake.sizes.values()))
