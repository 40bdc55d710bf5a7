"""Dumps of the water dump as one signal shows them, and when it would have shown them."""

from dataclasses import dataclass

import numpy as np

from nightgauge.derive.spans import Flags, Indices, Span, Times
from nightgauge.derive.tables import NO_TIME

UNSEEN = NO_TIME
"""Stands for an opening or shutting that was not seen."""


ENOUGH, MOSTLY = 4, 0.9
"""Dumps, and share of them, that decide whether a signal is scanned too slowly for them. House choice: a dump that
lasts just over a scan is seen in two scans as often as in one."""


@dataclass(frozen=True)
class Dumps:
    """Dumps in order of time; `UNSEEN` where the opening or the shutting was not seen."""

    opened_us: Times
    shut_us: Times
    late_us: Times
    """How late the opening may have been seen."""

    @property
    def size(self) -> int:
        """Return how many there are."""
        return int(self.opened_us.size)

    def chosen(self, which: Flags | Indices) -> "Dumps":
        """Return some of them."""
        return Dumps(self.opened_us[which], self.shut_us[which], self.late_us[which])


@dataclass(frozen=True)
class Evidence:
    """The dumps that one signal shows, and the intervals in which it would have shown them."""

    name: str
    dumps: Dumps
    known: Span
    misses: bool = False
    """Whether dumps are shorter than its scan, so that it does not see them all."""


NO_TIMES = np.zeros(0, dtype=np.int64)
NO_DUMPS = Dumps(NO_TIMES, NO_TIMES, NO_TIMES)
