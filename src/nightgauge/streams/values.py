"""Values as written to stored values: numbers with point or comma, text states, conversion to SI."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from nightgauge.streams.kept_out import NOT_A_NUMBER, NOT_A_STATE, NOT_FINITE
from nightgauge.streams.tag_table import TagTable

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.int32]
Integers = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Values:
    """Stored values of rows, NaN where there is none, and the rows that have none for which reason."""

    value: Floats
    is_missing: Bools
    """Nothing was written."""
    reasons: tuple[tuple[str, Bools], ...]
    """Why a row that has something written has no value, by reason."""


def numbers_of(index: Indices, number: pl.Series, texts: Callable[[Integers], pl.Series], table: TagTable) -> Values:
    """Return the stored values of rows of signals that are no texts.

    A state named in tags.csv is stored as the number it stands for; numbers, and true and false as 1 and 0,
    go through the tag's conversion.

    Parameters
    ----------
    index : (n,) int32
        Row of the tag table.
    number : (n,) Series of Float64
        Where the value reads as a plain number, else null.
    texts : callable
        Values of some rows as written, null where the number is all there is.
    table : TagTable
        Conversions and states.

    """
    if number.null_count() == 0 and table.numeric_states.is_empty():
        return _plain(number.to_numpy(), index, table)
    read = _Read(
        number.fill_null(np.nan).to_numpy().copy(),
        number.is_not_null().to_numpy().copy(),
        np.full(len(index), np.nan),
        np.zeros(len(index), np.bool_),
    )
    hard = np.flatnonzero(~read.is_number)
    if len(hard):
        read.put_texts(hard, index[hard], texts(hard), table)
    read.put_numeric_states(index, table)
    has_state, is_state = ~np.isnan(read.state), table.is_state[index]
    value = np.where(has_state, read.state, _converted(read.raw, index, table))
    is_infinite = read.is_number & ~np.isfinite(value)
    is_odd_state = is_state & read.is_number & ~is_infinite & (value != 0.0) & (value != 1.0)
    is_unread = ~read.is_number & ~has_state & ~read.is_missing
    reasons = (
        (NOT_A_NUMBER, is_unread & ~is_state),
        (NOT_A_STATE, (is_unread & is_state) | is_odd_state),
        (NOT_FINITE, is_infinite),
    )
    return Values(np.where(is_infinite, np.nan, value), read.is_missing, reasons)


def _plain(raw: Floats, index: Indices, table: TagTable) -> Values:
    """Return the stored values of numbers where no state has a number of its own: most batches are of this kind."""
    value = _converted(raw, index, table)
    is_infinite = ~np.isfinite(value)
    is_odd_state = table.is_state[index] & (value != 0.0) & (value != 1.0) & ~is_infinite
    if is_infinite.any():
        value = np.where(is_infinite, np.nan, value)
    return Values(value, np.zeros(len(raw), np.bool_), ((NOT_A_STATE, is_odd_state), (NOT_FINITE, is_infinite)))


def _converted(raw: Floats, index: Indices, table: TagTable) -> Floats:
    with np.errstate(over="ignore", invalid="ignore"):
        converted: Floats = raw * table.factor[index] + table.constant[index]
    return converted


@dataclass(frozen=True)
class _Read:
    """Values as read so far, before conversion; arrays to be filled in."""

    raw: Floats
    is_number: Bools
    """A number was read, NaN and infinity among them."""
    state: Floats
    """What a state named in tags.csv stands for, NaN where none is named."""
    is_missing: Bools

    def put_texts(self, rows: Integers, index: Indices, text: pl.Series, table: TagTable) -> None:
        """Read values that are no plain numbers: states, decimal commas, truth values, nothing."""
        key = pl.col("key")
        frame = pl.DataFrame({"index": index, "key": text.fill_null("").str.strip_chars()})
        truth = key.str.to_lowercase().replace_strict(
            {"true": 1.0, "false": 0.0}, default=None, return_dtype=pl.Float64
        )
        read = frame.select(
            number=key.str.replace(",", ".", literal=True).cast(pl.Float64, strict=False),
            truth=pl.when(pl.Series(table.is_state[index])).then(truth),
            is_missing=key == "",
        )
        number = read.select(pl.coalesce("number", "truth"))["number"]
        self.raw[rows] = number.fill_null(np.nan).to_numpy()
        self.is_number[rows] = number.is_not_null().to_numpy()
        self.state[rows] = _states_of(frame, table).fill_null(np.nan).to_numpy()
        self.is_missing[rows] = read["is_missing"].to_numpy()

    def put_numeric_states(self, index: Indices, table: TagTable) -> None:
        """Put in the states of tags whose tags.csv names numbers as texts, such as ``1=0;0=1``."""
        named = table.numeric_states
        rows = np.flatnonzero(np.isin(index, named["index"].to_numpy()) & np.isnan(self.state))
        if len(rows):
            frame = pl.DataFrame({"index": index[rows], "number": self.raw[rows]})
            states = frame.join(named, on=["index", "number"], how="left", maintain_order="left")["state"]
            self.state[rows] = states.fill_null(np.nan).to_numpy()


def _states_of(frame: pl.DataFrame, table: TagTable) -> pl.Series:
    """Return what each text (columns index, key) stands for by tags.csv, null where it is not named there."""
    exact = frame.join(table.states, on=["index", "key"], how="left", maintain_order="left")["state"]
    folded = frame.with_columns(pl.col("key").str.replace_all(r"\s+", "").str.to_lowercase())
    loose = folded.join(table.folded_states, on=["index", "key"], how="left", maintain_order="left")["state"]
    return exact.zip_with(exact.is_not_null(), loose)
