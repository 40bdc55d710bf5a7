"""From stored samples and rows of `tag` to the samples of a vessel, as handed to derive."""

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
