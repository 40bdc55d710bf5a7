"""Time stamps as written to microseconds: ISO 8601, epoch seconds or milliseconds, or the field's own format.

Texts are read as fixed-width bytes, all rows of one length and one shape at a time, so that a stamp means
the same whatever stands around it and no row is looked at by itself.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache, lru_cache, partial

import numpy as np
import numpy.typing as npt
import polars as pl

MAX_STAMP_LENGTH = 40
"""Longest text that can be a stamp: date, time, nine digits of a second, a space and an offset take 36."""

_SHAPES = (
    r"(0000)-(00)-(00)(?:[Tt ](00):(00)(?::(00)(?:[.,](0+))?)?(?: ?(?:[Zz]|UTC|GMT)| ?([+-])(00)(?::?(00))?)?)?",
    r"(0000)(00)(00)[Tt](00)(00)(?:(00)(?:[.,](0+))?)?(?:[Zz]|([+-])(00)(?::?(00))?)?",
)
_ISO = tuple(re.compile(shape) for shape in _SHAPES)
_NUMBER = re.compile(r"[+-]?0+(?:[.,]0*)?(?:[eE][+-]?0+)?")
_HAS_ZONE = re.compile(r"(?:[Zz]|UTC|GMT|[Tt ].*[+-][0:]+)$")

_ZERO = np.uint8(48)
_MICROSECONDS_PER_DAY = 86_400_000_000
_MILLISECONDS_FROM, _MICROSECONDS_FROM, _NANOSECONDS_FROM = 1e11, 1e14, 1e17
"""An epoch number of this size or more is of the finer unit: as the coarser one it would lie beyond the year 5000."""
Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Bytes = npt.NDArray[np.uint8]
"""Texts of one length, a column per text and a row per letter, so that each letter's place is contiguous."""


@dataclass
class Stamps:
    """Times read: microseconds since 1970, in UTC or (``is_local``) of the clock on the wall."""

    time_us: Integers
    is_local: Bools
    is_read: Bools

    @staticmethod
    def unread(count: int) -> "Stamps":
        """Return as many stamps, none of them read."""
        return Stamps(np.zeros(count, np.int64), np.zeros(count, np.bool_), np.zeros(count, np.bool_))

    def put(self, rows: Integers, other: "Stamps") -> None:
        """Take over the stamps of some rows."""
        self.time_us[rows], self.is_local[rows], self.is_read[rows] = other.time_us, other.is_local, other.is_read

    def put_unread(self, texts: pl.Series, way: Callable[[pl.Series], "Stamps"]) -> None:
        """Read the texts that nothing has read so far in one more way."""
        rows = np.flatnonzero(~self.is_read)
        if len(rows):
            self.put(rows, way(texts if len(rows) == len(texts) else texts.gather(rows)))

    def of_header(self, *, is_utc: bool) -> "Stamps":
        """Return the stamps as their header means them."""
        return replace(self, is_local=np.zeros_like(self.is_local)) if is_utc else self

    def take(self, rows: npt.NDArray[np.integer]) -> "Stamps":
        """Return the stamps of some rows, in their order, also several times."""
        return Stamps(self.time_us[rows], self.is_local[rows], self.is_read[rows])


def read_in_runs(texts: pl.Series, time_format: str | None) -> Stamps:
    """Return the times of text stamps as `read_texts` does, reading those once that follow their like.

    Exports that go time by time have one stamp for hundreds of rows.
    """
    begins = (texts != texts.shift()).fill_null(value=True).to_numpy()
    heads = np.flatnonzero(begins)
    if len(heads) > len(texts) // 2:
        return read_texts(texts, time_format)
    return read_texts(texts.gather(heads), time_format).take(np.cumsum(begins, dtype=np.int32) - 1)


def read_texts(texts: pl.Series, time_format: str | None) -> Stamps:
    """Return the times of text stamps; the field's own format is tried first where it has one.

    Parameters
    ----------
    texts : (n,) Series of String
        As written; spaces around do not matter.
    time_format : str or None
        strftime format.

    """
    stamps = Stamps.unread(len(texts))
    ways: list[Callable[[pl.Series], Stamps]] = [_read]
    if time_format is not None:
        ways.insert(0, partial(_read_format, time_format=time_format))
    for way in ways:
        stamps.put_unread(texts, way)
    if not stamps.is_read.all():
        stripped = texts.str.strip_chars()
        for way in ways:
            stamps.put_unread(stripped, way)
    return stamps


