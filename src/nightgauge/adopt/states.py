"""Which texts are the two words of a switch, which of them means open, and how long switches stay open."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.adopt.readings import Readings

OPEN_WORDS = frozenset(
    {"open", "opened", "opn", "on", "true", "yes", "run", "running", "active", "high", "1", "started"}
)
SHUT_WORDS = frozenset(
    {"closed", "close", "cls", "clsd", "shut", "off", "false", "no", "stop", "stopped", "idle", "inactive", "low", "0"}
)
"""Common practice, no source."""


def _is_open(text: str) -> bool | None:
    word = text.strip().casefold()
    return True if word in OPEN_WORDS else False if word in SHUT_WORDS else None


def words_of_state(texts: Sequence[str]) -> bool:
    """Return whether the texts of a tag are those of a switch.

    Examples
    --------
    >>> words_of_state(("CLOSED", "OPEN")), words_of_state(("OPEN",)), words_of_state(("W-12", "W-14"))
    (True, True, False)

    """
    return 0 < len(texts) <= 2 and all(_is_open(text) is not None for text in texts)


def state_map(texts: Sequence[str]) -> str:
    """Return the `states` of tags.csv for the texts of a switch.

    Examples
    --------
    >>> state_map(("CLOSED", "OPEN"))
    'CLOSED=0;OPEN=1'

    """
    return ";".join(f"{text}={int(bool(_is_open(text)))}" for text in texts)


def number_states(readings: Readings) -> Readings:
    """Return the readings with the texts of switches as 0 and 1, whatever the order of their words."""
    turned = [
        tag for tag, texts in readings.texts.items()
        if words_of_state(texts) and [bool(_is_open(text)) for text in texts] != [bool(at) for at in range(len(texts))]
    ]  # fmt: skip
    if not turned:
        return readings
    flipped = pl.when(pl.col("tag_id").is_in(turned)).then(1.0 - pl.col("value")).otherwise(pl.col("value"))
    return Readings(readings.tags, readings.samples.with_columns(value=flipped), readings.texts, readings.units)


def highs_of(readings: Readings, tags: npt.NDArray[np.int64]) -> dict[str, pl.Series]:
    """Return for each tag how long it usually stays at 1 [s] and how often it goes there a day; null if never.

    Only switches are looked at.
    """
    open_s: list[float | None] = [None] * len(readings.tags)
    per_day: list[float | None] = [None] * len(readings.tags)
    for tag in tags.tolist():
        time_s, value = readings.of(tag)
        if time_s.size < 2:
            continue
        turns = np.flatnonzero(np.diff(value) != 0.0) + 1
        if not len(turns):
            continue
        rises = turns[value[turns] > 0.5]
        falls = turns[value[turns] < 0.5]
        after = np.searchsorted(falls, rises)
        ended = after < len(falls)
        lengths = time_s[falls[after[ended]]] - time_s[rises[ended]]
        days = max((time_s[-1] - time_s[0]) / 86400.0, 1e-6)
        open_s[tag] = float(np.median(lengths)) if lengths.size else None
        per_day[tag] = len(rises) / days
    return {
        "open_s": pl.Series("open_s", open_s, dtype=pl.Float64),
        "opens_per_day": pl.Series("opens_per_day", per_day, dtype=pl.Float64),
    }
