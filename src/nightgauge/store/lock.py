"""One night at a time: a lock file beside the database, held by the running process and by nothing after it."""

import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from nightgauge.errors import StoreBusy, StoreNotWritable
from nightgauge.store.connection import RETRY_EVERY_S, make_folder_of


@contextmanager
def night_lock(database: Path, wait_s: float) -> Iterator[None]:
    """Hold the night's lock of a database.

    The kernel drops the lock with the process, however that ends, so a killed night blocks nobody. The file
    stays: removing it would let two processes hold two files of one name.

    Raises
    ------
    StoreBusy
        If another night holds it longer than `wait_s`; says which process.
    StoreNotWritable
        If the lock file cannot be made.

    """
    path = database.resolve().with_name(database.name + ".lock")
    make_folder_of(database)
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    except OSError as error:
        raise StoreNotWritable(f"the lock file {path} cannot be made or opened: {error.strerror}") from error
    try:
        _acquire(handle, path, database, wait_s)
        os.ftruncate(handle, 0)
        os.pwrite(handle, str(os.getpid()).encode(), 0)
        yield
    finally:
        os.close(handle)


def _acquire(handle: int, path: Path, database: Path, wait_s: float) -> None:
    give_up_at = time.monotonic() + wait_s
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            if time.monotonic() >= give_up_at:
                holder = path.read_text().strip() or "unknown"
                raise StoreBusy(
                    f"another night is running on {database} (process {holder});"
                    " wait for it to end, or start with --wait"
                ) from error
            time.sleep(RETRY_EVERY_S)
        else:
            return
