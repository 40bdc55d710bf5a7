"""Watching over nights: whether the last good one is recent, and which findings are new and high."""

from datetime import datetime, timedelta

import polars as pl

from nightgauge.errors import NoGoodNight, StoreMissing
from nightgauge.store import Store


def require_recent(store: Store, oldest: timedelta, now: datetime) -> None:
    """Raise where no night has ended well within the last `oldest`.

    A night that ended further than that *after* now proves nothing either: then a clock is wrong.

    Raises
    ------
    NoGoodNight
        With the time of the last good night and what has become of the runs since.

    """
    try:
        with store.reading() as reader:
            runs = reader.nights()
    except StoreMissing as error:
        raise NoGoodNight(f"no night has run yet: there is no database {store.path}") from error
    done = runs.filter(pl.col("state") == "done")
    ended = done["ended_utc"].max()
    if not isinstance(ended, datetime):
        raise NoGoodNight(f"no night has ended well yet{_others(runs)}")
    stamp = ended.isoformat(timespec="minutes")
    if now - ended > oldest:
        later = runs.filter(pl.col("night_id") > done["night_id"].max())
        raise NoGoodNight(f"the last good night ended {stamp}, more than {oldest} ago{_others(later)}")
    if ended - now > oldest:
        raise NoGoodNight(f"the last good night ended {stamp}, more than {oldest} from now: a clock is or was wrong")


def _others(runs: pl.DataFrame) -> str:
    counts = runs.group_by("state").len().sort("state").iter_rows()
    told = ", ".join(f"{count} {state}" for state, count in counts)
    return f" ({told} since)" if told else ""


def high_findings(store: Store) -> pl.DataFrame:
    """Return the FINDINGS that stand and are high and that nobody has marked."""
    with store.reading() as reader:
        findings = reader.findings()
    stands = pl.col("state").is_in(["new", "standing"])
    return findings.filter(stands & (pl.col("priority") == "high") & pl.col("mark").is_null())
