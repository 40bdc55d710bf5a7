"""From stored samples and rows of `tag` to the samples of a vessel, as handed to derive."""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import polars as pl

from nightgauge.vocabulary.flags import BAD
from nightgauge.vocabulary.frames import VESSEL_SAMPLES


def in_force(tags: pl.DataFrame) -> pl.DataFrame:
    """Return the rows of TAGS that tags.csv still has."""
    return tags.filter(pl.col("removed_utc").is_null())


def vessel_samples(samples: pl.DataFrame, tags: pl.DataFrame) -> pl.DataFrame:
    """Return the samples of one vessel as VESSEL_SAMPLES; bad ones are kept without a value.

    Parameters
    ----------
    samples : SAMPLES
        Of these tags.
    tags : TAGS
        The vessel's rows in force; samples outside a row's dates are none of the vessel's.

    """
    known = tags.select("tag_id", "signal", "max_gap_s", "from_utc", "to_utc")
    is_dated = pl.col("time_utc").ge(pl.col("from_utc")).fill_null(value=True) & pl.col("time_utc").lt(
        pl.col("to_utc")
    ).fill_null(value=True)
    is_bad = pl.col("flag") == BAD
    found = samples.join(known, on="tag_id", maintain_order="left").filter(is_dated)
    return VESSEL_SAMPLES.build(
        found.select(
            "signal",
            "time_utc",
            value=pl.when(~is_bad).then("value"),
            text_value=pl.when(~is_bad).then("text_value"),
            flag="flag",
            max_gap_s="max_gap_s",
        )
    )


def by_vessel(samples: pl.DataFrame, tags: pl.DataFrame, vessels: Sequence[str]) -> dict[str, pl.DataFrame]:
    """Return the samples of each vessel as VESSEL_SAMPLES.

    Parameters
    ----------
    samples : SAMPLES
        Of these tags.
    tags : TAGS
        The vessels' rows in force.
    vessels : sequence of str
        A vessel without samples has no rows.

    """
    stored = _slices(samples)
    found = {}
    for vessel in vessels:
        mine = tags.filter(pl.col("vessel") == vessel).sort("signal", "tag_id")
        rows = [row for row in mine.iter_rows(named=True) if row["tag_id"] in stored]
        parts = [_of_tag(stored[row["tag_id"]], row) for row in rows]
        together = pl.concat([VESSEL_SAMPLES.empty(), *parts])
        is_ordered = len({row["signal"] for row in rows}) == len(rows)
        found[vessel] = VESSEL_SAMPLES.check(together) if is_ordered else VESSEL_SAMPLES.build(together)
    return found


def _slices(samples: pl.DataFrame) -> dict[int, pl.DataFrame]:
    """Return the samples of each tag; they stand together, in order of time."""
    tag = samples["tag_id"].to_numpy()
    edges = [*np.flatnonzero(np.append(True, tag[1:] != tag[:-1])).tolist(), tag.size] if tag.size else []
    return {int(tag[a]): samples.slice(a, b - a) for a, b in pairwise(edges)}


def _of_tag(samples: pl.DataFrame, tag: Mapping[str, Any]) -> pl.DataFrame:
    """Return the samples of one tag under its signal's name; those outside the tag row's dates are left out."""
    if tag["from_utc"] is not None:
        samples = samples.filter(pl.col("time_utc") >= tag["from_utc"])
    if tag["to_utc"] is not None:
        samples = samples.filter(pl.col("time_utc") < tag["to_utc"])
    values = ["value", "text_value"]
    if (samples["flag"] == BAD).any():
        samples = samples.with_columns(pl.when(pl.col("flag") != BAD).then(pl.col(values)))
    return samples.select(
        pl.lit(tag["signal"]).alias("signal"), "time_utc", *values, "flag", max_gap_s=pl.lit(tag["max_gap_s"])
    )
