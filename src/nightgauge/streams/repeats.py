"""Rows of one file that speak of the same tag and time: the last one stands, the others are counted."""

from dataclasses import dataclass

import polars as pl

KEY = ("tag_id", "time_utc")
SAID = ("value", "text_value", "flag")


@dataclass(frozen=True)
class Settled:
    """Rows of a file, one per tag and time, and what became of the others."""

    samples: pl.DataFrame
    losers: pl.DataFrame
    rows_repeated: int


def settle(rows: pl.DataFrame) -> Settled:
    """Return the last word of a file on each tag and time.

    Parameters
    ----------
    rows : DataFrame
        EXPORT_SAMPLES in the order of the file, any number per tag and time.

    Returns
    -------
    Settled
        Samples and losers (distinct earlier words that differ from the last), sorted by tag and time; and
        how many rows said again what an earlier row had said.

    """
    ordered = rows.sort(KEY, maintain_order=True)
    is_again = pl.all_horizontal(pl.col(KEY) == pl.col(KEY).shift(1)).fill_null(value=False)
    is_shared = ordered.select(shared=is_again | is_again.shift(-1).fill_null(value=False))["shared"]
    if not is_shared.any():
        return Settled(ordered, ordered.clear(), 0)
    shared = ordered.filter(is_shared)
    last = shared.unique(KEY, keep="last", maintain_order=True)
    distinct = shared.unique([*KEY, *SAID], keep="first", maintain_order=True)
    losers = distinct.join(last, on=[*KEY, *SAID], how="anti", nulls_equal=True, maintain_order="left")
    samples = pl.concat([ordered.filter(~is_shared), last]).sort(KEY)
    return Settled(samples, losers, shared.height - distinct.height)
