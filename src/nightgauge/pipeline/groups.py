"""Vessels in groups whose rows are read together: one query a table for many vessels, and memory that is bounded."""

from collections.abc import Iterator, Sequence

import polars as pl

from nightgauge.field.settings import Vessel
from nightgauge.vocabulary.frames import Frame

GROUP = 48
"""Vessels read at once. House choice: four months of a vessel's rows are about 5 MB, and each reading of a group goes
once through the table."""


def in_groups(vessels: Sequence[Vessel]) -> Iterator[Sequence[Vessel]]:
    """Yield the vessels in groups, in their order."""
    for first in range(0, len(vessels), GROUP):
        yield vessels[first : first + GROUP]


class ByVessel:
    """A frame parted by vessel once, instead of searched through for each."""

    def __init__(self, frame: Frame, rows: pl.DataFrame) -> None:
        self._empty = frame.empty()
        parts = rows.partition_by("vessel", as_dict=True, maintain_order=True)
        self._parts = {str(key[0]): part for key, part in parts.items()}

    def of(self, vessel: str) -> pl.DataFrame:
        """Return the rows of one vessel in the order in which they stood."""
        return self._parts.get(vessel, self._empty)
