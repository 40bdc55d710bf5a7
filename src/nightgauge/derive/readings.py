"""From VESSEL_SAMPLES to the tracks of a vessel's signals: outages, silence, texts."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
import polars as pl

from nightgauge.derive.known import Readings, Track, track
from nightgauge.derive.spans import SECOND_US, Flags, Floats, Times, gaps_longer_than, overlap
from nightgauge.field.settings import Outage
from nightgauge.vocabulary.flags import BAD, FLAG
from nightgauge.vocabulary.signals import SIGNALS, base_name, signal_of

_BAD = FLAG.categories.to_list().index(BAD)
_EPOCH = datetime.fromisoformat("1970-01-01T00:00:00+00:00")


def to_us(when: datetime) -> int:
    """Return an aware time as whole microseconds since 1970."""
    return (when - _EPOCH) // timedelta(microseconds=1)


def readings_of(samples: pl.DataFrame) -> dict[str, Readings]:
    """Return the samples of each signal.

    Parameters
    ----------
    samples : VESSEL_SAMPLES
        One vessel, any order; fastest where each signal's rows stand together. Of two samples at one time the one of
        greater value stays, so that the order of rows never matters.

    """
    heads = _heads(samples["signal"])
    if len({samples["signal"][head] for head in heads[:-1]}) < len(heads) - 1:
        samples = samples.sort("signal", maintain_order=True)
        heads = _heads(samples["signal"])
    columns = _Columns.of(samples)
    parts = {str(samples["signal"][low]): (low, high) for low, high in pairwise(heads)}
    return {
        name: _readings(name, columns.part(low, high), samples.slice(low, high - low))
        for name, (low, high) in sorted(parts.items())
        if base_name(name) in SIGNALS
    }


def _heads(signal: pl.Series) -> list[int]:
    """Return where rows of another signal begin, and where the last ends."""
    if signal.is_empty():
        return [0]
    return [0, *((signal.slice(1) != signal.slice(0, signal.len() - 1)).arg_true() + 1), signal.len()]


@dataclass(frozen=True)
class _Columns:
    """Columns of VESSEL_SAMPLES as arrays; of null is NaN."""

    time_us: Times
    value: Floats
    good: Flags
    max_gap_s: Floats

    @staticmethod
    def of(samples: pl.DataFrame) -> "_Columns":
        return _Columns(
            samples["time_utc"].to_physical().to_numpy(),
            samples["value"].to_numpy(),
            samples["flag"].to_physical().to_numpy() != _BAD,
            samples["max_gap_s"].to_numpy(),
        )

    def part(self, low: int, high: int) -> "_Columns":
        part = slice(low, high)
        return _Columns(self.time_us[part], self.value[part], self.good[part], self.max_gap_s[part])


def _readings(name: str, columns: _Columns, rows: pl.DataFrame) -> Readings:
    signal = signal_of(name)
    if np.any(columns.time_us[1:] <= columns.time_us[:-1]):
        rows = rows.sort("time_utc", "value", "text_value").unique("time_utc", keep="last", maintain_order=True)
        columns = _Columns.of(rows)
    value, labels = _coded(rows["text_value"]) if signal.kind == "text" else (columns.value, ())
    usable = np.isfinite(value) & columns.good
    return Readings(
        name, signal.hold, columns.time_us, value, usable, _gap_us(columns.max_gap_s, signal.max_gap_s), labels
    )


def _coded(texts: pl.Series) -> tuple[Floats, tuple[str, ...]]:
    """Return each text as its position among all, and those."""
    labels = tuple(texts.drop_nulls().unique().sort().to_list())
    codes = {label: float(code) for code, label in enumerate(labels)}
    return texts.replace_strict(codes, default=None, return_dtype=pl.Float64).to_numpy(), labels


def _gap_us(gap_s: Floats, usual_s: float) -> Times:
    """Return the longest silence after each sample; it is one for all but where tags took turns."""
    if gap_s.size and np.all(gap_s == gap_s[0]):
        return np.full(gap_s.size, round(float(gap_s[0]) * SECOND_US), dtype=np.int64)
    return np.asarray(np.rint(np.where(np.isnan(gap_s), usual_s, gap_s) * SECOND_US), dtype=np.int64)


@dataclass(frozen=True)
class Seen:
    """What may be seen of a vessel for the rows of one day."""

    readings: Mapping[str, Readings]
    """As they came, outages included."""
    tracks: Mapping[str, Track]
    """Known intervals, with outages and silence taken out."""
    start_us: int
    end_us: int


def seen(readings: Mapping[str, Readings], outages: Iterable[Outage], start_us: int, end_us: int) -> Seen:
    """Return the tracks of a vessel from the samples with start <= time < end and nothing else."""
    within = {name: one.between(start_us, end_us) for name, one in readings.items()}
    out = _outage_stretches(outages)
    tracks = {}
    for name, one in within.items():
        unknown = _silence(name, within, start_us, end_us) if signal_of(name).kind == "state" else None
        tracks[name] = track(_masked(one, out), end_us, unknown)
    return Seen(within, tracks, start_us, end_us)


def _outage_stretches(outages: Iterable[Outage]) -> tuple[Times, Times]:
    spans = sorted((to_us(one.from_utc), to_us(one.to_utc)) for one in outages)
    edges = np.array(spans, dtype=np.int64).reshape(-1, 2)
    return edges[:, 0], edges[:, 1]


def _masked(readings: Readings, out: tuple[Times, Times]) -> Readings:
    """Return the samples with an outage made of each outage: a bad sample at its start, none within."""
    start = out[0]
    if start.size == 0 or readings.time_us.size == 0:
        return readings
    kept = ~_within(readings.time_us, out)
    time = np.concatenate([readings.time_us[kept], start])
    order = np.argsort(time, kind="stable")
    added = np.full(start.size, np.nan)
    return replace(
        readings,
        time_us=time[order],
        value=np.concatenate([readings.value[kept], added])[order],
        usable=np.concatenate([readings.usable[kept], np.zeros(start.size, dtype=bool)])[order],
        max_gap_us=np.concatenate([readings.max_gap_us[kept], np.zeros(start.size, dtype=np.int64)])[order],
    )


def _within(time_us: Times, out: tuple[Times, Times]) -> np.ndarray:
    inside = np.zeros(time_us.shape, dtype=bool)
    for start, end in zip(*out, strict=True):
        inside |= (time_us >= start) & (time_us < end)
    return inside


def _silence(name: str, readings: Mapping[str, Readings], start_us: int, end_us: int) -> tuple[Times, Times] | None:
    """Return the stretches in which no other tag of the vessel says anything.

    Silent means: for longer than the shortest `max_gap` of the others, since then that one is unknown too.
    A vessel with a single tag has no others to judge by.
    """
    others = [one for other, one in readings.items() if other != name and one.time_us.size]
    if not others:
        return None
    longest = min(int(one.max_gap_us.min()) for one in others)
    silent = (np.array([start_us]), np.array([end_us]))
    for one in others:
        silent = overlap(silent, gaps_longer_than(one.time_us, longest, (start_us, end_us)))
    wide = silent[1] - silent[0] > longest
    return silent[0][wide], silent[1][wide]
