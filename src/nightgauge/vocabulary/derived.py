"""What is derived from one vessel's samples, as rooms hand it to each other."""

from dataclasses import dataclass

import polars as pl


@dataclass(frozen=True)
class Derived:
    """The derived rows of one vessel over one range of time, each frame in its own order."""

    cycles: pl.DataFrame
    """DUMP_CYCLES."""
    hours: pl.DataFrame
    """VESSEL_HOURS."""
    days: pl.DataFrame
    """VESSEL_DAYS."""
    signal_hours: pl.DataFrame
    """SIGNAL_HOURS."""
    tests: pl.DataFrame
    """WELL_TESTS."""

    @property
    def height(self) -> int:
        """Return how many rows there are in all frames together."""
        return sum(frame.height for frame in (self.cycles, self.hours, self.days, self.signal_hours, self.tests))
