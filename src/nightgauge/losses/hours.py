"""Hours of signals, beside each other and by day of the field."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo

import polars as pl

_KNOWN = 0.5
"""Share of an hour from which its mean stands for it. House choice: the larger part."""


def daily(signal_hours: pl.DataFrame, vessel: str, signals: Sequence[str], zone: ZoneInfo) -> pl.DataFrame:
    """Return the hourly means of some signals of a vessel beside each other, with the day each hour belongs to.

    Parameters
    ----------
    signal_hours : SIGNAL_HOURS
        Of any vessels.
    vessel : str
        Vessel id.
    signals : sequence of str
        Each gives a column of its name, in the signal's unit; null where the hour is known for less than half.
    zone : ZoneInfo
        Of the field.

    Returns
    -------
    DataFrame
        `hour_utc`, `day` and one column a signal, one row an hour in which any is known.

    """
    known = signal_hours.filter(
        (pl.col("vessel") == vessel) & pl.col("signal").is_in(signals) & (pl.col("coverage") >= _KNOWN)
    )
    return (
        known.group_by("hour_utc")
        .agg(pl.col("mean").filter(pl.col("signal") == name).first().alias(name) for name in signals)
        .sort("hour_utc")
        .with_columns(day=pl.col("hour_utc").dt.convert_time_zone(zone.key).dt.date())
    )
