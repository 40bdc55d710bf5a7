"""Values as written to stored values: numbers with point or comma, text states, conversion to SI."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.streams.kept_out import NOT_A_NUMBER, NOT_A_STATE, NOT_FINITE
from nightgauge.streams.tag_table import TagTable

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.int32]


@dataclass(frozen=True)
class Values:
    """Stored values of rows, NaN where there is none, and the rows that have none for which reason."""

    value: Floats
    is_missing: Bools
    """Nothing was written."""
    reasons: tuple[tuple[str, Bools], ...]
    """Why a row that has something written has no value, by reason."""


def numbers_of(index: Indices, number: pl.Series, text: pl.Series, table: TagTable) -> Values:
    """Return the stored values of rows of signals that are no texts.

    Parameters
    ----------
    index : (n,) int32
        Row of the tag table.
    number : (n,) Series of Float64
        Where the value reads as a plain number, else null.
    text : (n,) Series of String
        Value as written, or null where the number is all there is.
    table : TagTable
        Conversions and states.

    """
    has_number = number.is_not_null().to_numpy().copy()
    raw = number.fill_null(np.nan).to_numpy().copy()
    is_state_word = np.zeros(len(raw), np.bool_)
    is_missing = np.zeros(len(raw), np.bool_)
    hard = np.flatnonzero(~has_number)
    if len(hard):
        _read_texts(hard, _Texts(index[hard], text.gather(hard), table), (raw, has_number, is_state_word, is_missing))
    _read_numeric_states(index, raw, is_state_word, table)
    with np.errstate(over="ignore", invalid="ignore"):
        value = raw * table.factor[index] + table.constant[index]
    is_state = table.is_state[index]
    is_infinite = has_number & ~np.isfinite(value)
    is_odd_state = is_state & has_number & ~is_state_word & ~is_infinite & (value != 0.0) & (value != 1.0)
    unread = ~has_number & ~is_missing
    return Values(
        np.where(np.isfinite(value) & has_number, value, np.nan),
        is_missing,
        (
            (NOT_A_NUMBER, unread & ~is_state),
            (NOT_A_STATE, (unread & is_state) | is_odd_state),
            (NOT_FINITE, is_infinite),
        ),
    )


@dataclass(frozen=True)
class _Texts:
    """Values that are no plain numbers."""

    index: Indices
    text: pl.Series
    table: TagTable


def _read_texts(rows: npt.NDArray[np.int64], texts: _Texts, into: tuple[Floats, Bools, Bools, Bools]) -> None:
    raw, has_number, is_state_word, is_missing = into
    frame = pl.DataFrame({"index": texts.index, "key": texts.text.fill_null("").str.strip_chars()}).with_columns(
        place=pl.Series(rows)
    )
    is_missing[rows] = (frame["key"] == "").to_numpy()
    states = _states_of(frame, texts.table)
    is_comma = (pl.col("key").str.count_matches(",", literal=True) == 1) & ~pl.col("key").str.contains(
        ".", literal=True
    )
    plain = pl.when(is_comma).then(pl.col("key").str.replace(",", ".", literal=True)).otherwise(pl.col("key"))
    numbers = frame.select(plain.cast(pl.Float64, strict=False))["key"]
    found = states.is_not_null() | numbers.is_not_null()
    best = states.zip_with(states.is_not_null(), numbers)
    raw[rows] = best.fill_null(np.nan).to_numpy()
    has_number[rows] = found.to_numpy()
    is_state_word[rows] = states.is_not_null().to_numpy()


def _states_of(frame: pl.DataFrame, table: TagTable) -> pl.Series:
    """Return the number each text stands for by tags.csv, or true and false of a state; null where none."""
    folded = pl.col("key").str.replace_all(r"\s+", "").str.to_lowercase()
    joined = (
        frame.with_columns(folded=folded)
        .join(table.states, on=["index", "key"], how="left", maintain_order="left")
        .join(
            table.folded_states.rename({"key": "folded", "state": "folded_state"}),
            on=["index", "folded"],
            how="left",
            maintain_order="left",
        )
    )
    word = (
        pl.when(pl.Series(table.is_state[frame["index"].to_numpy()]))
        .then(pl.col("folded").replace_strict({"true": 1.0, "false": 0.0}, default=None, return_dtype=pl.Float64))
        .otherwise(None)
    )
    return joined.select(pl.coalesce("state", "folded_state", word).alias("state"))["state"]


def _read_numeric_states(index: Indices, raw: Floats, is_state_word: Bools, table: TagTable) -> None:
    """Put in the states of tags whose tags.csv names numbers as texts, such as ``1=0;0=1``."""
    named = table.numeric_states
    if named.is_empty():
        return
    has_named = np.isin(index, named["index"].to_numpy()) & ~is_state_word
    rows = np.flatnonzero(has_named)
    frame = pl.DataFrame({"index": index[rows], "number": raw[rows]})
    states = frame.join(named, on=["index", "number"], how="left", maintain_order="left")["state"]
    hits = states.is_not_null().to_numpy()
    raw[rows[hits]] = states.filter(states.is_not_null()).to_numpy()
    is_state_word[rows[hits]] = True
