"""Time stamps as written to microseconds: ISO 8601, epoch seconds or milliseconds, or the field's own format.

Texts are read as fixed-width bytes, all rows of one length and one shape at a time, so that a stamp means
the same whatever stands around it and no row is looked at by itself.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

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

_MICROSECONDS_PER_DAY = 86_400_000_000
_MILLISECONDS_FROM, _MICROSECONDS_FROM, _NANOSECONDS_FROM = 1e11, 1e14, 1e17
"""An epoch number of this size or more is of the finer unit: as the coarser one it would lie beyond the year 5000."""
_DAYS_IN_MONTH = np.array([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])

Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Bytes = npt.NDArray[np.uint8]


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

    def columns(self) -> dict[str, pl.Series]:
        """Return columns `time_us` (null where not read) and `is_local`."""
        time_us = pl.Series(self.time_us)
        if not self.is_read.all():
            time_us = time_us.set(pl.Series(~self.is_read), None)
        return {"time_us": time_us, "is_local": pl.Series(self.is_local)}


def read_texts(texts: pl.Series, time_format: str | None) -> Stamps:
    """Return the times of text stamps; the field's own format is tried first where it has one.

    Parameters
    ----------
    texts : (n,) Series of String
        As written; spaces around do not matter.
    time_format : str or None
        strftime format.

    """
    stamps = _by_format(texts, time_format) if time_format else Stamps.unread(len(texts))
    rows = np.flatnonzero(~stamps.is_read)
    stamps.put(rows, _read(texts.gather(rows) if len(rows) < len(texts) else texts))
    rows = np.flatnonzero(~stamps.is_read)
    if len(rows):
        left = texts.gather(rows)
        stripped = left.str.strip_chars()
        changed = (stripped.str.len_bytes() != left.str.len_bytes()).arg_true().to_numpy()
        if len(changed):
            stamps.put(rows[changed], read_texts(stripped.gather(changed), time_format))
    return stamps


def _by_format(texts: pl.Series, time_format: str) -> Stamps:
    translated = time_format.replace(".%f", "%.f").replace("%f", "%6f")
    has_offset = "%z" in time_format
    times = texts.str.to_datetime(translated, strict=False, time_unit="us", time_zone="UTC" if has_offset else None)
    time_us = times.dt.timestamp("us")
    return Stamps(
        time_us.fill_null(0).to_numpy().copy(),
        np.full(len(texts), not has_offset),
        time_us.is_not_null().to_numpy().copy(),
    )


def _read(texts: pl.Series) -> Stamps:
    stamps = Stamps.unread(len(texts))
    for rows, letters in _by_length(texts):
        first = np.arange(len(rows))[_has_shape(letters, letters[0])]
        rest = np.arange(len(rows))
        if len(first) < len(rows):
            rest = np.setdiff1d(rest, first, assume_unique=True)
            groups = [first, *_by_shape(letters, rest)]
        else:
            groups = [first]
        for group in groups:
            chosen = letters if len(group) == len(rows) else letters[group]
            stamps.put(rows[group], _read_shape(chosen, texts, rows[group]))
    return stamps


def _by_length(texts: pl.Series) -> Iterator[tuple[Integers, Bytes]]:
    """Yield rows of equal length with their bytes, one row of bytes per text."""
    array = texts.to_arrow(compat_level=pl.CompatLevel.oldest())
    _, offsets_buffer, data_buffer = array.buffers()
    offsets = np.frombuffer(offsets_buffer, np.int64)[array.offset : array.offset + len(array) + 1]
    lengths = np.diff(offsets)
    data = np.frombuffer(data_buffer, np.uint8) if data_buffer is not None else np.empty(0, np.uint8)
    for length in np.unique(lengths).tolist():
        if not 1 <= length <= MAX_STAMP_LENGTH:
            continue
        rows = np.flatnonzero(lengths == length)
        if len(rows) == len(lengths):
            yield rows, data[offsets[0] : offsets[-1]].reshape(-1, length)
        else:
            yield rows, data[offsets[rows][:, None] + np.arange(length)]


def _is_digit(letters: Bytes) -> Bools:
    return (letters - np.uint8(48)) < 10


def _has_shape(letters: Bytes, example: Bytes) -> Bools:
    """Return which texts have digits where the example has digits, and its very letters elsewhere."""
    fits = np.ones(len(letters), np.bool_)
    for i, letter in enumerate(example.tolist()):
        column = letters[:, i]
        fits &= _is_digit(column) if 48 <= letter <= 57 else column == letter
    return fits


def _by_shape(letters: Bytes, rows: Integers) -> Iterator[Integers]:
    shapes = np.ascontiguousarray(np.where(_is_digit(letters[rows]), np.uint8(48), letters[rows]))
    keys = shapes.view(f"V{shapes.shape[1]}").ravel()
    _, group = np.unique(keys, return_inverse=True)
    order = np.argsort(group, kind="stable")
    yield from np.split(rows[order], np.flatnonzero(np.diff(group[order])) + 1)


def _read_shape(letters: Bytes, texts: pl.Series, rows: Integers) -> Stamps:
    shape = bytes(48 if 48 <= letter <= 57 else letter for letter in letters[0].tolist())
    spans = _iso_spans(shape)
    if spans is not None:
        return _read_iso(letters, spans, has_zone=_HAS_ZONE.search(shape.decode("latin-1")) is not None)
    if _NUMBER.fullmatch(shape.decode("latin-1")):
        return _read_epoch(texts.gather(rows))
    return Stamps.unread(len(rows))


@cache
def _iso_spans(shape: bytes) -> tuple[tuple[int, int], ...] | None:
    """Return where year, month, day, hour, minute, second, fraction, sign and offset stand, (-1, -1) where absent."""
    match = next((match for pattern in _ISO if (match := pattern.fullmatch(shape.decode("latin-1")))), None)
    return tuple(match.span(i) for i in range(1, 11)) if match else None


def _read_iso(letters: Bytes, spans: tuple[tuple[int, int], ...], *, has_zone: bool) -> Stamps:
    year, month, day, hour, minute, second = (_number(letters, span) for span in spans[:6])
    is_read = (month >= 1) & (month <= 12) & (hour < 24) & (minute < 60) & (second < 60)
    month = np.where(is_read, month, 1)
    is_leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    is_read &= (day >= 1) & (day <= _DAYS_IN_MONTH[month] + (is_leap & (month == 2)))
    seconds = hour * 3600 + minute * 60 + second
    if spans[7] != (-1, -1):
        sign = -1 if letters[0, spans[7][0]] == ord("-") else 1
        offset_hour, offset_minute = _number(letters, spans[8]), _number(letters, spans[9])
        is_read &= (offset_hour < 24) & (offset_minute < 60)
        seconds = seconds - sign * (offset_hour * 3600 + offset_minute * 60)
    time_us = _days_from_civil(year, month, day) * _MICROSECONDS_PER_DAY + seconds * 1_000_000
    return Stamps(time_us + _fraction_us(letters, spans[6]), np.full(len(letters), not has_zone), is_read)


def _number(letters: Bytes, span: tuple[int, int]) -> Integers:
    number = np.zeros(len(letters), np.int64)
    for i in range(*span):
        number = number * 10 + (letters[:, i] - np.uint8(48))
    return number


def _fraction_us(letters: Bytes, span: tuple[int, int]) -> Integers:
    """Return the fraction of a second, cut off after six digits. [us]"""
    digits = min(span[1] - span[0], 6)
    return _number(letters, (span[0], span[0] + digits)) * 10 ** (6 - digits) if digits else _number(letters, (0, 0))


def _days_from_civil(year: Integers, month: Integers, day: Integers) -> Integers:
    """Return days since 1970-01-01 of the proleptic Gregorian calendar.

    Years begin in March so that the leap day is the last; 719468 days lie between 0000-03-01 and 1970-01-01.
    """
    shifted = year - (month <= 2)
    era, year_of_era = shifted // 400, shifted % 400
    day_of_year = (153 * ((month + 9) % 12) + 2) // 5 + day - 1
    return era * 146_097 + year_of_era * 365 + year_of_era // 4 - year_of_era // 100 + day_of_year - 719_468


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