def _read_format(texts: pl.Series, time_format: str) -> Stamps:
    has_offset = "%z" in time_format
    translated = time_format.replace(".%f", "%.f").replace("%f", "%6f")  # polars counts nanoseconds in %f
    zone = "UTC" if has_offset else None
    try:
        times = texts.str.to_datetime(translated, strict=False, time_unit="us", time_zone=zone)
    except pl.exceptions.ComputeError:  # formats that only Python knows, such as hours without minutes
        times = pl.Series([None], dtype=pl.Datetime("us")).new_from_index(0, len(texts))
    time_us = times.dt.timestamp("us")
    left = texts.filter(time_us.is_null()).unique()
    if len(left):
        known = pl.Series([_strptime_us(text, time_format) for text in left], dtype=pl.Int64)
        time_us = time_us.fill_null(texts.replace_strict(left, known, default=None, return_dtype=pl.Int64))
    return Stamps(
        time_us.fill_null(0).to_numpy().copy(),
        np.full(len(texts), not has_offset),
        time_us.is_not_null().to_numpy().copy(),
    )


def _strptime_us(text: str, time_format: str) -> int | None:
    try:
        time = datetime.strptime(text, time_format)  # noqa: DTZ007  of the wall clock where the format has no offset
    except ValueError:
        return None
    aware = time if time.tzinfo is not None else time.replace(tzinfo=UTC)
    return (aware - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


def _read(texts: pl.Series) -> Stamps:
    stamps = Stamps.unread(len(texts))
    for rows, letters in _by_length(texts):
        is_like_first = _has_shape(letters, letters[:, 0])
        if is_like_first.all():
            stamps.put(rows, _read_shape(letters, texts, rows))
            continue
        others = np.flatnonzero(~is_like_first)
        for group in (np.flatnonzero(is_like_first), *_by_shape(letters, others)):
            stamps.put(rows[group], _read_shape(letters[:, group], texts, rows[group]))
    return stamps


def _by_length(texts: pl.Series) -> Iterator[tuple[Integers, Bytes]]:
    """Yield rows of equal length with their letters."""
    array = texts.to_arrow(compat_level=pl.CompatLevel.oldest())
    _, offsets_buffer, data_buffer = array.buffers()
    offsets = np.frombuffer(offsets_buffer, np.int64)[array.offset : array.offset + len(array) + 1]
    lengths = np.minimum(np.diff(offsets), MAX_STAMP_LENGTH + 1)
    data = np.frombuffer(data_buffer, np.uint8) if data_buffer is not None else np.empty(0, np.uint8)
    for length in np.flatnonzero(np.bincount(lengths)).tolist():
        if not 1 <= length <= MAX_STAMP_LENGTH:
            continue
        rows = np.flatnonzero(lengths == length)
        if len(rows) == len(lengths):
            letters = data[offsets[0] : offsets[-1]].reshape(-1, length)
        else:
            letters = data[offsets[rows][:, None] + np.arange(length)]
        yield rows, np.ascontiguousarray(letters.T)


def _is_digit(letters: Bytes) -> Bools:
    return (letters - _ZERO) < 10


def _has_shape(letters: Bytes, example: Bytes) -> Bools:
    """Return which texts have digits where the example has digits, and its very letters elsewhere."""
    fits = np.ones(letters.shape[1], np.bool_)
    for place, letter in zip(letters, example.tolist(), strict=True):
        fits &= _is_digit(place) if 48 <= letter <= 57 else place == letter
    return fits


def _by_shape(letters: Bytes, rows: Integers) -> Iterator[Integers]:
    chosen = letters[:, rows].T
    shapes = np.ascontiguousarray(np.where(_is_digit(chosen), _ZERO, chosen))
    _, group = np.unique(shapes.view(f"V{shapes.shape[1]}").ravel(), return_inverse=True)
    order = np.argsort(group, kind="stable")
    yield from np.split(rows[order], np.flatnonzero(np.diff(group[order])) + 1)


def _read_shape(letters: Bytes, texts: pl.Series, rows: Integers) -> Stamps:
    shape = bytes(48 if 48 <= letter <= 57 else letter for letter in letters[:, 0].tolist()).decode("latin-1")
    spans = _iso_spans(shape)
    if spans is not None:
        return _read_iso(letters - _ZERO, spans, shape)
    if _NUMBER.fullmatch(shape):
        return _read_epoch(texts.gather(rows))
    return Stamps.unread(len(rows))


@lru_cache(maxsize=1000)  # exports have a few shapes; what is no stamp has any number
def _iso_spans(shape: str) -> tuple[tuple[int, int], ...] | None:
    """Return where year, month, day, hour, minute, second, fraction, sign and offset stand, (-1, -1) where absent."""
    match = next((match for pattern in _ISO if (match := pattern.fullmatch(shape))), None)
    return tuple(match.span(i) for i in range(1, 11)) if match else None


def _read_iso(digits: Bytes, spans: tuple[tuple[int, int], ...], shape: str) -> Stamps:
    year = _number(digits, spans[0])
    month, day, hour, minute, second = (_two(digits, span) for span in spans[1:6])
    is_read = (year >= 1) & (month >= 1) & (month <= 12) & (hour < 24) & (minute < 60) & (second < 60)
    first_days, lengths = _months()
    place = np.where(is_read, year * 12 + month - 1, 0)
    is_read &= (day >= 1) & (day <= lengths[place])
    seconds = hour.astype(np.int32) * 3600 + minute.astype(np.int32) * 60 + second
    if spans[7] != (-1, -1):
        offset_hour, offset_minute = _two(digits, spans[8]), _two(digits, spans[9])
        is_read &= (offset_hour < 24) & (offset_minute < 60)
        offset = offset_hour.astype(np.int32) * 3600 + offset_minute.astype(np.int32) * 60
        seconds += offset if shape[spans[7][0]] == "-" else -offset
    time_us = (first_days[place] + day - 1) * _MICROSECONDS_PER_DAY + seconds.astype(np.int64) * 1_000_000
    is_local = _HAS_ZONE.search(shape) is None
    return Stamps(time_us + _fraction_us(digits, spans[6]), np.full(len(year), is_local), is_read)


@cache
def _months() -> tuple[Integers, Bytes]:
    """Return for each month from 0000-01 to 9999-12 its first day since 1970-01-01 and its length in days."""
    first_days = np.arange("0000-01", "10000-02", dtype="datetime64[M]").astype("datetime64[D]").astype(np.int64)
    return first_days[:-1], np.diff(first_days).astype(np.uint8)


def _two(digits: Bytes, span: tuple[int, int]) -> Bytes:
    """Return a number of two digits, 0 where there is none."""
    if span == (-1, -1):
        return np.zeros(digits.shape[1], np.uint8)
    number: Bytes = digits[span[0]] * np.uint8(10) + digits[span[0] + 1]
    return number


def _number(digits: Bytes, span: tuple[int, int]) -> npt.NDArray[np.int32]:
    number = np.zeros(digits.shape[1], np.int32)
    for place in digits[slice(*span)]:
        number *= 10
        number += place
    return number


def _fraction_us(digits: Bytes, span: tuple[int, int]) -> npt.NDArray[np.int32]:
    """Return the fraction of a second, cut off after six digits. [us]"""
    count = min(span[1] - span[0], 6)
    fraction = _number(digits, (max(span[0], 0), max(span[0], 0) + count))
    fraction *= 10 ** (6 - count)
    return fraction


def _read_epoch(texts: pl.Series) -> Stamps:
    whole = texts.cast(pl.Int64, strict=False)
    return read_numbers(
        whole if whole.null_count() == 0 else texts.str.replace(",", ".", literal=True).cast(pl.Float64, strict=False)
    )


def read_numbers(numbers: pl.Series) -> Stamps:
    """Return the times of epoch numbers: seconds or milliseconds (or finer) by their size."""
    if numbers.dtype.is_integer():
        is_read = numbers.is_not_null().to_numpy()
        values = numbers.cast(pl.Int64, strict=False).fill_null(0).to_numpy()
        size = np.abs(values.astype(np.float64))
    else:
        floats = numbers.cast(pl.Float64, strict=False).fill_null(np.nan).to_numpy()
        is_read = np.isfinite(floats) & (np.abs(floats) < 9e18)
        values = np.where(is_read, floats, 0.0)
        size = np.abs(values)
    return Stamps(_to_microseconds(values, size), np.zeros(len(values), np.bool_), np.array(is_read))


def _to_microseconds(values: npt.NDArray[np.int64 | np.float64], size: npt.NDArray[np.float64]) -> Integers:
    scaled = np.where(
        size < _MILLISECONDS_FROM,
        np.where(size < _MILLISECONDS_FROM, values, 0) * 1_000_000,
        np.where(size < _MICROSECONDS_FROM, np.where(size < _MICROSECONDS_FROM, values, 0) * 1000, values),
    )
    finest = size >= _NANOSECONDS_FROM
    if finest.any():
        scaled = np.where(finest, values // 1000, scaled)
    return np.rint(scaled).astype(np.int64) if scaled.dtype.kind == "f" else scaled.astype(np.int64)


def read_times(times: pl.Series) -> Stamps:
    """Return the times of a typed column: with a zone they are UTC, without one or as dates of the wall clock."""
    is_local = times.dtype == pl.Date or getattr(times.dtype, "time_zone", None) is None
    time_us = times.cast(pl.Datetime("us"), strict=False) if times.dtype == pl.Date else times
    micros = time_us.dt.timestamp("us")
    return Stamps(
        micros.fill_null(0).to_numpy().copy(),
        np.full(len(times), is_local),
        micros.is_not_null().to_numpy().copy(),
    )
