"""Finding the exports of a field and telling one content from another."""

import hashlib
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

from nightgauge.errors import SourceError
from nightgauge.field.settings import Field
from nightgauge.vocabulary.exports import Export

UNFINISHED = (".part", ".tmp")
"""Endings of files that somebody is still writing. Fixed by the field format."""

_BLOCK_BYTES = 1 << 20
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def discover(field: Field) -> tuple[Path, ...]:
    """Return the exports that the field's globs match, each once, by their path relative to the field folder.

    Unfinished files (`UNFINISHED`), dot files and files in dot folders are passed over.
    """
    found: dict[str, Path] = {}
    for pattern in field.streams:
        for path in field.folder.glob(pattern):
            relative = relative_to(path, field.folder)
            if path.is_file() and not _is_passed_over(relative):
                found.setdefault(relative, path)
    return tuple(found[relative] for relative in sorted(found))


def relative_to(path: Path, folder: Path) -> str:
    r"""Return a path relative to the field folder with forward slashes, also where it lies outside of it.

    Bytes of it that are no UTF-8 are told as ``\xff``, for neither the database nor a page can hold them.
    """
    return os.fsencode(Path(os.path.relpath(path, folder)).as_posix()).decode("utf-8", errors="backslashreplace")


def _is_passed_over(relative: str) -> bool:
    hidden = any(part.startswith(".") and part != ".." for part in relative.split("/"))
    return hidden or relative.lower().endswith(UNFINISHED)


def stamp(path: Path) -> tuple[int, datetime] | None:
    """Return size [bytes] and modification time of a file, or None where it is gone."""
    try:
        status = path.stat()
    except OSError:
        return None
    return _stamp(status)


def _stamp(status: os.stat_result) -> tuple[int, datetime]:
    return status.st_size, _EPOCH + timedelta(microseconds=status.st_mtime_ns // 1000)


def unhashed(path: Path, folder: Path) -> Export:
    """Return what identifies a file but for the hash of its content, which takes a while.

    Raises
    ------
    SourceError
        If the file cannot be looked at.

    """
    relative = relative_to(path, folder)
    try:
        size_bytes, modified_utc = _stamp(path.stat())
    except OSError as error:
        raise _unreadable(relative, error) from error
    return Export(path, relative, "", size_bytes, modified_utc)


def fingerprint(path: Path, folder: Path) -> Export:
    """Return what identifies a file: its path in the field folder, the hash of its content, size and time.

    Raises
    ------
    SourceError
        If the file cannot be opened or read, or has a name by which it could not be found again.

    """
    relative = relative_to(path, folder)
    if relative != Path(os.path.relpath(path, folder)).as_posix():
        raise SourceError(f"{relative}: found a name that is no UTF-8, expected one that is; rename the file")
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            status = os.fstat(file.fileno())
            while block := file.read(_BLOCK_BYTES):
                digest.update(block)
    except OSError as error:
        raise _unreadable(relative, error) from error
    size_bytes, modified_utc = _stamp(status)
    return Export(path, relative, digest.hexdigest(), size_bytes, modified_utc)


def _unreadable(relative: str, error: OSError) -> SourceError:
    return SourceError(
        f"{relative}: found {error.strerror or error}, expected a file that can be read; "
        "check that it is still there and who may read it"
    )
