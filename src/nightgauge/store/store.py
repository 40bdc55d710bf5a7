"""The door to the database file: who may write, who may read, and for how long."""

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

from nightgauge.store import backup as copies
from nightgauge.store.backup import Copied
from nightgauge.store.connection import connect, told_as_store_error
from nightgauge.store.lock import night_lock
from nightgauge.store.migrations import migrate, require_current
from nightgauge.store.reader import Reader
from nightgauge.store.writer import Writer

WAIT_S = 60.0
"""How long to try at a busy database. [s] Fixed by the design: a night holds it only inside its transactions."""


class Store:
    """One field's database. Nothing is opened before it is used."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def night_lock(self, wait_s: float = 0.0) -> AbstractContextManager[None]:
        """Hold the right to run a night; raises StoreBusy if another night holds it longer than `wait_s`."""
        return night_lock(self.path, wait_s)

    @contextmanager
    def writing(self, wait_s: float = WAIT_S) -> Iterator[Writer]:
        """Open one transaction: committed where the block ends well, else nothing of it is stored.

        Makes the database, and brings an older one up to date, where needed.

        Raises
        ------
        StoreBusy, StoreNotWritable, StoreDamaged, StoreNewer

        """
        connection = connect(self.path, read_only=False, wait_s=wait_s)
        try:
            with told_as_store_error(self.path):
                migrate(connection, self.path)
                connection.execute("BEGIN")
                writer = Writer(connection, self.path.absolute().parent)
                yield writer
                connection.execute("COMMIT")
                writer.committed()
        finally:
            # Closing drops a transaction that was not committed.
            connection.close()

    @contextmanager
    def reading(self, wait_s: float = WAIT_S) -> Iterator[Reader]:
        """Open the database to read; it is never made or changed.

        Raises
        ------
        StoreMissing
            If no night has run yet.
        StoreBusy, StoreDamaged, StoreNewer, StoreError
            The last if an older program made it and no night has brought it up to date.

        """
        connection = connect(self.path, read_only=True, wait_s=wait_s)
        try:
            with told_as_store_error(self.path):
                require_current(connection, self.path)
                yield Reader(connection, self.path.absolute().parent)
        finally:
            connection.close()

    def backup(self, to: Path, *, may_replace: bool = False, wait_s: float = WAIT_S) -> Copied:
        """Copy the database as it stands between two transactions; see `store.backup`."""
        return copies.backup(self.path.absolute(), to.absolute(), may_replace=may_replace, wait_s=wait_s)

    def restore(self, copy: Path, *, may_replace: bool = False, wait_s: float = 0.0) -> Copied:
        """Put a copy in the database's place; see `store.backup`."""
        return copies.restore(self.path.absolute(), copy.absolute(), may_replace=may_replace, wait_s=wait_s)
