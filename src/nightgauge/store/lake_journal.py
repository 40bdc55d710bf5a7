"""What a transaction leaves in the lake: its mark while it is open, new objects, and those it has replaced.

The order of things is what makes a kill harmless: a mark, then new objects, then the database's commit (which alone
makes them exist), then the removal of what they replaced, then of the mark. A mark that is found says that a run did
not come to its end; everything that the manifest does not name is then removed.
"""

import uuid
from collections.abc import Callable, Collection
from contextlib import suppress
from datetime import date

from nightgauge.errors import StoreNotWritable
from nightgauge.store.lake_objects import Objects

OPEN = "_open"
"""Folder of the marks."""


class Journal:
    """The journal of one transaction; nothing stands in the lake before something is to be written."""

    def __init__(self, objects: Objects) -> None:
        self._objects = objects
        self._mark: str | None = None
        self._replaced: list[str] = []

    def begin(self, known: Callable[[], Collection[str]]) -> None:
        """Set the mark, once; remove what a run has left that was killed.

        Only who has the database open to write comes here, so no other run is writing.

        Parameters
        ----------
        known : callable
            Gives the names in the manifest; asked only where there is something to clear up.

        """
        if self._mark is not None:
            return
        left = self._objects.names(OPEN)
        self._mark = f"{OPEN}/{uuid.uuid4().hex}"
        self._objects.mark(self._mark)
        if left:
            kept = {*known(), self._mark, *left}
            self._objects.remove([name for name in self._objects.names() if name not in kept])
            self._objects.remove(left)

    def replaced(self, names: Collection[str]) -> None:
        """Note objects to remove once the transaction is kept."""
        self._replaced += names

    def committed(self) -> None:
        """Remove what was replaced, then the mark; where that fails the mark stays, and the next run does it."""
        if self._mark is None:
            return
        with suppress(StoreNotWritable):
            self._objects.remove(self._replaced)
            self._objects.remove([self._mark])
        self._mark, self._replaced = None, []


def new_name(group_number: int, day: date) -> str:
    """Return a name for an object that none had before."""
    return f"group={group_number:04d}/day={day.isoformat()}/{uuid.uuid4().hex}.parquet"
