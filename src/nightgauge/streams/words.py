"""A column of texts of which few differ, as numbers: tags, quality and, run by run, time stamps."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

Integers = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Words:
    """Texts of rows, each told by its place among the different ones."""

    place: npt.NDArray[np.integer]
    """(n,) Where each row's text stands in `texts`."""
    texts: pl.Series
    """(k,) String without nulls; not all of them need stand in a row."""

    @staticmethod
    def of(column: pl.Series) -> "Words":
        """Return the texts of a column; null is the empty text."""
        texts = column.cast(pl.String).fill_null("")
        if texts.is_empty():
            return Words(np.zeros(0, np.uint32), texts)
        # Categories of their own: those that all columns share would grow with every file that is read.
        coded = texts.cast(pl.Categorical(pl.Categories.random()))
        place = coded.to_physical().to_numpy()
        known = pl.Series(np.arange(place.max() + 1, dtype=place.dtype))
        return Words(place, known.cat.to(coded.dtype).cast(pl.String))

    def take(self, rows: Integers) -> "Words":
        """Return the texts of some rows."""
        return Words(self.place[rows], self.texts)

    def written(self, rows: Integers) -> pl.Series:
        """Return some rows' texts one by one."""
        return self.texts.gather(self.place[rows])

    def counts(self, chosen: npt.NDArray[np.bool_] | None = None) -> Integers:
        """Return how many of the rows, or of the chosen ones, have each text."""
        place = self.place if chosen is None else self.place[chosen]
        return np.bincount(place, minlength=len(self.texts))
